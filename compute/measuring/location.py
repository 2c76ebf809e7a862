"""The place of a measuring point: straight pipe, orientation, a full pipe; and the safety notes work there calls for."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from compute.base.figures import said
from compute.base.findings import Finding
from compute.base.marks import marked
from compute.base.messages import SafetyNote
from compute.base.sources import PRACTICE, Source, provenance_named

UNKNOWN = "unknown"
ORIENTATIONS = ("horizontal", "upward", "downward", "inclined")
MOUNTINGS = ("side", "top-or-bottom")
HAZARDS = {
    "hazardous-area": "Hazardous area: only equipment certified for the zone, with the site's permit and a gas test.",
    "work-at-height": "Work at height: avoid it or secure it as the site's rules and local law require.",
    "confined-space": "Confined space: entry only by permit, with gas test, attendant and rescue plan.",
    "asbestos-lagging": "The lagging may hold asbestos: do not disturb it; ask for the register or a survey first.",
    "high-pressure": "Pressure: do not grind or file a pipe under pressure; check the wall before you clean its surface.",
    "traffic": "Traffic or moving plant near by: shut off and guard the place of work.",
}
HAZARD_SOURCE = Source(
    "usual safety rules for work on site; the permit of the site and local codes take precedence",
    "default",
)
HOT_SURFACE = Source("ASTM C1055 and ISO 13732-1 burn thresholds for bare metal", "unverified")
# Bare metal: 43 degC for hours of contact, 51 degC for a minute, about 60 degC for 5 s (ISO 13732-1, ASTM C1055; memory).
WARM_FROM_K, HOT_FROM_K, BURNS_FROM_K = 316.15, 324.15, 333.15
COLD_BELOW_K = 268.15
# Half a bar of overpressure, from which pressure equipment is commonly regulated (2014/68/EU; from memory).
UNDER_PRESSURE_PA = 151_325.0
DEFER = "The site's permit, local codes and licensed practice come first."


@dataclass(frozen=True, slots=True)
class Place:
    """What is known of a place; lengths [m]. Empty or None: not on record."""

    disturbance: str = ""
    upstream_straight_length: float | None = None
    downstream_straight_length: float | None = None
    orientation: str = ""
    mounting: str = ""
    full_pipe: bool | None = None
    hazards: tuple[str, ...] = ()

    @property
    def room(self) -> float | None:
        """Straight pipe to mount on [m]."""
        if self.upstream_straight_length is None or self.downstream_straight_length is None:
            return None
        return self.upstream_straight_length + self.downstream_straight_length


@dataclass(frozen=True, slots=True)
class StraightLength:
    """Straight pipe a disturbance calls for, in bore diameters."""

    disturbance: str
    title: str
    upstream_diameters: float
    downstream_diameters: float
    source: Source


@cache
def straight_lengths() -> dict[str, StraightLength]:
    """Straight pipe by disturbance.

    Source
    ------
    table : each row carries its own.
    """
    text = (files("compute.library.data") / "straight_lengths.csv").read_text(encoding="utf-8")
    return {
        row["disturbance"]: StraightLength(
            row["disturbance"],
            row["title"],
            float(row["upstream_diameters"]),
            float(row["downstream_diameters"]),
            Source(row["source"], provenance_named(row["provenance"])),
        )
        for row in csv.DictReader(text.splitlines())
    }


def check_place(place: Place, bore: float) -> list[Finding]:
    """Straight pipe, orientation and a full pipe.

    Parameters
    ----------
    place : Place
    bore : float [m]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    straight pipe : JEMIS 032 and engineering literature, from memory; each row of the table carries its own.
    """
    return [*_straight_pipe(place, bore), *_mounting(place), *_full(place)]


def _straight_pipe(place: Place, bore: float) -> list[Finding]:
    need = straight_lengths().get(place.disturbance, straight_lengths()[UNKNOWN])
    sides = (
        ("upstream", place.upstream_straight_length, need.upstream_diameters),
        ("downstream", place.downstream_straight_length, need.downstream_diameters),
    )
    findings = []
    if not place.disturbance or place.room is None:
        detail = (
            "The straight pipe up and downstream, or what disturbs the flow upstream, is not on record; what is missing is taken "
            "as undisturbed. Measure both and enter them on the measuring point."
        )
        findings.append(
            Finding("straight-length-unknown", "info", detail, "measuring_point.upstream_straight_length")
        )
    for side, length, diameters in sides:
        if length is not None and length < diameters * bore:
            detail = (
                f"{said(length, 'm', '.2f')} ({length / bore:.0f} diameters) of straight pipe {side} where {diameters:.0f} diameters "
                f"({said(diameters * bore, 'm', '.2f')}) are called for ({need.title}). The profile is disturbed; move on, or measure on two "
                "crossed diameters and widen the uncertainty."
            )
            findings.append(
                Finding(
                    "straight-length-short",
                    "warning",
                    detail,
                    f"measuring_point.{side}_straight",
                    length,
                    diameters * bore,
                    "length",
                    need.source,
                )
            )
    return findings


def straight_share(place: Place, bore: float) -> float | None:
    """Straight pipe upstream over the length called for.

    Parameters
    ----------
    place : Place
    bore : float [m]

    Returns
    -------
    share : float or None [-]  None if the disturbance or the length is not on record

    Source
    ------
    straight pipe : the table's row of the disturbance.
    """
    if not place.disturbance or place.upstream_straight_length is None:
        return None
    need = straight_lengths().get(place.disturbance, straight_lengths()[UNKNOWN])
    return place.upstream_straight_length / (need.upstream_diameters * bore)


def _mounting(place: Place) -> list[Finding]:
    if place.orientation == "horizontal" and place.mounting == "top-or-bottom":
        detail = "On a horizontal pipe gas collects above and deposits below; mount the transducers within 45 deg of the horizontal diameter."
        return [
            Finding("top-or-bottom-mounting", "warning", detail, "measuring_point.mounting", source=PRACTICE)
        ]
    return []


def _full(place: Place) -> list[Finding]:
    if place.full_pipe or (place.full_pipe is None and place.orientation != "downward"):
        return []
    detail = (
        "The pipe may not run full here"
        + (" (the flow goes down)" if place.orientation == "downward" else "")
        + ". A transit-time meter takes the whole bore as filled; measure where the pipe rises or is under pressure."
    )
    return [Finding("partly-filled-pipe", "warning", detail, "measuring_point.full_pipe", source=PRACTICE)]


def safety_notes(
    temperature: float | None, material: str, hazards: tuple[str, ...], pressure: float | None = None
) -> tuple[SafetyNote, ...]:
    """The safety notes that a medium's temperature, a pipe's material and a place's hazards call for.

    Parameters
    ----------
    temperature : float or None [K]  of the medium, taken for that of the bare pipe
    material : str  slug of the pipe's material
    hazards : tuple of str  keys of HAZARDS
    pressure : float or None [Pa]  absolute, of the medium

    Returns
    -------
    safety_notes : tuple of SafetyNote  never empty: the last defers to permit, codes and licensed practice

    Source
    ------
    thresholds : ASTM C1055, ISO 13732-1, from memory; the rest usual safety rules, from memory.
    """
    found = []
    if temperature is not None and temperature >= WARM_FROM_K:
        found.append(_hot(temperature))
    if temperature is not None and temperature < COLD_BELOW_K:
        detail = f"Cold surface ({_degrees(temperature)}): bare skin may freeze to metal. Gloves. {DEFER}"
        found.append(SafetyNote("cold-surface", detail, HAZARD_SOURCE))
    if material == "asbestos-cement":
        detail = f"Asbestos cement: never sand, scrape or wire-brush it; wet the surface only as the site's rules allow. {DEFER}"
        found.append(SafetyNote("asbestos-cement", detail, HAZARD_SOURCE))
    if pressure is not None and pressure > UNDER_PRESSURE_PA and "high-pressure" not in hazards:
        over = pressure - 101_325.0
        detail = f"The pipe is under about {_over(over)}. {HAZARDS['high-pressure']} {DEFER}"
        found.append(SafetyNote("pressure", detail, HAZARD_SOURCE))
    found += [SafetyNote(h, f"{HAZARDS[h]} {DEFER}", HAZARD_SOURCE) for h in hazards if h in HAZARDS]
    general = "Before work: the site's permit and induction, the hazards of plant and medium, somebody who knows where you are. "
    return (*found, SafetyNote("general", general + DEFER, HAZARD_SOURCE))


def _hot(temperature: float) -> SafetyNote:
    if temperature >= BURNS_FROM_K:
        time = f"from {_degrees(BURNS_FROM_K)} on, bare metal burns within about 5 s of contact"
    elif temperature >= HOT_FROM_K:
        time = f"from {_degrees(HOT_FROM_K)} on, bare metal burns within about a minute of contact"
    else:
        time = f"from {_degrees(WARM_FROM_K)} on, hours of contact with bare metal can burn"
    detail = (
        f"Hot surface: the pipe may be at {_degrees(temperature)}; {time}. Heat-resistant gloves; keep hot couplant off the skin. "
        f"{DEFER}"
    )
    return SafetyNote("hot-surface", detail, HOT_SURFACE)


def _degrees(kelvin: float) -> str:
    """A temperature, in metric sentences in both systems: a safety note is read by whoever stands there."""
    celsius = kelvin - 273.15
    fahrenheit = f"{celsius * 1.8 + 32:.0f} °F"
    return marked(f"{celsius:.0f} °C ({fahrenheit})", fahrenheit)


def _over(pressure: float) -> str:
    """An overpressure [Pa], likewise."""
    psi = f"{pressure / 6894.757:.0f} psi"
    return marked(f"{pressure / 1e5:.1f} bar ({psi})", psi)
