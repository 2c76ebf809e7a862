"""Simulated entry errors: how often the diagnosis finds the wrong entry, how its probabilities compare, and false alarms.

A true pipe, a true medium and a true pair are drawn; the entries differ from them by the uncertainties that the service states
and, in an erroneous case, by an error. The transit time comes from a forward model of this module. By hand, for large numbers:

    python -m tests.coverage.diagnosis 3000
"""

from __future__ import annotations

import math
import random
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from compute.base.errors import ComputeError
from compute.library.materials import solid
from compute.library.media import media
from compute.library.pipe_sizes import PipeSize, pipe_sizes, standard_walls
from compute.measuring.beam import Transducers
from compute.measuring.entries import LiningEntry, MaterialEntry, MediumEntry, PipeEntry, resolve_medium
from compute.results.diagnosis import diagnose, sound_speed_test_of_case
from compute.results.entry_errors import SEVERAL, Case
from compute.results.uncertainty import InputUncertainty

# Wedges of the simulated fleet: sound speed [m/s], angle [deg], delay [s].
PAIRS = (
    (2680.0, 38.0, 7.5e-6),
    (2680.0, 42.0, 8.2e-6),
    (2350.0, 36.0, 6.1e-6),
    (2350.0, 40.0, 5.5e-6),
    (2580.0, 45.0, 9.4e-6),
    (2720.0, 42.0, 9.8e-6),
    (2620.0, 34.0, 7.0e-6),
)
STANDARD_TABLES = {
    "carbon-steel": "ASME B36.10M",
    "stainless-steel-316": "ASME B36.19M",
    "pvc-u": "ASTM D1785",
    "hdpe": "ISO 4427",
    "ductile-iron": "EN 545:2010",
}
OTHER_MATERIALS = {
    "carbon-steel": ("ductile-iron", "stainless-steel-316", "cast-iron"),
    "stainless-steel-316": ("carbon-steel",),
    "pvc-u": ("hdpe", "pp", "grp"),
    "hdpe": ("pvc-u", "ldpe", "pp"),
    "ductile-iron": ("carbon-steel", "cast-iron", "asbestos-cement"),
}
CONFUSED_MEDIA = (
    "water",
    "ethanol",
    "seawater",
    "ethylene-glycol-water",
    "diesel",
    "methanol",
    "ethylene-glycol",
)


@dataclass(frozen=True)
class Truth:
    """True set-up of a simulated survey, with the true excess of the spacing [m].

    temperature [K] is the one entered, for the sound speeds of the solids; the other factors multiply those of wall, lining and medium.
    """

    pipe: PipeEntry
    medium: MediumEntry
    pair: Transducers
    traverses: int
    spacing_off: float = 0.0
    timing: float = 0.0
    medium_factor: float = 1.0
    solid_factors: tuple[float, float] = (1.0, 1.0)
    temperature: float | None = None


@dataclass(frozen=True)
class Simulated:
    """A simulated survey: entries with the measured time, uncertainties recorded with it, and the field that is wrong."""

    case: Case
    stated: dict[str, InputUncertainty]
    error: str
    field: str


def _wave(
    material: MaterialEntry, temperature: float | None, sine: float, wedge: float
) -> tuple[float, float, float]:
    """Return the sound speed of the wave in a layer, and its lowest and highest value by the library, at a temperature."""
    found = solid(material.name)
    warmer = 0.0 if temperature is None else temperature - 293.15
    longitudinal = found.longitudinal_sound_speed + (found.longitudinal_per_kelvin or 0.0) * warmer
    if longitudinal * sine < wedge:
        speed, limits, nominal = longitudinal, found.longitudinal_range, found.longitudinal_sound_speed
    else:
        nominal = found.shear_sound_speed or 0.0
        speed, limits = (
            nominal + (found.shear_per_kelvin or 0.0) * warmer,
            found.shear_range or (nominal, nominal),
        )
    if not 0 < speed * sine < wedge:
        raise ValueError("no wave")
    return speed, speed + limits[0] - nominal, speed + limits[1] - nominal


