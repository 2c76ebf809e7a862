"""Steady stretches of a log: where the flow kept its level, proposed for a technician to mark.

1. The log is cut at gaps, and each row of readings without a gap is made coarse: medians of so many readings that at most
   a thousand are left. A median shrugs off spikes.
2. The noise of these is told from how neighbours differ, by a median too, so that steps of the flow do not pass for noise; the
   same for pairs, fours, eights ... of them, since noise that is correlated shows only there.
3. The row is parted at changes of level by the exact least-squares partition with a penalty for each part that noise
   of that size hardly ever pays for.
4. Neighbouring parts that are steady together are joined; parts that drift, wander or are short are left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.logs.segments import Segment, Times

FloatArray = NDArray[np.float64]

# A pause of more than so many usual intervals is a gap; common practice.
GAP = 10.0
MAX_CELLS = 1000
READINGS_A_CELL = 5
MIN_CELLS = 4
# Blocks of cells are doubled while so many of them are left to take a median over; a default value.
MIN_BLOCKS = 12
# A step is worth its penalty of so many times the noise variance x log(cells): 2 would let chance through now and then.
PENALTY = 4.0
# Of a whole: a stretch shorter than this is none. Drift and wander within it; default values.
MIN_FRACTION_OF_LOG = 0.02
STEADY_WITHIN = 0.05
SECTIONS = 8
# So many standard errors of a drift, or of a section's mean, are laid to the noise; a default value.
CHANCE_FACTOR = 3.0
# Median of |x| of a normal distribution over its standard deviation.
MEDIAN_OF_NORMAL = 0.6744897501960817


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch in which the flow was steady: first and last reading [us since 1970 UTC], flows in the log's unit.

    drift  change of the straight trend from its start to its end
    """

    start: int
    end: int
    readings: int
    mean: float
    standard_deviation: float
    drift: float

    def segment(self, reason: str = "steady flow") -> Segment:
        """The stretch as one that counts."""
        return Segment(self.start, self.end, reason)


@dataclass(frozen=True, slots=True)
class _Row:
    """Readings without a gap, made coarse: (k,) medians, (k,) times of their middles [s], first readings of cells, (k + 1,)."""

    cells: FloatArray
    middles: FloatArray
    edges: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class _Limits:
    """What counts as steady: relative width, the level a part near 0 is held against, the variance of the noise a cell."""

    within: float
    level: float
    noise: float


