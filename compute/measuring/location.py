"""Measuring location: straight lengths, orientation, a full pipe, and safety notes."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from compute.base.messages import Finding, SafetyNote, finding, quantity, safety_note, term
from compute.base.sources import Source, provenance_named
from compute.measuring.installation import Installation, installation_effect, installation_uncertainty

UNKNOWN = "unknown"
ORIENTATIONS = ("horizontal", "upward", "downward", "inclined")
MOUNTINGS = ("side", "top-or-bottom")
# Hazards a measuring point can be marked with; each is the code of a safety note.
HAZARDS = (
    "hazardous-area",
    "work-at-height",
    "confined-space",
    "asbestos-lagging",
    "high-pressure",
    "traffic",
)
HAZARD_SOURCE = Source(
    "usual safety rules for work on site; the permit of the site and local codes take precedence",
    "default",
)
HOT_SURFACE = Source("ASTM C1055 and ISO 13732-1 burn thresholds for bare metal", "unverified")
# Bare metal: 43 degC for hours of contact, 51 degC for a minute, about 60 degC for 5 s (ISO 13732-1, ASTM C1055; memory).
WARM_FROM_K = 316.15
BURN_THRESHOLDS = ((333.15, "seconds"), (324.15, "a-minute"), (WARM_FROM_K, "hours"))
COLD_BELOW_K = 268.15
# Half a bar of overpressure, above which pressure equipment is commonly regulated (2014/68/EU; from memory).
UNDER_PRESSURE_PA = 151_325.0
ATMOSPHERE = 101_325.0


@dataclass(frozen=True, slots=True)
class Place:
    """A measuring location; lengths [m]. Empty or None: not recorded."""

    disturbance: str = ""
    upstream_straight_length: float | None = None
    downstream_straight_length: float | None = None
    orientation: str = ""
    mounting: str = ""
    full_pipe: bool | None = None
    hazards: tuple[str, ...] = ()

    @property
    def room(self) -> float | None:
        """Straight length to mount the transducers on [m]."""
        if self.upstream_straight_length is None or self.downstream_straight_length is None:
            return None
        return self.upstream_straight_length + self.downstream_straight_length


@dataclass(frozen=True, slots=True)
class StraightLength:
    """Straight lengths recommended around a disturbance, in bore diameters."""

    disturbance: str
    title: str
    upstream_diameters: float
    downstream_diameters: float
    source: Source


@cache
def straight_lengths() -> dict[str, StraightLength]:
    """Return straight lengths by disturbance.

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


def check_place(place: Place, bore: float, traverses: int) -> list[Finding]:
    """Check the straight lengths, the mounting position and whether the pipe is full.

    Parameters
    ----------
    place : Place
    bore : float [m]
    traverses : int

    Returns
    -------
    findings : list of Finding

    Source
    ------
    straight lengths : JEMIS 032 and engineering literature, from memory; each row of the table carries its own.
    """
    return [*_straight_pipe(place, bore, traverses), *_mounting(place), *_full(place)]


def _straight_pipe(place: Place, bore: float, traverses: int) -> list[Finding]:
    known = straight_lengths().get(place.disturbance)
    needed = known or straight_lengths()[UNKNOWN]
    sides = (
        ("upstream", place.upstream_straight_length, needed.upstream_diameters),
        ("downstream", place.downstream_straight_length, needed.downstream_diameters),
    )
    findings = []
    if not place.disturbance or place.room is None:
        findings.append(
            finding(
                "straight-length-unknown",
                "info",
                "measuring_point.upstream_straight_length",
                uncertainty=installation_uncertainty(
                    straight_share(place, bore), traverses, place.disturbance
                ),
            )
        )
    findings += [
        finding(
            "straight-length-short",
            "warning",
            f"measuring_point.{side}_straight_length",
            source=needed.source,
            side=side,
            length=quantity(length, "length"),
            diameters=length / bore,
            needed=quantity(diameters * bore, "length"),
            needed_diameters=diameters,
            disturbance=term(place.disturbance) if known and place.disturbance != UNKNOWN else None,
        )
        for side, length, diameters in sides
        if length is not None and length < diameters * bore
    ]
    return findings


