"""Several paths at one point: crossed diameters, or a repeat with other transducers. Their mean, and whether they agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from compute.base.errors import NotEnough
from compute.base.findings import Finding
from compute.base.sources import Source
from compute.combining.combination import Combined, combine, combine_as
from compute.combining.components import Component, Part

# Diameters nearer than this count as one: a transducer is strapped on by eye. Common practice.
SAME_DIAMETER = math.radians(15)
SPREAD = "spread-of-paths"
RECTANGLE = Source(
    "JCGM 100:2008 (GUM) 4.3.7: half the range of the paths, rectangular; the flow is assumed to lie between them",
    "default",
)


@dataclass(frozen=True, slots=True)
class Path:
    """A result of one path: its part, the traverses, and where round the pipe its upstream transducer sits.

    around [rad] from any fixed mark, the same for all paths of the point; None: not noted.
    """

    part: Part
    traverses: int
    around: float | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """Two paths compared: the difference of the first less the second and how far it may be from 0.

    difference, standard_uncertainty, limit [unit of the parts]; shared inputs have cancelled in the uncertainty.
    """

    first: int
    second: int
    difference: float
    standard_uncertainty: float
    limit: float

    @property
    def agrees(self) -> bool:
        """Whether the difference is within its limit."""
        return abs(self.difference) <= self.limit


@dataclass(frozen=True, slots=True)
class PathsResult:
    """The mean of the paths, judged: every pair compared."""

    combined: Combined
    pairs: tuple[Pair, ...]

    @property
    def agree(self) -> bool:
        """Whether every pair of paths agrees."""
        return all(pair.agrees for pair in self.pairs)


def combine_paths(paths: Sequence[Path], *, coverage_probability: float = 0.95) -> PathsResult:
    """Mean flow of several paths at one point, its uncertainty, and a finding on whether they agree.

    All weigh the same. Paths are measured on different diameters because one diameter does not see the whole profile:
    what a lopsided profile or a cross-flow adds to one it takes, to first order, from another, and only the plain
    mean has that property. Weights by uncertainty would favour one path for doubts that say nothing of the profile.

    Each pair is held against the uncertainty of its own difference, in which the inputs that the paths share (pipe,
    meter, medium) have cancelled. The coverage of each comparison is widened so that all together have the one asked for.
    If a pair disagrees, the inputs on record do not explain the spread. It then enters the budget: half the range as a
    rectangle. Scatter over the root of n would ask that paths are random draws; they are few, each has an
    error of its own that stays, and with two of them one degree of freedom would make the factor 12.7.

    Parameters
    ----------
    paths : sequence of Path  two or more
    coverage_probability : float [1]  above 0, below 1

    Returns
    -------
    result : PathsResult

    Raises
    ------
    NotEnough  fewer than two paths

    Source
    ------
    JCGM 100:2008 (GUM) 5.2.2 (shared inputs) and 4.3.7 (rectangle); equal weights and the rectangle over the range are
        default values. Widening: Bonferroni's inequality.
    """
    if len(paths) < 2:
        raise NotEnough("Paths are combined from two or more; there are fewer.", field="paths")
    pairs = _pairs(paths, coverage_probability)
    parts = [path.part for path in paths]
    off = [pair for pair in pairs if not pair.agrees]
    if not off:
        mean = combine_as("mean", parts, coverage_probability=coverage_probability)
        return PathsResult(replace(mean, findings=(*mean.findings, _agree(pairs))), pairs)
    values = [part.value for part in parts]
    spread = Component(SPREAD, (max(values) - min(values)) / 2 / math.sqrt(3))
    # It is of the mean, not of one path: a part of its own, of value 0.
    taken = [replace(part, coefficient=1 / len(parts)) for part in parts]
    mean = combine([*taken, Part(0.0, (spread,))], coverage_probability=coverage_probability)
    worst = max(off, key=lambda pair: abs(pair.difference) / pair.limit if pair.limit else math.inf)
    finding = _disagree(worst, paths)
    return PathsResult(replace(mean, findings=(*mean.findings, finding)), pairs)


def _pairs(paths: Sequence[Path], coverage_probability: float) -> tuple[Pair, ...]:
    indexes = list(combinations(range(len(paths)), 2))
    probability = 1 - (1 - coverage_probability) / len(indexes)
    pairs = []
    for first, second in indexes:
        one, other = paths[first].part, paths[second].part
        found = combine(
            [replace(one, coefficient=1.0), replace(other, coefficient=-1.0)],
            coverage_probability=probability,
        )
        pairs.append(
            Pair(first, second, found.value, found.combined_standard_uncertainty, found.expanded_uncertainty)
        )
    return tuple(pairs)


def _agree(pairs: Sequence[Pair]) -> Finding:
    widest = max(pairs, key=lambda pair: abs(pair.difference))
    detail = "The paths agree within the uncertainty of their differences: nothing is seen of swirl or a lopsided profile between them."
    return Finding(
        "paths-agree", "info", detail, "paths", abs(widest.difference), widest.limit, "volume_flow", RECTANGLE
    )


def _disagree(pair: Pair, paths: Sequence[Path]) -> Finding:
    one, other = paths[pair.first], paths[pair.second]
    names = f"{one.part.name or f'path {pair.first + 1}'} and {other.part.name or f'path {pair.second + 1}'}"
    differ = (
        f"differ by {abs(pair.difference) / pair.limit:.1f} times what their separate doubts allow"
        if pair.limit
        else "differ, and no doubt of their own is on record"
    )
    detail = f"The results of {names} {differ}. {_sign_of(one, other)} Half the range of the paths was added to the uncertainty."
    return Finding(
        "paths-disagree",
        "warning",
        detail,
        "paths",
        abs(pair.difference),
        pair.limit,
        "volume_flow",
        RECTANGLE,
    )


def _sign_of(one: Path, other: Path) -> str:
    """What a disagreement of two paths is a sign of, by their geometry."""
    odd = one.traverses % 2, other.traverses % 2
    if one.around is None or other.around is None:
        return (
            "Where round the pipe the paths lie is not noted: on different diameters it is a sign of swirl or a lopsided profile, on one "
            "diameter of the mounting."
        )
    turned = math.remainder(one.around - other.around, math.tau)
    if abs(math.remainder(turned, math.pi)) <= SAME_DIAMETER:
        return _sign_on_one_diameter(odd, exchanged=abs(turned) > math.pi / 2)
    if odd == (0, 0):
        return (
            "They lie on different diameters with even numbers of traverses, which cancel a cross-flow: it is a sign of a lopsided "
            "profile, as behind a bend. Look for more straight pipe."
        )
    return (
        "They lie on different diameters with odd numbers of traverses, to which a cross-flow adds on one and takes from another: it is a sign "
        "of swirl or a lopsided profile. Repeat with an even number of traverses, which cancels a cross-flow, or look for more straight pipe."
        if odd == (1, 1)
        else "They lie on different diameters, one with an odd number of traverses, which sees a cross-flow, one with an even number, which "
        "does not: it is a sign of swirl or a lopsided profile. Look for more straight pipe."
    )


def _sign_on_one_diameter(odd: tuple[int, int], exchanged: bool) -> str:
    if odd == (1, 1) and exchanged:
        return (
            "They cross on one diameter in opposite slants, which see a cross-flow with opposite sign: it is a sign of swirl, and the mean is "
            "free of it to first order."
        )
    if odd[0] != odd[1]:
        return (
            "They lie on one diameter with an odd and an even number of traverses, of which only the odd one sees a cross-flow: it is a sign of "
            "swirl or of the mounting."
        )
    return (
        "They lie on one diameter and see the same flow: it is a sign of the mounting. Check spacing, alignment, couplant and the cable "
        "of each pair, and that the flow did not change between them."
    )
