"""Candidate errors of a pipe's entries: outer diameter, wall, lining and material."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np

from compute.base.messages import field_name, quantity, term
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
# A value within this relative distance of a standard outer diameter stands for that diameter; default value.
NEAR_STANDARD = 0.03
SAME_OUTER_DIAMETER = 0.005
SAME_WALL = 0.02
# No pipe has a thinner wall than this fraction of its outer diameter; default value.
MIN_WALL_THICKNESS = 0.005
# Linings that are often not entered [m]: the usual thickness of each. Cement mortar as EN 545 has it for mid sizes;
# the others are default values.
USUAL_LININGS = {"cement-mortar": 0.005, "epoxy": 0.0005, "rubber-natural": 0.004, "bitumen": 0.003}
MAX_LINING_THICKNESS = 0.08


def _length(value: float | None) -> Figure:
    return Figure(value, "length")


# The outer diameter


def _diameter_candidate(
    case: Case, kind: str, diameter: float, message: str, row: PipeSize | None
) -> CandidateError:
    entered = _length(case.pipe.outer_diameter)
    changed = case.with_pipe(outer_diameter=diameter)
    return CandidateError(
        kind,
        "pipe.outer_diameter",
        entered,
        _length(diameter),
        changed,
        message,
        _size(row),
        nearest_standard=row,
    )


def _size(row: PipeSize | None) -> dict[str, Any]:
    """Return a standard size as parameters of a message."""
    if row is None:
        return {"size": None, "schedule": None, "standard": None}
    return {"size": row.size, "schedule": row.schedule or None, "standard": row.standard}


def _by_diameter(rows: Iterable[PipeSize], other_than: float) -> dict[float, PipeSize]:
    return {
        row.outer_diameter: row
        for row in rows
        if abs(row.outer_diameter / other_than - 1) > SAME_OUTER_DIAMETER
    }


def is_standard_diameter(case: Case) -> bool:
    """Whether the entered outer diameter is that of a standard size for the material, or no standard is known for it.

    Parameters
    ----------
    case : Case

    Returns
    -------
    standard : bool

    Source
    ------
    tables : see `compute.library.pipe_sizes`.
    """
    outer, material = case.pipe.outer_diameter, case.pipe.material.name
    return bool(sizes_by_outer_diameter(outer, SAME_OUTER_DIAMETER * outer, material))


def _named(case: Case) -> dict[float, PipeSize]:
    """Return actual outer diameters of the sizes with the entered number as designation."""
    entered, material = case.pipe.outer_diameter, case.pipe.material.name
    rows: list[PipeSize] = []
    for unit, length, parts in (("in", INCH, 4), ("mm", 0.001, 1)):
        count = entered / length * parts
        if round(count) > 0 and abs(count - round(count)) < 1e-6 * parts:
            rows += sizes_by_nominal_number(Fraction(round(count), parts), unit, material)
    return _by_diameter(rows, entered)


def _nominal_diameters(case: Case) -> Iterator[CandidateError]:
    for diameter, row in _named(case).items():
        yield _diameter_candidate(case, "nominal-diameter", diameter, "suspect-entry/nominal-diameter", row)


def _other_sizes(case: Case) -> Iterator[CandidateError]:
    entered, named = case.pipe.outer_diameter, _named(case)
    rows = sizes_by_outer_diameter(entered, 0.5 * entered, case.pipe.material.name)
    for diameter, row in _by_diameter(rows, entered).items():
        if diameter not in named:
            yield _diameter_candidate(case, "other-size", diameter, "suspect-entry/other-size", row)


def _diameters(case: Case) -> Iterator[CandidateError]:
    entered = case.pipe.outer_diameter
    grid = entered * np.geomspace(0.4, 2.5, 40)
    for diameter in case.solved(lambda x: case.with_pipe(outer_diameter=x), grid):
        near = sizes_by_outer_diameter(diameter, NEAR_STANDARD * diameter, case.pipe.material.name)
        row = near[0] if near else None
        candidate = _diameter_candidate(case, "outer-diameter", diameter, "suspect-entry/outer-diameter", row)
        facts = _nearest(row, row.outer_diameter if row else None, entered, SAME_OUTER_DIAMETER)
        yield replace(candidate, move=diameter - entered, facts=facts)


def _nearest(
    row: PipeSize | None, dimension: float | None, entered: float, same_within: float
) -> dict[str, Any]:
    """Return the nearest standard size as parameters of a message; empty if it is the entered size."""
    if row is None or dimension is None:
        return {"nearest": None, "nearest_is_entered": False}
    if abs(dimension / entered - 1) <= same_within:
        return {"nearest": None, "nearest_is_entered": True}
    return {**_size(row), "nearest": quantity(dimension, "length"), "nearest_is_entered": False}


def _inches(case: Case) -> Iterator[CandidateError]:
    lengths = {"outer_diameter": case.pipe.outer_diameter, "wall_thickness": case.pipe.wall_thickness}
    for name, entered in lengths.items():
        for value, message in (
            (entered * 25.4, "suspect-entry/inches-as-millimetres"),
            (entered / 25.4, "suspect-entry/millimetres-as-inches"),
        ):
            changed = case.with_pipe(**{name: value})
            if changed.pipe.wall_thickness < MIN_WALL_THICKNESS * changed.pipe.outer_diameter:
                continue
            yield CandidateError(
                "inches",
                f"pipe.{name}",
                _length(entered),
                _length(value),
                changed,
                message,
                {"quantity": field_name(f"pipe.{name}")},
            )


# Wall and lining


def _wall_candidate(case: Case, kind: str, wall: float, message: str, row: PipeSize | None) -> CandidateError:
    entered = _length(case.pipe.wall_thickness)
    changed = case.with_pipe(wall_thickness=wall)
    return CandidateError(
        kind,
        "pipe.wall_thickness",
        entered,
        _length(wall),
        changed,
        message,
        _size(row),
        nearest_standard=row,
    )


def _standard_walls(case: Case) -> list[PipeSize]:
    """Return the rows with a wall for the entered outer diameter, one for each wall."""
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
        if abs(wall / case.pipe.wall_thickness - 1) > SAME_WALL:
            yield _wall_candidate(case, "other-schedule", wall, "suspect-entry/other-schedule", row)


def _walls(case: Case) -> Iterator[CandidateError]:
    entered = case.pipe.wall_thickness
    maximum = case.pipe.outer_diameter / 2 - sum(one.thickness for one in case.pipe.linings)
    minimum = MIN_WALL_THICKNESS * case.pipe.outer_diameter
    grid = np.geomspace(min(minimum, entered), max(0.8 * maximum, entered), 40)
    walls = _standard_walls(case)
    for wall in case.solved(lambda x: case.with_pipe(wall_thickness=x), grid):
        near = min(walls, key=lambda row: abs((row.wall_thickness or 0.0) - wall), default=None)
        message = "suspect-entry/wall-thinner" if wall < entered else "suspect-entry/wall-thicker"
        facts = _nearest(near, near.wall_thickness if near else None, entered, SAME_WALL)
        yield replace(_wall_candidate(case, "wall", wall, message, near), move=wall - entered, facts=facts)


def _lining_figure(lining: LiningEntry | None) -> Figure:
    if lining is None:
        return Figure(None)
    return Figure(lining.thickness, "length", lining.material.name or "stated by its sound speeds")


def _lining_absent(case: Case) -> Iterator[CandidateError]:
    if case.pipe.lining is not None:
        first, *rest = (*case.pipe.further_linings, None)
        changed = case.with_pipe(lining=first, further_linings=tuple(rest[:-1]))
        yield CandidateError(
            "lining",
            "pipe.lining",
            _lining_figure(case.pipe.lining),
            Figure(None),
            changed,
            "suspect-entry/lining-absent",
            {"lining": _title(case.pipe.lining.material.name)},
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
                "suspect-entry/lining-not-entered",
                {"lining": _title(name)},
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
            "suspect-entry/lining-thickness",
            move=thickness - lining.thickness,
        )


def _liner(case: Case, material: MaterialEntry) -> Callable[[float], Case]:
    return lambda thickness: case.with_pipe(lining=LiningEntry(material, thickness))


# The material of the wall, and the wave in it


def _materials(case: Case) -> Iterator[CandidateError]:
    entered = case.pipe.material.name or "stated by its sound speeds"
    # The roughness is unchanged: only the sound speed of the wall is varied.
    rough = resolve_pipe(case.pipe).pipe.roughness
    for solid in solids():
        if solid.use == "pipe" and solid.name != entered:
            changed = case.with_pipe(material=MaterialEntry(solid.name), roughness=rough)
            yield CandidateError(
                "material",
                "pipe.material",
                Figure(entered),
                Figure(solid.name),
                changed,
                "suspect-entry/material",
                {"material": solid.title, "entered_material": _title(case.pipe.material.name)},
            )


def _wave_modes(case: Case) -> Iterator[CandidateError]:
    mode = trace(setup_of(case)).wave_modes[0]
    other: WaveMode = "shear" if mode == "longitudinal" else "longitudinal"
    changed = case.with_pipe(wave_mode=other)
    yield CandidateError(
        "wave-mode",
        "pipe.wave_mode",
        Figure(mode),
        Figure(other),
        changed,
        "suspect-entry/wave-mode",
        {"wave_mode": term(other), "entered_wave_mode": term(mode)},
    )


def _title(material: str) -> str | None:
    """Return the title of a library material; None for a material entered by its sound speeds."""
    if not material:
        return None
    return next((solid.title for solid in solids() if solid.name == material), material)


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