def straight_share(place: Place, bore: float) -> float | None:
    """Return the upstream straight length over the recommended length.

    Parameters
    ----------
    place : Place
    bore : float [m]

    Returns
    -------
    share : float or None [-]  None if the length is not recorded

    Source
    ------
    straight lengths : the table's row of the disturbance; if the disturbance is not recorded, the longest of the table.
    """
    if place.upstream_straight_length is None:
        return None
    return place.upstream_straight_length / (_recommended(place) * bore)


def installation_at(place: Place, bore: float, traverses: int, reynolds: float) -> Installation:
    """Return the effect of a measuring location on the flow.

    Parameters
    ----------
    place : Place
    bore : float [m]
    traverses : int
    reynolds : float [-]

    Returns
    -------
    installation : Installation

    Source
    ------
    effect : see `compute.measuring.installation.installation_effect`.
    """
    length = place.upstream_straight_length
    return installation_effect(
        disturbance=place.disturbance,
        straight_share=straight_share(place, bore),
        length_over_diameter=None if length is None else length / bore,
        recommended_over_diameter=_recommended(place),
        traverses=traverses,
        reynolds=reynolds,
    )


def _recommended(place: Place) -> float:
    """Return the recommended upstream length in diameters; without a disturbance on record the longest of the table."""
    lengths = straight_lengths()
    if not place.disturbance:
        return max(row.upstream_diameters for row in lengths.values())
    return lengths.get(place.disturbance, lengths[UNKNOWN]).upstream_diameters


def _mounting(place: Place) -> list[Finding]:
    if place.orientation == "horizontal" and place.mounting == "top-or-bottom":
        return [finding("top-or-bottom-mounting", "warning", "measuring_point.mounting")]
    return []


def _full(place: Place) -> list[Finding]:
    downward = place.orientation == "downward"
    if place.full_pipe or (place.full_pipe is None and not downward):
        return []
    return [finding("partly-filled-pipe", "warning", "measuring_point.full_pipe", downward=downward)]


def safety_notes(
    temperature: float | None, material: str, hazards: tuple[str, ...], pressure: float | None = None
) -> tuple[SafetyNote, ...]:
    """Return safety notes for the temperature and pressure of the medium, the pipe material and the hazards of the location.

    Parameters
    ----------
    temperature : float or None [K]  of the medium, assumed for the bare pipe
    material : str  slug of the pipe's material
    hazards : tuple of str  some of HAZARDS
    pressure : float or None [Pa]  absolute, of the medium

    Returns
    -------
    safety_notes : tuple of SafetyNote  never empty: the last is about the site's permit and rules

    Source
    ------
    thresholds : ASTM C1055, ISO 13732-1, from memory; the rest usual safety rules, from memory.
    """
    found = []
    if temperature is not None and temperature >= WARM_FROM_K:
        found.append(_hot(temperature))
    if temperature is not None and temperature < COLD_BELOW_K:
        found.append(
            safety_note(
                "cold-surface", source=HAZARD_SOURCE, temperature=quantity(temperature, "temperature")
            )
        )
    if material == "asbestos-cement":
        found.append(safety_note("asbestos-cement", source=HAZARD_SOURCE))
    if pressure is not None and pressure > UNDER_PRESSURE_PA and "high-pressure" not in hazards:
        over = quantity(pressure - ATMOSPHERE, "pressure")
        found.append(safety_note("pressure", source=HAZARD_SOURCE, overpressure=over))
    found += [safety_note(hazard, source=HAZARD_SOURCE) for hazard in hazards if hazard in HAZARDS]
    return (*found, safety_note("general", source=HAZARD_SOURCE))


def _hot(temperature: float) -> SafetyNote:
    threshold, contact = next(
        (threshold, contact) for threshold, contact in BURN_THRESHOLDS if temperature >= threshold
    )
    return safety_note(
        "hot-surface",
        source=HOT_SURFACE,
        temperature=quantity(temperature, "temperature"),
        threshold=quantity(threshold, "temperature"),
        contact=term(contact),
    )