def transit_time(truth: Truth) -> float:
    """Return the transit time by Snell's law, layer by layer: an own formulation for lengths and speeds of one ray."""
    sine, speed = math.sin(truth.pair.wedge_angle), float(truth.pair.wedge_sound_speed)
    total = 2 * float(truth.pair.wedge_delay) + truth.timing
    layers = [(truth.pipe.wall_thickness, truth.pipe.material)]
    layers += [(lining.thickness, lining.material) for lining in truth.pipe.linings]
    for place, (thickness, material) in enumerate(layers):
        wave = _wave(material, truth.temperature, sine, speed)[0] * truth.solid_factors[min(place, 1)]
        if wave * sine >= speed:
            raise ValueError("no wave")
        total += 2 * thickness / math.cos(math.asin(sine * wave / speed)) / wave
    medium = float(resolve_medium(truth.medium).medium.sound_speed) * truth.medium_factor
    if medium * sine >= speed or truth.pipe.bore <= 0:
        raise ValueError("no wave")
    length = truth.traverses * truth.pipe.bore / math.cos(math.asin(sine * medium / speed))
    return total + length / medium + truth.spacing_off * sine / speed


def _size(draw: random.Random, material: str, dn: int | None) -> PipeSize:
    low, high = (0.045, 1.1) if dn is None else (0.9e-3 * dn, 1.25e-3 * dn)
    rows = [
        row
        for row in pipe_sizes()
        if row.standard == STANDARD_TABLES[material]
        and row.wall_thickness is not None
        and low < row.outer_diameter < high
        and row.wall_thickness < 0.12 * row.outer_diameter
    ]
    diameter = draw.choice(sorted({row.outer_diameter for row in rows}))
    return draw.choice([row for row in rows if row.outer_diameter == diameter])


def _medium(draw: random.Random) -> MediumEntry:
    kind = draw.random()
    source = draw.choice(("measured", "estimated", ""))
    if kind < 0.75:
        return MediumEntry("water", draw.uniform(276.0, 363.0), source, 6e5)
    if kind < 0.9:
        return MediumEntry(
            "ethylene-glycol-water",
            draw.uniform(268.0, 340.0),
            source,
            4e5,
            mass_fraction=draw.uniform(0.1, 0.5),
        )
    if kind < 0.95:
        return MediumEntry("seawater", draw.uniform(278.0, 303.0), source, 4e5, salinity=35.0)
    return MediumEntry("diesel", draw.uniform(278.0, 320.0), source, 4e5)


def _pair(draw: random.Random) -> Transducers:
    speed, angle, delay = draw.choice(PAIRS)
    return Transducers(1e6, speed, math.radians(angle), 0.014, delay)


def flawless(
    draw: random.Random, dn: int | None = None, source: str | None = None, gauged: bool | None = None
) -> Simulated:
    """Draw a survey without an error."""
    material = draw.choice(("carbon-steel",) * 5 + ("stainless-steel-316", "pvc-u", "hdpe", "ductile-iron"))
    if dn is not None:
        material = "carbon-steel" if dn > 600 or draw.random() < 0.7 else "hdpe"
    size = _size(draw, material, dn)
    lining = None
    if material in ("ductile-iron", "carbon-steel") and size.outer_diameter > 0.09 and draw.random() < 0.2:
        lining = LiningEntry(MaterialEntry("cement-mortar"), draw.choice((0.003, 0.004, 0.006, 0.009)))
    pipe = PipeEntry(size.outer_diameter, size.wall_thickness or 0.0, MaterialEntry(material), lining)
    medium = _medium(draw)
    if source is not None:
        medium = replace(medium, temperature_source=source)
    traverses = draw.choice((1, 2) if size.outer_diameter > 0.25 else (1, 2, 2, 4))
    stated = {}
    if draw.random() < 0.5 if gauged is None else gauged:
        stated["pipe.wall_thickness"] = InputUncertainty(1.2e-4)
    return Simulated(Case(pipe, medium, _pair(draw), traverses, 0.0), stated, "", "")


