"""Steady segments of a log, proposed for a technician to mark.

1. The log is divided at gaps, and each row of readings without a gap is condensed: medians of so many readings that at most
   a thousand remain. A median ignores spikes.
2. Their noise is estimated from the differences of neighbours, also by a median, so that steps of the flow do not count as noise; the
   same for pairs, fours, eights ... of them, since correlated noise shows only there.
3. The row is divided at changes of level by the exact least-squares partition with a penalty for each part that noise
   of that size rarely justifies.
4. Neighbouring parts that are steady together are joined; parts that drift, vary or are short are excluded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.logs.segments import Segment, Times

FloatArray = NDArray[np.float64]

# A pause of more than this number of usual intervals is a gap; common practice.
GAP = 10.0
MAX_CELLS = 1000
READINGS_A_CELL = 5
MIN_CELLS = 4
# Blocks of cells are doubled while at least this number remains for a median; a default value.
MIN_BLOCKS = 12
# Penalty of a step, times the noise variance x log(cells): with 2, chance would sometimes give a step.
PENALTY = 4.0
# Minimum length of a segment as a fraction of the log; number of sections for its variation; default values.
MIN_FRACTION_OF_LOG = 0.02
STEADY_WITHIN = 0.05
SECTIONS = 8
# Standard errors of a drift, or of a section's mean, that noise may explain; a default value.
CHANCE_FACTOR = 3.0
# Median of |x| of a normal distribution over its standard deviation.
MEDIAN_OF_NORMAL = 0.6744897501960817


@dataclass(frozen=True, slots=True)
class SteadySegment:
    """A segment with steady flow: first and last reading [us since 1970 UTC], flows in the log's unit.

    drift  change of the straight trend from its start to its end
    """

    start: int
    end: int
    readings: int
    mean: float
    standard_deviation: float
    drift: float

    def segment(self, reason: str = "steady flow") -> Segment:
        """The marked segment with its reason."""
        return Segment(self.start, self.end, reason)


@dataclass(frozen=True, slots=True)
class _Row:
    """Readings without a gap, condensed: (k,) medians, (k,) times of their middles [s], first readings of cells, (k + 1,)."""

    cells: FloatArray
    middles: FloatArray
    edges: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class _Limits:
    """Limits of a steady part: relative width, reference level near 0, variance of the noise of a cell."""

    within: float
    level: float
    noise: float


def steady_segments(
    times: Times, flow: FloatArray, *, within: float = STEADY_WITHIN, shortest: int | None = None
) -> tuple[SteadySegment, ...]:
    """Return the segments of a log with steady flow, longest first.

    Steady: over the segment neither the straight trend nor the means of its eighths change by more than `within` of the level, or
    by more than noise of the log's own size explains. The level is the mean of the segment; near 0 a tenth of that of the log.

    Parameters
    ----------
    times : (n,) [us]  since 1970 UTC, in any order
    flow : (n,) [any unit]  finite
    within : float [-]  above 0, below 1
    shortest : int or None [us]  None takes a fiftieth of the log

    Returns
    -------
    segments : tuple of SteadySegment  apart from one another; empty if none is steady

    Raises
    ------
    NotEnough      no reading
    NumberInvalid  a flow that is not finite, or not one for each time
    OutOfRange     a width outside 0..1

    Source
    ------
    partition : Jackson et al. 2005, IEEE Signal Process. Lett. 12:105 (exact, least squares); penalty in proportion to the
        logarithm as Yao 1988, with the long-run variance in place of the variance; all from memory. Limits: default values.
    """
    order = _checked(times, flow, within)
    if order is not None:
        times, flow = times[order], flow[order]
    span = int(times[-1] - times[0])
    least = MIN_FRACTION_OF_LOG * span if shortest is None else shortest
    found = [
        segment
        for first, last in _rows(times)
        for segment in _steady_parts(times[first:last], flow[first:last], within, _level(flow))
        if segment.end - segment.start >= least
    ]
    return tuple(sorted(found, key=lambda segment: (segment.start - segment.end, segment.start)))


def _checked(times: Times, flow: FloatArray, within: float) -> NDArray[np.intp] | None:
    """Return the sorting order of the times, if they are not in order."""
    if not len(times):
        raise NotEnough(field="log", variant="no-readings")
    if len(times) != len(flow) or not np.isfinite(flow).all():
        raise NumberInvalid(field="log", variant="flows-and-times")
    if not 0 < within < 1:
        raise OutOfRange(field="within", value=within, above=0, below=1)
    return np.argsort(times, kind="stable") if np.any(times[1:] < times[:-1]) else None


def _level(flow: FloatArray) -> float:
    """Return a tenth of the size of the log's flows, from a sample: the reference level of a segment without flow."""
    return 0.1 * float(np.median(np.abs(flow[:: max(1, len(flow) // 10_000)])))


def _rows(times: Times) -> list[tuple[int, int]]:
    """Return rows of readings without a gap, long enough for a segment."""
    intervals = np.diff(times)
    if not len(intervals):
        return []
    usual = float(np.median(intervals[intervals > 0])) if np.any(intervals > 0) else 1.0
    cuts = np.concatenate([[0], np.flatnonzero(intervals > GAP * usual) + 1, [len(times)]])
    long = np.flatnonzero(np.diff(cuts) >= MIN_CELLS * READINGS_A_CELL)
    return [(int(cuts[i]), int(cuts[i + 1])) for i in long]


def _steady_parts(times: Times, flow: FloatArray, within: float, level: float) -> list[SteadySegment]:
    """Return steady segments of one row of readings without a gap."""
    row = _coarse(times, flow)
    limits = _Limits(within, level, _noise_variance(row.cells))
    parts = _joined(row, _partition(row.cells, limits.noise), limits)
    segments = []
    for first, last in parts:
        # A cell in which the level changed belongs to neither side.
        inner = (first + (first > 0), last - (last < len(row.cells)))
        if inner[1] - inner[0] < MIN_CELLS or not _is_steady(row, inner, limits):
            continue
        start, stop = int(row.edges[inner[0]]), int(row.edges[inner[1]])
        values = flow[start:stop]
        deviation = float(values.std(ddof=1))
        drift = _drift(row, inner)[0]
        segments.append(
            SteadySegment(
                int(times[start]), int(times[stop - 1]), stop - start, float(values.mean()), deviation, drift
            )
        )
    return segments


def _coarse(times: Times, flow: FloatArray) -> _Row:
    count = max(len(flow) // max(READINGS_A_CELL, -(-len(flow) // MAX_CELLS)), 1)
    size, left = divmod(len(flow), count)
    # The remainder makes the middle cells one longer, so that the reversed log has almost the same cells.
    longer = np.zeros(count, dtype=np.intp)
    longer[(count - left) // 2 : (count - left) // 2 + left] = 1
    edges = np.concatenate([[0], np.cumsum(size + longer)])
    cells = np.empty(count)
    for extra in (0, 1):
        which = np.flatnonzero(longer == extra)
        if len(which):
            cells[which] = np.median(flow[edges[which][:, None] + np.arange(size + extra)], axis=1)
    seconds = (times - times[0]) / 1e6
    return _Row(cells, (seconds[edges[:-1]] + seconds[edges[1:] - 1]) / 2, edges)


def _noise_variance(cells: FloatArray) -> float:
    """Return the long-run variance of the noise: that of a mean of many cells, times their number.

    Half the variance of the difference of neighbouring blocks of b cells, times b, is the variance for white noise whatever b; for
    correlated noise it rises with b to the long-run variance.
    """
    largest, block = 0.0, 1
    while len(cells) // block >= max(MIN_BLOCKS, 2) or block == 1:
        count = len(cells) // block
        # From both ends, so that the reversed log has the same noise.
        ways = (cells[: count * block], cells[len(cells) - count * block :])
        differences = [np.abs(np.diff(way.reshape(count, block).mean(axis=1))) for way in ways]
        if count > 1:
            deviation = float(np.median(np.concatenate(differences))) / MEDIAN_OF_NORMAL
            largest = max(largest, deviation**2 / 2 * block)
        block *= 2
    return largest


def _partition(cells: FloatArray, noise: float) -> list[tuple[int, int]]:
    """Return the partition with the least sum of squares about the parts' means plus a penalty for each part."""
    count = len(cells)
    values = cells - np.median(cells)
    sums = np.concatenate([[0.0], np.cumsum(values)])
    squares = np.concatenate([[0.0], np.cumsum(values * values)])
    # Without noise, rounding of equal values must not give a step.
    penalty = max(PENALTY * noise * math.log(max(count, 2)), 1e-12 * float(cells @ cells))
    best, before = np.zeros(count + 1), np.zeros(count + 1, dtype=np.intp)
    lengths = np.arange(count, 0, -1.0)
    for end in range(1, count + 1):
        part = sums[end] - sums[:end]
        cost = best[:end] + (squares[end] - squares[:end]) - part * part / lengths[count - end :]
        before[end] = np.argmin(cost)
        best[end] = cost[before[end]] + penalty
    parts, end = [], count
    while end:
        parts.append((int(before[end]), end))
        end = int(before[end])
    return parts[::-1]


def _joined(row: _Row, parts: list[tuple[int, int]], limits: _Limits) -> list[tuple[int, int]]:
    """Join neighbouring parts that are steady together, the pair with the nearest means first."""
    parts = list(parts)
    while len(parts) > 1:
        means = np.array([row.cells[first:last].mean() for first, last in parts])
        for left in np.argsort(np.abs(np.diff(means)), kind="stable"):
            both = (parts[left][0], parts[left + 1][1])
            if _is_steady(row, both, limits):
                parts[left : left + 2] = [both]
                break
        else:
            break
    return parts


def _is_steady(row: _Row, part: tuple[int, int], limits: _Limits) -> bool:
    cells = row.cells[part[0] : part[1]]
    allowed = limits.within * max(abs(float(cells.mean())), limits.level)
    drift, error = _drift(row, part)
    if abs(drift) > max(allowed, CHANCE_FACTOR * error * math.sqrt(limits.noise)):
        return False
    sections = min(SECTIONS, len(cells))
    edges = np.linspace(0, len(cells), sections + 1).astype(int)
    means = np.add.reduceat(cells, edges[:-1]) / np.diff(edges)
    by_chance = 2 * CHANCE_FACTOR * math.sqrt(limits.noise * sections / len(cells))
    return float(means.max() - means.min()) <= max(allowed, by_chance)


def _drift(row: _Row, part: tuple[int, int]) -> tuple[float, float]:
    """Return the change of the straight trend over a part, and its standard error for noise of variance 1 a cell."""
    cells, middles = row.cells[part[0] : part[1]], row.middles[part[0] : part[1]]
    place = middles - middles.mean()
    spread = float(place @ place)
    if spread == 0:
        return 0.0, 0.0
    width = float(middles[-1] - middles[0])
    return float(place @ (cells - cells.mean())) / spread * width, width / math.sqrt(spread)
