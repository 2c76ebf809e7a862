"""Several paths at one point, on crossed diameters or with other transducers: mean flow and agreement."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from compute.base.errors import NotEnough
from compute.base.messages import Finding, finding, quantity
from compute.base.sources import Source
from compute.combining.combination import Combined, combine, combine_as
from compute.combining.components import Component, Part

# Diameters closer than this count as one: transducers are positioned by eye. Common practice.
SAME_DIAMETER = math.radians(15)
SPREAD = "spread-of-paths"
RECTANGLE = Source(
    "JCGM 100:2008 (GUM) 4.3.7: half the range of the paths, rectangular; the flow is assumed to lie between them",
    "default",
)


@dataclass(frozen=True, slots=True)
class Path:
    """A result of one path: its part, the traverses, and the position of its upstream transducer around the pipe.

    around [rad] from any fixed mark, the same for all paths of the point; None: not noted.
    """

    part: Part
    traverses: int
    around: float | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """Two paths compared: the difference of the first less the second and its limit.

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
    """Return the mean flow of several paths at one point, its uncertainty, and a finding on their agreement.

    All weights are equal. Paths are measured on different diameters because one diameter does not sample the whole profile:
    an asymmetric profile or a cross-flow adds to one path and, to first order, reduces another; only the plain
    mean cancels them. Weights by uncertainty would favour one path for inputs unrelated to the profile.

    Each pair is compared with the uncertainty of its own difference, in which the inputs that the paths share (pipe,
    meter, medium) have cancelled. The coverage of each comparison is widened so that all together have the requested one.
    If a pair disagrees, the entered uncertainties do not explain the spread. The spread then enters the budget: half the range as a
    rectangle. Scatter over the root of n would assume that paths are random draws; they are few, each has a
    constant error, and with two paths one degree of freedom would make the factor 12.7.

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
        raise NotEnough(variant="paths", count=len(paths))
    pairs = _pairs(paths, coverage_probability)
    parts = [path.part for path in paths]
    off = [pair for pair in pairs if not pair.agrees]
    if not off:
        mean = combine_as("mean", parts, coverage_probability=coverage_probability)
        return PathsResult(replace(mean, findings=(*mean.findings, _agree(pairs))), pairs)
    values = [part.value for part in parts]
    spread = Component(SPREAD, (max(values) - min(values)) / 2 / math.sqrt(3))
    # The spread belongs to the mean, not to one path: a separate part of value 0.
    taken = [replace(part, coefficient=1 / len(parts)) for part in parts]
    mean = combine([*taken, Part(0.0, (spread,))], coverage_probability=coverage_probability)
    worst = max(off, key=lambda pair: abs(pair.difference) / pair.limit if pair.limit else math.inf)
    return PathsResult(replace(mean, findings=(*mean.findings, _disagree(worst, paths))), pairs)


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
    return finding(
        "paths-agree",
        "info",
        source=RECTANGLE,
        difference=quantity(abs(widest.difference), "volume_flow"),
        limit=quantity(widest.limit, "volume_flow"),
    )


def _disagree(pair: Pair, paths: Sequence[Path]) -> Finding:
    first, second = paths[pair.first], paths[pair.second]
    return finding(
        "paths-disagree",
        "warning",
        source=RECTANGLE,
        first=pair.first + 1,
        second=pair.second + 1,
        difference=quantity(abs(pair.difference), "volume_flow"),
        limit=quantity(pair.limit, "volume_flow"),
        ratio=abs(pair.difference) / pair.limit if pair.limit else None,
        geometry=_geometry(first, second),
    )


def _geometry(first: Path, second: Path) -> str:
    """Return the geometry of two paths, which shows the probable cause of a disagreement."""
    odd = first.traverses % 2, second.traverses % 2
    if first.around is None or second.around is None:
        return "unknown"
    turned = math.remainder(first.around - second.around, math.tau)
    if abs(math.remainder(turned, math.pi)) <= SAME_DIAMETER:
        if odd == (1, 1) and abs(turned) > math.pi / 2:
            return "crossed-on-one-diameter"
        return "one-diameter-odd-and-even" if odd[0] != odd[1] else "one-diameter"
    if odd[0] != odd[1]:
        return "two-diameters-odd-and-even"
    return "two-diameters-odd" if odd == (1, 1) else "two-diameters-even"