def scattered(draw: random.Random, truth: Truth, stated: dict[str, InputUncertainty]) -> Truth:
    """Return a truth that differs from the entries by the uncertainties that the service states for them."""
    pipe, pair = truth.pipe, truth.pair
    wall = (
        draw.gauss(pipe.wall_thickness, stated["pipe.wall_thickness"].standard_uncertainty)
        if "pipe.wall_thickness" in stated
        else pipe.wall_thickness * draw.uniform(0.875, 1.125)
    )
    lining = pipe.lining and replace(pipe.lining, thickness=pipe.lining.thickness * draw.uniform(0.8, 1.2))
    medium = truth.medium
    kelvin = {"measured": 1.0, "estimated": 5.0, "": 2.0}[medium.temperature_source]
    known = resolve_medium(medium)
    low, high = next(one.temperature_range for one in media() if one.name == medium.name)
    temperature = min(max(draw.gauss(medium.temperature or 0.0, kelvin), low + 0.01), high - 0.1)
    factors = []
    for layer in (pipe, *pipe.linings):
        speed, least, most = _wave(
            layer.material, truth.temperature, math.sin(pair.wedge_angle), float(pair.wedge_sound_speed)
        )
        factors.append(draw.uniform(least, most) / speed)
    # The wedge: a coefficient of about -2.4 m/s/K known to 20 %, and a temperature between pipe and ambient.
    warmer = (medium.temperature or 293.15) - 293.15
    wedge_change = -2.4 * warmer * (draw.gauss(0, 0.2) + draw.gauss(0, 0.1))
    return replace(
        truth,
        pipe=replace(
            pipe,
            outer_diameter=pipe.outer_diameter * draw.uniform(0.997, 1.003),
            wall_thickness=wall,
            lining=lining,
        ),
        pair=replace(
            pair,
            wedge_angle=draw.gauss(float(pair.wedge_angle), math.radians(0.2)),
            wedge_sound_speed=float(pair.wedge_sound_speed) * draw.gauss(1, 0.003) + wedge_change,
            wedge_delay=draw.gauss(float(pair.wedge_delay), 50e-9),
        ),
        medium=replace(medium, temperature=temperature),
        medium_factor=draw.gauss(1, known.sound_speed_uncertainty or 0.0),
        timing=draw.gauss(0, 20e-9),
        solid_factors=(factors[0], factors[-1]),
        spacing_off=truth.spacing_off + draw.uniform(-0.001, 0.001),
    )


# Kinds of error. Each takes the entries and returns the truth with the field that was entered wrongly; the entries may change, too.
Drawn = tuple[Case, Truth, str]


def as_entered(case: Case) -> Truth:
    """Return the truth if the entries are correct."""
    return Truth(
        case.pipe, case.medium, case.transducers, case.traverses, temperature=case.medium.temperature
    )


def _true_pipe(case: Case, field: str, **changes: object) -> Drawn:
    return case, replace(as_entered(case), pipe=replace(case.pipe, **changes)), field  # type: ignore[arg-type]


def _sign(draw: random.Random) -> int:
    return draw.choice((-1, 1))


def _nominal_diameter(draw: random.Random, case: Case) -> Drawn | None:
    row = next((r for r in pipe_sizes() if r.outer_diameter == case.pipe.outer_diameter and r.dn), None)
    if row is None or row.dn is None or abs(row.dn / 1000 / case.pipe.outer_diameter - 1) < 0.005:
        return None
    return case.with_pipe(outer_diameter=row.dn / 1000), as_entered(case), "pipe.outer_diameter"


def _diameter(draw: random.Random, case: Case) -> Drawn:
    wrong = case.pipe.outer_diameter * (1 + _sign(draw) * draw.uniform(0.01, 0.06))
    return case.with_pipe(outer_diameter=round(wrong, 4)), as_entered(case), "pipe.outer_diameter"


def _schedule(draw: random.Random, case: Case) -> Drawn | None:
    walls = standard_walls(case.pipe.outer_diameter, 1e-4, case.pipe.material.name)
    other = [
        w
        for w in walls
        if abs(w / case.pipe.wall_thickness - 1) > 0.05 and 0.3 < w / case.pipe.wall_thickness < 3
    ]
    return _true_pipe(case, "pipe.wall_thickness", wall_thickness=draw.choice(other)) if other else None


