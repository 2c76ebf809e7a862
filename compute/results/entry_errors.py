"""A single entry supposed wrong, and the case it was entered in; `slip_kinds` has the list of those that can be.

A slip is the set-up with one entry changed so that it may explain the transit time that was measured. One from a list (another
material, another number of traverses) is as it is; one of a figure (wall, temperature) is solved so that the corrected set-up
takes that time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

from compute.base.errors import ComputeError, OutOfRange
from compute.library.pipe_sizes import PipeSize
from compute.measuring.beam import Setup, Transducers, trace
from compute.measuring.entries import MediumEntry, PipeEntry, resolve_medium, resolve_pipe


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

    def with_pipe(self, **changes: object) -> Case:
        """The case with other entries of the pipe."""
        return replace(self, pipe=replace(self.pipe, **changes))  # type: ignore[arg-type]

    def with_medium(self, **changes: object) -> Case:
        """The case with another medium; one that boils or freezes is none and raises OutOfRange."""
        medium = replace(self.medium, **changes)  # type: ignore[arg-type]
        errors = [finding for finding in resolve_medium(medium).findings if finding.severity == "error"]
        if errors:
            raise OutOfRange(errors[0].said, field="medium")
        return replace(self, medium=medium)

    def can_be(self) -> bool:
        """Whether a beam goes through what was entered."""
        try:
            transit_time_of(self)
        except ComputeError:
            return False
        return True

    def solved(self, change: Callable[[float], Case], grid: Iterable[float]) -> list[float]:
        """The figures with which a changed case takes the time that was measured, between neighbours of a grid."""
        return roots(lambda x: transit_time_of(change(x)), self.transit_time, grid)


@dataclass(frozen=True, slots=True)
class Figure:
    """A number in SI of some kind (`compute.base.units`), or text; a lining is its thickness with its material."""

    value: float | str | None
    kind: str = "text"
    material: str = ""


@dataclass(frozen=True, slots=True)
class CandidateError:
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
    implied_value: Figure
    case: Case
    note: str
    siblings: int = 1
    move: float | None = None
    reach: float | None = None
    span: float = 0.0
    nearest_standard: PipeSize | None = None


# A kind of slip: all of that kind a case allows.
Kind = Callable[[Case], Iterator[CandidateError]]


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
    snell : the beam of `compute.measuring.beam.trace`; dT/dx = p for a wave of axial slowness p.
    """
    path = trace(setup_of(case))
    return float(path.transit_time + path.axial_slowness * case.spacing_off)


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