def steady_segments(
    times: Times, flow: FloatArray, *, within: float = STEADY_WITHIN, shortest: int | None = None
) -> tuple[Stretch, ...]:
    """Stretches of a log in which the flow was steady, longest first.

    Steady: over the stretch neither the straight trend nor the means of its eighths move by more than `within` of the level, or
    by more than noise of the log's own size explains. The level is the stretch's own mean; near 0 a tenth of the log's.

    Parameters
    ----------
    times : (n,) [us]  since 1970 UTC, in any order
    flow : (n,) [any unit]  finite
    within : float [-]  above 0, below 1
    shortest : int or None [us]  None takes a fiftieth of the log

    Returns
    -------
    stretches : tuple of Stretch  apart from one another; empty if none is steady

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
        stretch
        for first, last in _rows(times)
        for stretch in _steady_of(times[first:last], flow[first:last], within, _level(flow))
        if stretch.end - stretch.start >= least
    ]
    return tuple(sorted(found, key=lambda stretch: (stretch.start - stretch.end, stretch.start)))


def _checked(times: Times, flow: FloatArray, within: float) -> NDArray[np.intp] | None:
    """The order of the times where they are not in order."""
    if not len(times):
        raise NotEnough(field="log", variant="no-readings")
    if len(times) != len(flow) or not np.isfinite(flow).all():
        raise NumberInvalid(field="log", variant="flows-and-times")
    if not 0 < within < 1:
        raise OutOfRange(field="within", value=within, above=0, below=1)
    return np.argsort(times, kind="stable") if np.any(times[1:] < times[:-1]) else None


def _level(flow: FloatArray) -> float:
    """A tenth of the size of the log's flows, by a sample of them: what a stretch without flow is held against."""
    return 0.1 * float(np.median(np.abs(flow[:: max(1, len(flow) // 10_000)])))


def _rows(times: Times) -> list[tuple[int, int]]:
    """Rows of readings without a gap, long enough to say anything."""
    intervals = np.diff(times)
    if not len(intervals):
        return []
    usual = float(np.median(intervals[intervals > 0])) if np.any(intervals > 0) else 1.0
    cuts = np.concatenate([[0], np.flatnonzero(intervals > GAP * usual) + 1, [len(times)]])
    long = np.flatnonzero(np.diff(cuts) >= MIN_CELLS * READINGS_A_CELL)
    return [(int(cuts[i]), int(cuts[i + 1])) for i in long]


def _steady_of(times: Times, flow: FloatArray, within: float, level: float) -> list[Stretch]:
    """Steady stretches of one row of readings without a gap."""
    row = _coarse(times, flow)
    limits = _Limits(within, level, _noise_variance(row.cells))
    parts = _joined(row, _parted(row.cells, limits.noise), limits)
    stretches = []
    for first, last in parts:
        # A cell in which the level changed belongs to neither side.
        inner = (first + (first > 0), last - (last < len(row.cells)))
        if inner[1] - inner[0] < MIN_CELLS or not _is_steady(row, inner, limits):
            continue
        start, stop = int(row.edges[inner[0]]), int(row.edges[inner[1]])
        values = flow[start:stop]
        deviation = float(values.std(ddof=1))
        drift = _drift(row, inner)[0]
        stretches.append(
            Stretch(
                int(times[start]), int(times[stop - 1]), stop - start, float(values.mean()), deviation, drift
            )
        )
    return stretches


def _coarse(times: Times, flow: FloatArray) -> _Row:
    count = max(len(flow) // max(READINGS_A_CELL, -(-len(flow) // MAX_CELLS)), 1)
    size, left = divmod(len(flow), count)
    # What is left over makes the middle cells one longer, so that the log read backwards has all but the same cells.
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
    """Long-run variance of the noise: that of a mean of many cells, times their number.

    Half the variance of the difference of neighbouring blocks of b cells, times b, is the variance for white noise whatever b; for
    correlated noise it rises with b to the long-run variance.
    """
    largest, block = 0.0, 1
    while len(cells) // block >= max(MIN_BLOCKS, 2) or block == 1:
        count = len(cells) // block
        # From both ends, so that the log read backwards has the same noise.
        ways = (cells[: count * block], cells[len(cells) - count * block :])
        differences = [np.abs(np.diff(way.reshape(count, block).mean(axis=1))) for way in ways]
        if count > 1:
            deviation = float(np.median(np.concatenate(differences))) / MEDIAN_OF_NORMAL
            largest = max(largest, deviation**2 / 2 * block)
        block *= 2
    return largest


def _parted(cells: FloatArray, noise: float) -> list[tuple[int, int]]:
    """The partition with the least sum of squares about the parts' means plus a penalty for each part."""
    count = len(cells)
    values = cells - np.median(cells)
    sums = np.concatenate([[0.0], np.cumsum(values)])
    squares = np.concatenate([[0.0], np.cumsum(values * values)])
    # Without noise what rounding makes of equal values must not part them.
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
    """Neighbouring parts that are steady together as one, the pair with the nearest means first."""
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
    """Change of the straight trend over a part, and its standard error for noise of variance 1 a cell."""
    cells, middles = row.cells[part[0] : part[1]], row.middles[part[0] : part[1]]
    place = middles - middles.mean()
    spread = float(place @ place)
    if spread == 0:
        return 0.0, 0.0
    width = float(middles[-1] - middles[0])
    return float(place @ (cells - cells.mean())) / spread * width, width / math.sqrt(spread)