def _wall(draw: random.Random, case: Case) -> Drawn:
    return _true_pipe(
        case, "pipe.wall_thickness", wall_thickness=case.pipe.wall_thickness * draw.uniform(0.45, 0.85)
    )


def _lining_missing(draw: random.Random, case: Case) -> Drawn | None:
    if case.pipe.lining or case.pipe.outer_diameter < 0.09:
        return None
    name = draw.choice(("cement-mortar", "cement-mortar", "rubber-natural", "epoxy"))
    return _true_pipe(
        case, "pipe.lining", lining=LiningEntry(MaterialEntry(name), draw.uniform(0.002, 0.010))
    )


def _lining_absent(draw: random.Random, case: Case) -> Drawn | None:
    if case.pipe.outer_diameter < 0.09:
        return None
    lined = case.pipe.lining or LiningEntry(MaterialEntry("cement-mortar"), draw.uniform(0.003, 0.009))
    return (
        case.with_pipe(lining=lined),
        replace(as_entered(case), pipe=replace(case.pipe, lining=None)),
        "pipe.lining",
    )


def _lining_thickness(draw: random.Random, case: Case) -> Drawn | None:
    lined = case.pipe.lining
    if lined is None:
        if case.pipe.outer_diameter < 0.09:
            return None
        lined = LiningEntry(MaterialEntry("cement-mortar"), draw.uniform(0.003, 0.009))
    entered = case.with_pipe(lining=lined)
    factor = draw.choice((draw.uniform(0.3, 0.65), draw.uniform(1.5, 2.5)))
    return _true_pipe(
        entered, "pipe.lining.thickness", lining=replace(lined, thickness=lined.thickness * factor)
    )


def _material(draw: random.Random, case: Case) -> Drawn:
    true = draw.choice(OTHER_MATERIALS[case.pipe.material.name])
    return _true_pipe(case, "pipe.material", material=MaterialEntry(true))


def _wrong_medium(draw: random.Random, case: Case) -> Drawn | None:
    name = draw.choice([one for one in CONFUSED_MEDIA if one != case.medium.name])
    if abs(case.medium.temperature - 290) > 12:
        return None
    true = MediumEntry(name, case.medium.temperature, case.medium.temperature_source, case.medium.pressure)
    if name == "seawater":
        true = replace(true, salinity=35.0)
    if name == "ethylene-glycol-water":
        true = replace(true, mass_fraction=draw.uniform(0.15, 0.5))
    return case, replace(as_entered(case), medium=true), "medium"


def _composition(draw: random.Random, case: Case) -> Drawn | None:
    entered = case.medium.mass_fraction
    if entered is None:
        return None
    true = entered + _sign(draw) * draw.uniform(0.08, 0.3)
    if not 0.02 < true < 0.58:
        return None
    return (
        case,
        replace(as_entered(case), medium=replace(case.medium, mass_fraction=true)),
        "medium.mass_fraction",
    )


def _temperature(draw: random.Random, case: Case) -> Drawn:
    true = (case.medium.temperature or 0.0) + _sign(draw) * draw.uniform(8.0, 35.0)
    return (
        case,
        replace(as_entered(case), medium=replace(case.medium, temperature=true)),
        "medium.temperature",
    )


def _medium_sound_speed(draw: random.Random, case: Case) -> Drawn:
    known = resolve_medium(case.medium).medium
    wrong = float(known.sound_speed) * (1 + _sign(draw) * draw.uniform(0.01, 0.08))
    medium = MediumEntry(
        sound_speed=round(wrong, 1), density=float(known.density), dynamic_viscosity=float(known.dynamic_viscosity),
        temperature_source=case.medium.temperature_source,
    )  # fmt: skip
    return replace(case, medium=medium), as_entered(case), "medium.sound_speed"


def _traverses(draw: random.Random, case: Case) -> Drawn:
    true = draw.choice([n for n in (1, 2, 3, 4) if n != case.traverses])
    return case, replace(as_entered(case), traverses=true), "traverses"


def _true_pair(case: Case, field: str, **changes: float) -> Drawn:
    return case, replace(as_entered(case), pair=replace(case.transducers, **changes)), field  # type: ignore[arg-type]


