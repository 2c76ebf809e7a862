"""Slips of a pipe's entries: its outer diameter, its wall, its lining and what it is made of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np

from compute.library.materials import solids
from compute.library.pipe_sizes import (
    EN_10220_WALLS_M,
    PipeSize,
    sizes_by_nominal_number,
    sizes_by_outer_diameter,
)
from compute.measuring.beam import WaveMode, trace
from compute.measuring.entries import LiningEntry, MaterialEntry, resolve_pipe
from compute.results.entry_errors import CandidateError, Case, Figure, Kind, setup_of

INCH = 0.0254
# A standard's outer diameter within this of a figure is what the figure stands for; default value.
NEAR_STANDARD = 0.03
SAME_OUTER_DIAMETER = 0.005
# No pipe has a thinner wall than this share of its outer diameter; default value.
MIN_WALL_THICKNESS = 0.005
# Linings that are forgotten or not known of [m]: the usual thickness of each. Cement mortar as EN 545 has it for mid sizes;
# the others are default values.
USUAL_LININGS = {"cement-mortar": 0.005, "epoxy": 0.0005, "rubber-natural": 0.004, "bitumen": 0.003}
MAX_LINING_THICKNESS = 0.08


def _length(value: float | None) -> Figure:
    return Figure(value, "length")


# The outer diameter


def _diameter_candidate(
    case: Case, kind: str, diameter: float, note: str, row: PipeSize | None
) -> CandidateError:
    entered = _length(case.pipe.outer_diameter)
    changed = case.with_pipe(outer_diameter=diameter)
    return CandidateError(
        kind, "pipe.outer_diameter", entered, _length(diameter), changed, note, nearest_standard=row
    )


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
            rows += sizes_by_nominal_number(Fraction(round(count), parts), unit, material)
    return _by_diameter(rows, entered)


def _nominal_diameters(case: Case) -> Iterator[CandidateError]:
    for diameter, row in _named(case).items():
        note = f"The outer diameter entered is the nominal size; pipes of {row.size} measure that outside ({row.standard})."
        yield _diameter_candidate(case, "nominal-diameter", diameter, note, row)


def _other_sizes(case: Case) -> Iterator[CandidateError]:
    entered, named = case.pipe.outer_diameter, _named(case)
    rows = sizes_by_outer_diameter(entered, 0.5 * entered, case.pipe.material.name)
    for diameter, row in _by_diameter(rows, entered).items():
        if diameter not in named:
            note = f"The pipe would be of another size, {row.size} ({row.standard})."
            yield _diameter_candidate(case, "other-size", diameter, note, row)


def _diameters(case: Case) -> Iterator[CandidateError]:
    entered = case.pipe.outer_diameter
    grid = entered * np.geomspace(0.4, 2.5, 40)
    for diameter in case.solved(lambda x: case.with_pipe(outer_diameter=x), grid):
        near = sizes_by_outer_diameter(diameter, NEAR_STANDARD * diameter, case.pipe.material.name)
        candidate = _diameter_candidate(
            case,
            "outer-diameter",
            diameter,
            "The outer diameter would be another; tape it.",
            near[0] if near else None,
        )
        yield replace(candidate, move=diameter - entered)


def _inches(case: Case) -> Iterator[CandidateError]:
    lengths = {"outer_diameter": case.pipe.outer_diameter, "wall_thickness": case.pipe.wall_thickness}
    for name, entered in lengths.items():
        for value, note in (
            (entered * 25.4, "Inches would have been read as millimetres."),
            (entered / 25.4, "Millimetres would have been read as inches."),
        ):
            changed = case.with_pipe(**{name: value})
            if changed.pipe.wall_thickness < MIN_WALL_THICKNESS * changed.pipe.outer_diameter:
                continue
            yield CandidateError("inches", f"pipe.{name}", _length(entered), _length(value), changed, note)


# Wall and lining


def _wall_candidate(case: Case, kind: str, wall: float, note: str, row: PipeSize | None) -> CandidateError:
    entered = _length(case.pipe.wall_thickness)
    changed = case.with_pipe(wall_thickness=wall)
    return CandidateError(
        kind, "pipe.wall_thickness", entered, _length(wall), changed, note, nearest_standard=row
    )


def _standard_walls(case: Case) -> list[PipeSize]:
    """Rows with a wall for the outer diameter entered, one for each wall."""
    outer = case.pipe.outer_diameter
    rows = sizes_by_outer_diameter(outer, SAME_OUTER_DIAMETER * outer, case.pipe.material.name)
    by_wall = {row.wall_thickness: row for row in reversed(rows) if row.wall_thickness is not None}
    for row in (row for row in rows if row.standard == "EN 10220"):
        listed = (wall for wall in EN_10220_WALLS_M if wall < outer / 4)
        by_wall = {wall: replace(row, schedule="", wall_thickness=wall) for wall in listed} | by_wall
    return list(by_wall.values())


def _other_walls(case: Case) -> Iterator[CandidateError]:
    for row in _standard_walls(case):
        wall = row.wall_thickness or 0.0
        if abs(wall / case.pipe.wall_thickness - 1) > 0.02:
            name = f"{row.schedule} of {row.standard}" if row.schedule else f"another of {row.standard}"
            yield _wall_candidate(case, "other-schedule", wall, f"The wall would be {name}.", row)


def _walls(case: Case) -> Iterator[CandidateError]:
    entered = case.pipe.wall_thickness
    maximum = case.pipe.outer_diameter / 2 - sum(one.thickness for one in case.pipe.linings)
    minimum = MIN_WALL_THICKNESS * case.pipe.outer_diameter
    grid = np.geomspace(min(minimum, entered), max(0.8 * maximum, entered), 40)
    walls = _standard_walls(case)
    for wall in case.solved(lambda x: case.with_pipe(wall_thickness=x), grid):
        near = min(walls, key=lambda row: abs((row.wall_thickness or 0.0) - wall), default=None)
        thinner = "The wall would be thinner, as corrosion leaves it; gauge it."
        note = thinner if wall < entered else "The wall would be thicker, or scale lines it; gauge it."
        yield replace(_wall_candidate(case, "wall", wall, note, near), move=wall - entered)


def _lining_figure(lining: LiningEntry | None) -> Figure:
    if lining is None:
        return Figure(None)
    return Figure(lining.thickness, "length", lining.material.name or "stated by its sound speeds")


def _lining_absent(case: Case) -> Iterator[CandidateError]:
    if case.pipe.lining is not None:
        note = "The lining entered would not be there."
        first, *rest = (*case.pipe.further_linings, None)
        changed = case.with_pipe(lining=first, further_linings=tuple(rest[:-1]))
        yield CandidateError(
            "lining", "pipe.lining", _lining_figure(case.pipe.lining), Figure(None), changed, note
        )


def _linings(case: Case) -> Iterator[CandidateError]:
    if case.pipe.lining is not None:
        return
    grid = np.linspace(1e-5, min(MAX_LINING_THICKNESS, 0.4 * case.pipe.bore), 30)
    for name, usual in USUAL_LININGS.items():
        lined = _liner(case, MaterialEntry(name))
        for thickness in case.solved(lined, grid):
            yield CandidateError(
                "lining",
                "pipe.lining",
                Figure(None),
                Figure(thickness, "length", name),
                lined(thickness),
                "The pipe would have a lining that was not entered.",
                move=thickness,
                reach=usual,
            )


def _lining_thicknesses(case: Case) -> Iterator[CandidateError]:
    lining = case.pipe.lining
    if lining is None:
        return
    lined = _liner(case, lining.material)
    room = 0.9 * (lining.thickness + case.pipe.bore / 2)
    for thickness in case.solved(lined, np.geomspace(0.02 * lining.thickness, room, 40)):
        yield CandidateError(
            "lining-thickness",
            "pipe.lining.thickness",
            _length(lining.thickness),
            _length(thickness),
            lined(thickness),
            "The lining would be of another thickness.",
            move=thickness - lining.thickness,
        )


def _liner(case: Case, material: MaterialEntry) -> Callable[[float], Case]:
    return lambda thickness: case.with_pipe(lining=LiningEntry(material, thickness))


# What the wall is made of, and how it carries the sound


def _materials(case: Case) -> Iterator[CandidateError]:
    entered = case.pipe.material.name or "stated by its sound speeds"
    # The roughness stays: the question is the wall's sound speed alone.
    rough = resolve_pipe(case.pipe).pipe.roughness
    for solid in solids():
        if solid.use == "pipe" and solid.name != entered:
            changed = case.with_pipe(material=MaterialEntry(solid.name), roughness=rough)
            note = f"The wall would be {solid.title}."
            yield CandidateError(
                "material", "pipe.material", Figure(entered), Figure(solid.name), changed, note
            )


def _wave_modes(case: Case) -> Iterator[CandidateError]:
    mode = trace(setup_of(case)).wave_modes[0]
    other: WaveMode = "shear" if mode == "longitudinal" else "longitudinal"
    changed = case.with_pipe(wave_mode=other)
    note = f"The wall would carry a {other} wave, not a {mode} one."
    yield CandidateError("wave-mode", "pipe.wave_mode", Figure(mode), Figure(other), changed, note)


PIPE_ERROR_KINDS: tuple[Kind, ...] = (
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
)
