"""Single wrong entries that would explain a transit time: each is the set-up with one entry changed.

A slip from a list (another material, another number of traverses) is as it is; a slip of a figure (wall, temperature) is
solved so that the corrected set-up takes the time that was measured.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from compute.acoustics import Setup, Transducers, WaveMode, trace
from compute.entries import LiningEntry, MaterialEntry, MediumEntry, PipeEntry, resolve_medium, resolve_pipe
from compute.errors import ComputeError, OutOfRange
from compute.media import media
from compute.pipes import EN_10220_WALLS_M, PipeSize, sizes_by_outer_diameter, sizes_called
from compute.solids import solids

INCH = 0.0254
MOST_TRAVERSES_SUPPOSED = 8
# A standard's outer diameter within this of a figure is what the figure stands for; suggestion, no source.
NEAR_STANDARD = 0.03
SAME_OUTER_DIAMETER = 0.005
# No pipe has a thinner wall than this share of its outer diameter; suggestion, no source.
THINNEST_WALL = 0.005
# Linings that are forgotten or not known of [m]: the usual thickness of each. Cement mortar as EN 545 has it for mid sizes;
# the others suggestions, no source.
USUAL_LININGS = {"cement-mortar": 0.005, "epoxy": 0.0005, "rubber-natural": 0.004, "bitumen": 0.003}
THICKEST_LINING = 0.08
# What a medium may be made of: kind of quantity, least, most, and how far a guess reaches (one standard deviation).
COMPOSITIONS = {
    "salinity": ("salinity", 0.0, 120.0, 20.0),
    "mass_fraction": ("number", 0.0, 0.6, 0.2),
    "api_gravity": ("number", 5.0, 70.0, 15.0),
}


@dataclass(frozen=True, slots=True)
class Case:
    """What was entered, and the transit time [s] measured with it.

    `spacing_off` [m] is how much farther apart than right the transducers stand.
    """

    pipe: PipeEntry
    medium: MediumEntry
    transducers: Transducers
    traverses: int
    transit_time: float
    spacing_off: float = 0.0


@dataclass(frozen=True, slots=True)
class Figure:
    """A number in SI of some kind (`compute.units`), or text; a lining is its thickness with its material."""

    value: float | str | None
    kind: str = "text"
    material: str = ""


@dataclass(frozen=True, slots=True)
class Slip:
    """One entry supposed wrong.

    siblings : how many slips of the same kind were possible; they share its weight
    move     : how far a solved figure lies from the one entered, in its unit; None for a slip from a list
    reach    : how far such a figure may move, one standard deviation, where its field has no doubt of its own
    span     : how far apart the times [s] of all its possible figures lie, where nothing of it was entered
    note     : what kind of slip it is, for a person
    """

    kind: str
    field: str
    entered: Figure
    would_be: Figure
    case: Case
    note: str
    siblings: int = 1
    move: float | None = None
    reach: float | None = None
    span: float = 0.0
    nearest_standard: PipeSize | None = None


def setup_of(case: Case) -> Setup:
    """The physical set-up of a case.

    Parameters
    ----------
    case : Case

    Returns
    -------
    setup : Setup

    Source
    ------
    library : see `resolve_pipe` and `resolve_medium`.
    """
    pipe = resolve_pipe(case.pipe, case.medium.temperature).pipe
    medium = resolve_medium(case.medium).medium
    return Setup(pipe, medium, case.transducers, case.traverses)


def transit_time_of(case: Case) -> float:
    """Transit time the entries of a case call for.

    Transducers farther apart than right receive the plane wave later by slowness x distance.

    Parameters
    ----------
    case : Case

    Returns
    -------
    transit_time : float [s]

    Source
    ------
    snell : the beam of `compute.acoustics.trace`; dT/dx = p for a wave of axial slowness p.
    """
    path = trace(setup_of(case))
    return float(path.transit_time + path.axial_slowness * case.spacing_off)


def slips(case: Case) -> list[Slip]:
    """Every single wrong entry that can be and may explain the time; those of impossible value are left out.

    Parameters
    ----------
    case : Case

    Returns
    -------
    slips : list of Slip  in no order

    Source
    ------
    kinds : slips as people make them, common practice, no source.
    """
    found: list[Slip] = []
    for kind in (
        _nominal_diameters,
        _other_sizes,
        _diameters,
        _inches,
        _other_walls,
        _walls,
        _lining_absent,
        _linings,
        _lining_thicknesses,
        _materials,
        _wave_modes,
        _media,
        _compositions,
        _temperatures,
        _medium_sound_speeds,
        _traverses,
        _wedge_delays,
        _spacings,
    ):
        possible = [slip for slip in kind(case) if _can_be(slip.case)]
        found += [replace(slip, siblings=len(possible)) for slip in possible]
    return found


def roots(transit_time: Callable[[float], float], target: float, grid: Iterable[float]) -> list[float]:
    """Where a transit time is the one measured, between neighbours of a grid.

    Parameters
    ----------
    transit_time : function of float returning [s]  a ComputeError means that the figure cannot be
    target : float [s]
    grid : iterable of float  ascending, fine enough to part two roots

    Returns
    -------
    roots : list of float  ascending

    Source
    ------
    method : bracketing by the grid, then Brent's method (Brent 1973, as scipy has it).
    """
    from scipy.optimize import brentq

    def miss(x: float) -> float:
        return transit_time(x) - target

    found: list[float] = []
    before: tuple[float, float] | None = None
    for x in grid:
        try:
            here = miss(float(x))
        except ComputeError:
            before = None
            continue
        if before is not None and before[1] * here <= 0 and here != before[1]:
            found.append(float(brentq(miss, before[0], float(x), xtol=1e-12, rtol=1e-12)))
        before = (float(x), here)
    return found


def _can_be(case: Case) -> bool:
    try:
        transit_time_of(case)
    except ComputeError:
        return False
    return True


def _solved(case: Case, change: Callable[[float], Case], grid: Iterable[float]) -> list[float]:
    return roots(lambda x: transit_time_of(change(x)), case.transit_time, grid)


def _with_pipe(case: Case, **changes: object) -> Case:
    return replace(case, pipe=replace(case.pipe, **changes))  # type: ignore[arg-type]


def _with_medium(case: Case, **changes: object) -> Case:
    """Another medium; one that boils or freezes is none."""
    medium = replace(case.medium, **changes)  # type: ignore[arg-type]
    stops = [finding for finding in resolve_medium(medium).findings if finding.severity == "stop"]
    if stops:
        raise OutOfRange(stops[0].detail, field="medium")
    return replace(case, medium=medium)


def _length(value: float | None) -> Figure:
    return Figure(value, "length")


# The outer diameter


def _diameter_slip(case: Case, kind: str, diameter: float, note: str, row: PipeSize | None) -> Slip:
    entered = _length(case.pipe.outer_diameter)
    changed = _with_pipe(case, outer_diameter=diameter)
    return Slip(kind, "pipe.outer_diameter", entered, _length(diameter), changed, note, nearest_standard=row)


def _by_diameter(rows: Iterable[PipeSize], other_than: float) -> dict[float, PipeSize]:
    return {
        row.outer_diameter: row
        for row in rows
        if abs(row.outer_diameter / other_than - 1) > SAME_OUTER_DIAMETER
    }


def _named(case: Case) -> dict[float, PipeSize]:
    """Actual outer diameters of the sizes called by the number entered."""
    entered, material = case.pipe.outer_diameter, case.pipe.material.name
    rows: list[PipeSize] = []
    for unit, length, parts in (("in", INCH, 4), ("mm", 0.001, 1)):
        count = entered / length * parts
        if round(count) > 0 and abs(count - round(count)) < 1e-6 * parts:
            rows += sizes_called(Fraction(round(count), parts), unit, material)
    return _by_diameter(rows, entered)


def _nominal_diameters(case: Case) -> Iterator[Slip]:
    for diameter, row in _named(case).items():
        note = f"The outer diameter entered is the nominal size; pipes of {row.size} measure that outside ({row.standard})."
        yield _diameter_slip(case, "nominal-diameter", diameter, note, row)


def _other_sizes(case: Case) -> Iterator[Slip]:
    entered, named = case.pipe.outer_diameter, _named(case)
    rows = sizes_by_outer_diameter(entered, 0.5 * entered, case.pipe.material.name)
    for diameter, row in _by_diameter(rows, entered).items():
        if diameter not in named:
            note = f"The pipe would be of another size, {row.size} ({row.standard})."
            yield _diameter_slip(case, "other-size", diameter, note, row)


def _diameters(case: Case) -> Iterator[Slip]:
    entered = case.pipe.outer_diameter
    grid = entered * np.geomspace(0.4, 2.5, 40)
    for diameter in _solved(case, lambda x: _with_pipe(case, outer_diameter=x), grid):
        near = sizes_by_outer_diameter(diameter, NEAR_STANDARD * diameter, case.pipe.material.name)
        slip = _diameter_slip(
            case,
            "outer-diameter",
            diameter,
            "The outer diameter would be another; tape it.",
            near[0] if near else None,
        )
        yield replace(slip, move=diameter - entered)


def _inches(case: Case) -> Iterator[Slip]:
    lengths = {"outer_diameter": case.pipe.outer_diameter, "wall_thickness": case.pipe.wall_thickness}
    for name, entered in lengths.items():
        for value, note in (
            (entered * 25.4, "Inches would have been read as millimetres."),
            (entered / 25.4, "Millimetres would have been read as inches."),
        ):
            changed = _with_pipe(case, **{name: value})
            if changed.pipe.wall_thickness < THINNEST_WALL * changed.pipe.outer_diameter:
                continue
            yield Slip("inches", f"pipe.{name}", _length(entered), _length(value), changed, note)


# Wall and lining


def _wall_slip(case: Case, kind: str, wall: float, note: str, row: PipeSize | None) -> Slip:
    entered = _length(case.pipe.wall_thickness)
    changed = _with_pipe(case, wall_thickness=wall)
    return Slip(kind, "pipe.wall_thickness", entered, _length(wall), changed, note, nearest_standard=row)


def _standard_walls(case: Case) -> list[PipeSize]:
    """Rows with a wall for the outer diameter entered, one for each wall."""
    outer = case.pipe.outer_diameter
    rows = sizes_by_outer_diameter(outer, SAME_OUTER_DIAMETER * outer, case.pipe.material.name)
    by_wall = {row.wall_thickness: row for row in reversed(rows) if row.wall_thickness is not None}
    for row in (row for row in rows if row.standard == "EN 10220"):
        made = (wall for wall in EN_10220_WALLS_M if wall < outer / 4)
        by_wall = {wall: replace(row, schedule="", wall_thickness=wall) for wall in made} | by_wall
    return list(by_wall.values())


def _other_walls(case: Case) -> Iterator[Slip]:
    for row in _standard_walls(case):
        wall = row.wall_thickness or 0.0
        if abs(wall / case.pipe.wall_thickness - 1) > 0.02:
            name = f"{row.schedule} of {row.standard}" if row.schedule else f"another of {row.standard}"
            yield _wall_slip(case, "other-schedule", wall, f"The wall would be {name}.", row)


def _walls(case: Case) -> Iterator[Slip]:
    entered = case.pipe.wall_thickness
    thickest = case.pipe.outer_diameter / 2 - sum(one.thickness for one in case.pipe.linings)
    thinnest = THINNEST_WALL * case.pipe.outer_diameter
    grid = np.geomspace(min(thinnest, entered), max(0.8 * thickest, entered), 40)
    walls = _standard_walls(case)
    for wall in _solved(case, lambda x: _with_pipe(case, wall_thickness=x), grid):
        near = min(walls, key=lambda row: abs((row.wall_thickness or 0.0) - wall), default=None)
        thinner = "The wall would be thinner, as corrosion leaves it; gauge it."
        note = thinner if wall < entered else "The wall would be thicker, or scale lines it; gauge it."
        yield replace(_wall_slip(case, "wall", wall, note, near), move=wall - entered)


def _lining_figure(lining: LiningEntry | None) -> Figure:
    if lining is None:
        return Figure(None)
    return Figure(lining.thickness, "length", lining.material.name or "stated by its sound speeds")


def _lining_absent(case: Case) -> Iterator[Slip]:
    if case.pipe.lining is not None:
        note = "The lining entered would not be there."
        first, *rest = (*case.pipe.further_linings, None)
        changed = _with_pipe(case, lining=first, further_linings=tuple(rest[:-1]))
        yield Slip("lining", "pipe.lining", _lining_figure(case.pipe.lining), Figure(None), changed, note)


def _linings(case: Case) -> Iterator[Slip]:
    if case.pipe.lining is not None:
        return
    grid = np.linspace(1e-5, min(THICKEST_LINING, 0.4 * case.pipe.bore), 30)
    for name, usual in USUAL_LININGS.items():
        lined = _liner(case, MaterialEntry(name))
        for thickness in _solved(case, lined, grid):
            yield Slip(
                "lining",
                "pipe.lining",
                Figure(None),
                Figure(thickness, "length", name),
                lined(thickness),
                "The pipe would have a lining that was not entered.",
                move=thickness,
                reach=usual,
            )


def _lining_thicknesses(case: Case) -> Iterator[Slip]:
    lining = case.pipe.lining
    if lining is None:
        return
    lined = _liner(case, lining.material)
    room = 0.9 * (lining.thickness + case.pipe.bore / 2)
    for thickness in _solved(case, lined, np.geomspace(0.02 * lining.thickness, room, 40)):
        yield Slip(
            "lining-thickness",
            "pipe.lining.thickness",
            _length(lining.thickness),
            _length(thickness),
            lined(thickness),
            "The lining would be of another thickness.",
            move=thickness - lining.thickness,
        )


def _liner(case: Case, material: MaterialEntry) -> Callable[[float], Case]:
    return lambda thickness: _with_pipe(case, lining=LiningEntry(material, thickness))


# What pipe and medium are


def _materials(case: Case) -> Iterator[Slip]:
    entered = case.pipe.material.name or "stated by its sound speeds"
    # The roughness stays: the question is the wall's sound speed alone.
    rough = resolve_pipe(case.pipe).pipe.roughness
    for solid in solids():
        if solid.use == "pipe" and solid.name != entered:
            changed = _with_pipe(case, material=MaterialEntry(solid.name), roughness=rough)
            note = f"The wall would be {solid.title}."
            yield Slip("material", "pipe.material", Figure(entered), Figure(solid.name), changed, note)


def _wave_modes(case: Case) -> Iterator[Slip]:
    mode = trace(setup_of(case)).wave_modes[0]
    other: WaveMode = "shear" if mode == "longitudinal" else "longitudinal"
    changed = _with_pipe(case, wave_mode=other)
    note = f"The wall would carry a {other} wave, not a {mode} one."
    yield Slip("wave-mode", "pipe.wave_mode", Figure(mode), Figure(other), changed, note)


def _media(case: Case) -> Iterator[Slip]:
    if case.medium.temperature is None:
        return
    entered = Figure(case.medium.name or "stated by its figures")
    bare = MediumEntry(temperature=case.medium.temperature, pressure=case.medium.pressure)
    for medium in media():
        if medium.name == case.medium.name:
            continue
        needed = [name for name in COMPOSITIONS if name in medium.needs]
        unnamed = replace(case, medium=replace(bare, name=medium.name))
        would_be = Figure(medium.name)
        if not needed:
            if (changed := _checked_medium(unnamed)) is not None:
                note = f"The medium would be {medium.title}, at the temperature entered."
                yield Slip("medium", "medium", entered, would_be, changed, note)
            continue
        for share, changed in _composed(unnamed, needed[0]):
            note = f"The medium would be {medium.title} with {_worded(needed[0], share)}, at the temperature entered."
            yield Slip("medium", "medium", entered, would_be, changed, note, span=_span(unnamed, needed[0]))


def _span(case: Case, name: str) -> float:
    """How far apart the times of all shares of a mixture lie [s]."""
    _, least, most, _ = COMPOSITIONS[name]
    mixtures = [replace(case, medium=replace(case.medium, **{name: x})) for x in np.linspace(least, most, 9)]
    times = [transit_time_of(mixture) for mixture in mixtures if _can_be(mixture)]
    return max(times) - min(times)


def _checked_medium(case: Case) -> Case | None:
    try:
        return _with_medium(case)
    except ComputeError:
        return None


def _composed(case: Case, name: str) -> Iterator[tuple[float, Case]]:
    _, least, most, _ = COMPOSITIONS[name]

    def change(share: float) -> Case:
        return _with_medium(case, **{name: share})

    for share in _solved(case, change, np.linspace(least, most, 40)):
        yield share, change(share)


def _worded(name: str, share: float) -> str:
    unit = " g/kg" if name == "salinity" else ""
    return f"{name.replace('_', ' ')} {share:.3g}{unit}"


def _compositions(case: Case) -> Iterator[Slip]:
    for name, entered in case.medium.composition.items():
        kind, _, _, reach = COMPOSITIONS[name]
        for share, changed in _composed(case, name):
            yield Slip(
                "composition",
                f"medium.{name}",
                Figure(entered, kind),
                Figure(share, kind),
                changed,
                f"The medium would have {_worded(name, share)}.",
                move=share - entered,
                reach=reach,
            )


def _temperatures(case: Case) -> Iterator[Slip]:
    entered = case.medium.temperature
    ranges = [one.temperature_range for one in media() if one.name == case.medium.name]
    if entered is None or not ranges:
        return

    def change(temperature: float) -> Case:
        return _with_medium(case, temperature=temperature)

    for temperature in _solved(case, change, np.linspace(*ranges[0], 100)):
        yield Slip(
            "temperature",
            "medium.temperature",
            Figure(entered, "temperature"),
            Figure(temperature, "temperature"),
            change(temperature),
            "The medium would be at another temperature; measure it.",
            move=temperature - entered,
        )


def _medium_sound_speeds(case: Case) -> Iterator[Slip]:
    if case.medium.sound_speed is None:
        return
    entered = float(np.mean(case.medium.sound_speed))

    def change(speed: float) -> Case:
        return replace(case, medium=replace(case.medium, sound_speed=speed))

    for speed in _solved(case, change, entered * np.geomspace(0.5, 2.0, 60)):
        yield Slip(
            "medium-sound-speed",
            "medium.sound_speed",
            Figure(entered, "speed"),
            Figure(speed, "speed"),
            change(speed),
            "The medium would have another sound speed.",
            move=speed - entered,
        )


# How it was mounted


def _traverses(case: Case) -> Iterator[Slip]:
    for count in range(1, MOST_TRAVERSES_SUPPOSED + 1):
        if count != case.traverses:
            number = "one traverse" if count == 1 else f"{count} traverses"
            entered, would_be = Figure(case.traverses, "number"), Figure(count, "number")
            changed = replace(case, traverses=count)
            yield Slip("traverses", "traverses", entered, would_be, changed, f"The beam would make {number}.")


def _wedge_delays(case: Case) -> Iterator[Slip]:
    # The time is a straight line in the delay: two wedges, each once.
    off = (case.transit_time - transit_time_of(case)) / 2
    entered = float(case.transducers.wedge_delay)
    if entered + off < 0:
        return
    changed = replace(case, transducers=replace(case.transducers, wedge_delay=entered + off))
    yield Slip(
        "wedge-delay",
        "transducers.wedge_delay",
        Figure(entered, "transit_time"),
        Figure(entered + off, "transit_time"),
        changed,
        "The wedges would delay the beam by another time; check which transducers they are.",
        move=off,
    )


def _spacings(case: Case) -> Iterator[Slip]:
    path = trace(setup_of(case))
    right = float(path.axial_advance - 2 * case.transducers.face_offset)
    off = (case.transit_time - transit_time_of(case)) / float(path.axial_slowness)
    if case.traverses % 2 == 0 and right + off < 0:
        return
    yield Slip(
        "spacing",
        "spacing",
        _length(right),
        _length(right + off),
        replace(case, spacing_off=off),
        "The transducers would be mounted at another spacing than this set-up calls for; read it again.",
        move=off,
    )