def _wedge_angle(draw: random.Random, case: Case) -> Drawn:
    off = math.radians(_sign(draw) * draw.uniform(3.0, 12.0))
    return _true_pair(case, "transducers.wedge_angle", wedge_angle=float(case.transducers.wedge_angle) + off)


def _wedge_speed(draw: random.Random, case: Case) -> Drawn:
    speed = float(case.transducers.wedge_sound_speed) * (1 + _sign(draw) * draw.uniform(0.05, 0.2))
    return _true_pair(case, "transducers.wedge_sound_speed", wedge_sound_speed=speed)


def _wrong_pair(draw: random.Random, case: Case) -> Drawn:
    now = case.transducers
    speed, angle, delay = draw.choice(
        [
            p
            for p in PAIRS
            if (p[0], round(math.radians(p[1]), 6))
            != (now.wedge_sound_speed, round(float(now.wedge_angle), 6))
        ]
    )
    return _true_pair(
        case, "transducers", wedge_sound_speed=speed, wedge_angle=math.radians(angle), wedge_delay=delay
    )


def _wedge_delay(draw: random.Random, case: Case) -> Drawn:
    delay = float(case.transducers.wedge_delay)
    return _true_pair(
        case,
        "transducers.wedge_delay",
        wedge_delay=delay * draw.choice((0.0, 0.5, 2.0, draw.uniform(0.4, 1.8))),
    )


def _spacing(draw: random.Random, case: Case) -> Drawn:
    return case, replace(as_entered(case), spacing_off=_sign(draw) * draw.uniform(0.005, 0.03)), "spacing"


SINGLE: dict[str, Callable[[random.Random, Case], Drawn | None]] = {
    "nominal-diameter": _nominal_diameter,
    "diameter": _diameter,
    "schedule": _schedule,
    "wall": _wall,
    "lining-missing": _lining_missing,
    "lining-absent": _lining_absent,
    "lining-thickness": _lining_thickness,
    "material": _material,
    "medium": _wrong_medium,
    "composition": _composition,
    "temperature": _temperature,
    "medium-sound-speed": _medium_sound_speed,
    "traverses": _traverses,
    "wedge-angle": _wedge_angle,
    "wedge-speed": _wedge_speed,
    "pair": _wrong_pair,
    "wedge-delay": _wedge_delay,
    "spacing": _spacing,
}
TWO = "two"
# Two errors of these kinds are combined: each changes an entry of its own.
COMBINED = ("wall", "temperature", "traverses", "wedge-angle", "wedge-delay", "spacing", "wedge-speed")


def _both(one: Truth, other: Truth, entered: Truth) -> Truth:
    """Return the truth that differs from the entries as both do."""
    pair = {
        name: getattr(other.pair, name)
        for name in ("wedge_angle", "wedge_sound_speed", "wedge_delay")
        if getattr(other.pair, name) != getattr(entered.pair, name)
    }
    changes = {
        name: getattr(other, name)
        for name in ("pipe", "medium", "traverses", "spacing_off")
        if getattr(other, name) != getattr(entered, name)
    }
    return replace(one, pair=replace(one.pair, **pair), **changes)


def erroneous(draw: random.Random, kind: str) -> Simulated | None:
    """Draw a survey with an error of a kind, or None where the drawn survey cannot have such an error."""
    base = flawless(draw)
    if kind == TWO:
        first, second = draw.sample(COMBINED, 2)
        one, two = SINGLE[first](draw, base.case), SINGLE[second](draw, base.case)
        assert one
        assert two
        truth = _both(one[1], two[1], as_entered(base.case))
        case, field = base.case, SEVERAL
    else:
        drawn = SINGLE[kind](draw, base.case)
        if drawn is None:
            return None
        case, truth, field = drawn
    stated = base.stated if kind not in ("wall", "schedule") else {}
    try:
        time = transit_time(scattered(draw, truth, stated))
    except (ValueError, ComputeError):
        return None
    return Simulated(replace(case, transit_time=time), stated, kind, field)


