"""Candidate errors of single entries, and the case they belong to; `entry_error_kinds` lists the kinds.

A candidate is the set-up with one entry changed so that it may explain the measured transit time. A candidate from a list (another
material, another number of traverses) is used unchanged; a value (wall, temperature) is solved so that the changed set-up
has that time.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from compute.base.errors import ComputeError, OutOfRange
from compute.library.pipe_sizes import PipeSize
from compute.measuring.beam import RayPath, Setup, Transducers, trace
from compute.measuring.entries import MediumEntry, PipeEntry, resolve_medium, resolve_pipe


@dataclass(frozen=True, slots=True)
class Case:
    """The entries, and the transit time [s] measured with them.

    `spacing_off` [m] is the excess of the mounted spacing over the calculated one, or over the one entered.
    `mounted_spacing` [m] is the one entered; None: the calculated one is assumed.
    """

    pipe: PipeEntry
    medium: MediumEntry
    transducers: Transducers
    traverses: int
    transit_time: float
    spacing_off: float = 0.0
    mounted_spacing: float | None = None

    def with_pipe(self, **changes: object) -> Case:
        """Return the case with other entries of the pipe."""
        return replace(self, pipe=replace(self.pipe, **changes))  # type: ignore[arg-type]

    def with_medium(self, **changes: object) -> Case:
        """Return the case with another medium; raises OutOfRange if it boils or freezes."""
        medium = replace(self.medium, **changes)  # type: ignore[arg-type]
        if any(finding.severity == "error" for finding in resolve_medium(medium).findings):
            raise OutOfRange(field="medium")
        return replace(self, medium=medium)

    def can_be(self) -> bool:
        """Whether the entries give a beam."""
        try:
            transit_time_of(self)
        except ComputeError:
            return False
        return True

    def solved(self, change: Callable[[float], Case], grid: Iterable[float]) -> list[float]:
        """Return the values with which a changed case has the measured time, between neighbours of a grid."""
        return roots(lambda x: transit_time_of(change(x)), self.transit_time, grid)


@dataclass(frozen=True, slots=True)
class Figure:
    """A number in SI of some kind (`compute.base.units`), or text; a lining is its thickness with its material."""

    value: float | str | None
    kind: str = "text"
    material: str = ""


@dataclass(frozen=True, slots=True)
class CandidateError:
    """One entry that may be wrong.

    move     : distance of a solved value from the one entered, in its unit; None for a candidate from a list
    reach    : possible change of such a value, one standard deviation, where its field has no entered uncertainty
    span     : range of the times [s] of all its possible values, where none of them was entered
    message  : key of its message
    facts    : further parameters of the message
    """

    kind: str
    field: str
    entered: Figure
    implied_value: Figure
    case: Case
    message: str
    facts: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    move: float | None = None
    reach: float | None = None
    span: float = 0.0
    nearest_standard: PipeSize | None = None


# Kind and field of more than one wrong entry.
SEVERAL = "several"

# A kind of error: all candidates of that kind that a case allows.
Kind = Callable[[Case], Iterator[CandidateError]]


def setup_of(case: Case) -> Setup:
    """Return the physical set-up of a case.

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
    """Return the transit time by the entries of a case.

    Transducers with too much spacing receive the plane wave later by slowness x distance.

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
    return float(path.transit_time + path.axial_slowness * (_mounted_off(case, path) + case.spacing_off))


def calculated_spacing(case: Case) -> float:
    """Return the spacing between the facing ends by the entries of a case.

    Parameters
    ----------
    case : Case

    Returns
    -------
    spacing : float [m]

    Source
    ------
    geometry : axial advance of the beam less both face offsets.
    """
    return float(trace(setup_of(case)).axial_advance - 2 * case.transducers.face_offset)


def spacing_differs(case: Case) -> float:
    """Return by how much the mounted spacing differs from the calculated one.

    Parameters
    ----------
    case : Case

    Returns
    -------
    difference : float [m]  not negative; 0 if no mounted spacing is entered

    Source
    ------
    geometry : see `calculated_spacing`.
    """
    return 0.0 if case.mounted_spacing is None else abs(case.mounted_spacing - calculated_spacing(case))


def several_errors(case: Case) -> CandidateError:
    """Return the candidate that more than one entry is wrong; no value is implied.

    Parameters
    ----------
    case : Case

    Returns
    -------
    candidate : CandidateError

    Source
    ------
    definition : one sound speed does not separate two errors at once.
    """
    return CandidateError(SEVERAL, SEVERAL, Figure(None), Figure(None), case, "suspect-entry/several")


def _mounted_off(case: Case, path: RayPath) -> float:
    if case.mounted_spacing is None:
        return 0.0
    return float(case.mounted_spacing + 2 * case.transducers.face_offset - path.axial_advance)


def roots(transit_time: Callable[[float], float], target: float, grid: Iterable[float]) -> list[float]:
    """Return the values at which a transit time is the measured one, between neighbours of a grid.

    Parameters
    ----------
    transit_time : function of float returning [s]  a ComputeError marks an impossible value
    target : float [s]
    grid : iterable of float  ascending, fine enough to separate two roots

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