def surveys(draw: random.Random, count: int, kinds: Iterable[str]) -> list[Simulated]:
    """Draw a number of surveys with an error, all kinds equally likely."""
    kinds, found = tuple(kinds), []
    while len(found) < count:
        kind = draw.choice(kinds)
        one = next((s for s in (erroneous(draw, kind) for _ in range(60)) if s), None)
        if one is not None:
            found.append(one)
    return found


@dataclass
class Score:
    """Counts of a simulation for each kind of error, and the probabilities given with what was true."""

    counts: dict[str, Counter[str]]
    causes: list[tuple[float, bool]]
    first: list[tuple[float, bool]]

    @property
    def brier(self) -> float:
        """Mean square difference of the probabilities of all causes and 1 for the true one, 0 for the others."""
        return brier(self.causes)

    @property
    def in_three(self) -> float:
        """Share of the noticed errors whose entry is among the first three causes."""
        total = sum(self.counts.values(), Counter())
        return total["in three"] / max(total["noticed"], 1)


def brier(given: list[tuple[float, bool]]) -> float:
    """Return the Brier score of probabilities."""
    return sum((probability - true) ** 2 for probability, true in given) / max(len(given), 1)


def simulate(found: Iterable[Simulated]) -> Score:
    """Diagnose the surveys and count."""
    score = Score(defaultdict(Counter), [], [])
    for one in found:
        row = score.counts[one.error]
        row["all"] += 1
        diagnosis = diagnose(one.case, one.stated)
        if diagnosis.consistent:
            continue
        row["noticed"] += 1
        given = [
            (cause.probability, cause.candidate.field == one.field) for cause in diagnosis.possible_causes
        ]
        row["first"] += any(true for _, true in given[:1])
        row["in three"] += any(true for _, true in given[:3])
        score.causes += given
        score.first += given[:1]
    return score


def alarm(draw: random.Random, dn: int, source: str, *, gauged: bool) -> bool:
    """Return whether a flawless survey raises an alarm."""
    while True:
        one = flawless(draw, dn, source, gauged=gauged)
        try:
            time = transit_time(scattered(draw, as_entered(one.case), one.stated))
        except (ValueError, ComputeError):
            continue
        return not sound_speed_test_of_case(replace(one.case, transit_time=time), one.stated).consistent


def table(count: int, seed: int = 1) -> list[str]:
    """Return the table of a simulation with all kinds of error equally likely."""
    score = simulate(surveys(random.Random(seed), count, (*SINGLE, TWO)))
    lines = [f"{'kind':20} {'all':>5} {'noticed':>8} {'first':>6} {'in 3':>6}"]
    rows = [
        *((kind, score.counts[kind]) for kind in (*SINGLE, TWO)),
        ("sum", sum(score.counts.values(), Counter())),
    ]
    for kind, row in rows:
        noticed = max(row["noticed"], 1)
        lines.append(
            f"{kind:20} {row['all']:5} {row['noticed']:8} {row['first'] / noticed:6.2f} {row['in three'] / noticed:6.2f}"
        )
    lines.append(f"Brier score of all causes {score.brier:.3f}, of the first {brier(score.first):.3f}")
    for low, high in ((0.0, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.9), (0.9, 1.01)):
        inside = [(probability, true) for probability, true in score.first if low <= probability < high]
        if inside:
            mean = sum(probability for probability, _ in inside) / len(inside)
            right = sum(true for _, true in inside) / len(inside)
            lines.append(f"first cause given {mean:.2f} in the mean: right {right:.2f} of {len(inside)}")
    return lines


def alarm_table(count: int, seed: int = 2) -> list[str]:
    """Return the rates of false alarms by size, source of the temperature and of the wall."""
    draw, lines = random.Random(seed), []
    for dn in (50, 100, 300, 1000):
        for source in ("measured", "estimated"):
            for gauged in (True, False):
                rate = sum(alarm(draw, dn, source, gauged=gauged) for _ in range(count)) / count
                lines.append(f"DN {dn:4} {source:9} {'gauged' if gauged else 'assumed':7} {rate:.3f}")
    return lines


if __name__ == "__main__":
    surveys_wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    sys.stdout.write("\n".join([*alarm_table(surveys_wanted), *table(surveys_wanted)]) + "\n")
