"""Series of the readings used of a log: possible values inside the marked segments."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough
from compute.logs.screening import outliers
from compute.logs.segments import Segment, Times, merged, none_inside, segment_indexes
from compute.measuring.beam import FloatArray, Setup, axial_slowness
from compute.measuring.flow import shortest_transit_time, times_from_logged, volume_flow_from_times

NO_SEGMENT = -2
# Least scales of the screening for outliers: of a time difference 0.1 ns and a part of its level, of a transit time a part; default values.
MIN_SCALE_DIFFERENCE, MIN_SCALE_RELATIVE, MIN_SCALE_TRANSIT = 0.1e-9, 0.005, 2e-4
# The resolution of a log widens the scale of the time difference, up to this part of its level; a default value.
MAX_SCALE_RESOLUTION = 0.02
SAMPLE = 8192


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of a log in SI, (n,) arrays; None for a column the log does not have.

    times [us since 1970 UTC] are required where segments are marked or flows of several logs are combined.
    """

    transit_time: FloatArray | None = None
    time_difference: FloatArray | None = None
    flow_velocity: FloatArray | None = None
    volume_flow: FloatArray | None = None
    sound_speed: FloatArray | None = None
    signal_to_noise: FloatArray | None = None
    times: Times | None = None


@dataclass(frozen=True, slots=True)
class Outliers:
    """Readings far from their neighbours: rows of the log (0 is its first reading), times [us] or None, and flows [m3/s].

    included : whether they are used nevertheless
    mean_with, mean_without : mean flow of the log with and without them [m3/s]
    """

    rows: NDArray[np.intp]
    times: Times | None
    volume_flow: FloatArray
    included: bool
    mean_with: float
    mean_without: float

    def times_factor(self, factor: float) -> Outliers:
        """The same outliers of a log whose flows are corrected by a factor."""
        return replace(
            self,
            volume_flow=self.volume_flow * factor,
            mean_with=self.mean_with * factor,
            mean_without=self.mean_without * factor,
        )

    @property
    def runs(self) -> list[list[int]]:
        """First and last row of each run of outliers."""
        if not len(self.rows):
            return []
        ends = np.flatnonzero(np.diff(self.rows) > 1)
        firsts = self.rows[np.concatenate([[0], ends + 1])]
        lasts = self.rows[np.concatenate([ends, [len(self.rows) - 1]])]
        return [[int(first), int(last)] for first, last in zip(firsts, lasts, strict=True)]


@dataclass(frozen=True, slots=True)
class Series:
    """The readings used, in sequence, and counts of those excluded.

    transit_time [s] is the mean. `breaks` are the indexes in the arrays at which another segment begins. `taken` readings lie
    in the marked segments, `impossible` of them have values not possible with this set-up; `outside` lie in no segment.
    """

    transit_time: float
    time_difference: FloatArray
    volume_flow: FloatArray
    times: Times | None
    breaks: tuple[int, ...]
    signal: float | None
    taken: int
    impossible: int
    outside: int
    speed_told: bool
    outliers: Outliers

    @property
    def used(self) -> int:
        """Number of readings that the result is based on."""
        return len(self.volume_flow)


@dataclass(slots=True)
class _Gathered:
    """Collected values of a log read block by block; `zero` [s] is subtracted from every time difference."""

    zero: float
    differences: list[FloatArray] = field(default_factory=list)
    flows: list[FloatArray] = field(default_factory=list)
    signals: list[FloatArray] = field(default_factory=list)
    times: list[Times] = field(default_factory=list)
    breaks: list[int] = field(default_factory=list)
    transits: list[FloatArray] = field(default_factory=list)
    # Of each block the row of its first reading in the log, and the readings used of it (None: all).
    rows: list[tuple[int, NDArray[np.intp] | None]] = field(default_factory=list)
    read: int = 0
    used: int = 0
    taken: int = 0
    impossible: int = 0
    outside: int = 0
    speed_told: bool = False
    last_segment: int = NO_SEGMENT
    first_time: int | None = None
    last_time: int | None = None


def series_of(
    setup: Setup,
    programmed: Setup,
    log: Iterable[Readings],
    segments: Sequence[Segment] = (),
    *,
    keep_times: bool = False,
    zero: float = 0.0,
    include_outliers: bool = False,
) -> Series:
    """Return every reading of a log as a flow, block by block.

    Impossible readings, those outside segments and outliers (`compute.logs.screening`) are excluded.

    Parameters
    ----------
    setup : Setup
    programmed : Setup  what the meter was told, for logs without times of flight
    log : iterable of Readings
    segments : sequence of Segment  marked segments; none: the whole log
    keep_times : bool  whether the series has the times of its readings
    zero : float [s]  what the meter shows at no flow, taken off every time difference
    include_outliers : bool  whether outliers are used too

    Returns
    -------
    series : Series

    Raises
    ------
    NotEnough  segments are marked and the log has no times, or no reading lies in them; no reading is possible with this
        set-up

    Source
    ------
    transit time : see `compute.measuring.flow`.
    """
    marked = merged(segments)
    shortest = float(shortest_transit_time(setup))
    so_far = _Gathered(zero)
    for block in log:
        _gather(so_far, setup, programmed, _in_segments(so_far, block, marked), shortest)
    if marked and so_far.outside and not so_far.taken:
        error = none_inside(marked, so_far.first_time or 0, so_far.last_time or 0)
        raise error
    if not so_far.used:
        raise NotEnough(field="log", variant="no-possible-reading")
    return _screened(so_far, keep_times and bool(so_far.times), include_outliers)


def _screened(so_far: _Gathered, keep_times: bool, include: bool) -> Series:
    """Return the gathered readings without their outliers, or with them."""
    difference, flow = np.concatenate(so_far.differences), np.concatenate(so_far.flows)
    transit = np.concatenate(so_far.transits)
    times = np.concatenate(so_far.times) if keep_times else None
    breaks = so_far.breaks
    far = _outliers(transit, difference, breaks)
    found = np.flatnonzero(far)
    mean = float(flow.mean())
    left_out = Outliers(
        rows=_rows(so_far, found),
        times=None if times is None else times[found],
        volume_flow=flow[found],
        included=include,
        mean_with=mean,
        mean_without=float(flow[~far].mean()) if len(found) else mean,
    )
    if len(found) and not include:
        breaks = [at - int(np.searchsorted(found, at)) for at in breaks]
        difference, flow, transit = difference[~far], flow[~far], transit[~far]
        times = None if times is None else times[~far]
    return Series(
        transit_time=float(transit.sum()) / len(transit),
        time_difference=difference,
        volume_flow=flow,
        times=times,
        breaks=tuple(breaks),
        signal=_median_signal(so_far.signals),
        taken=so_far.taken,
        impossible=so_far.impossible,
        outside=so_far.outside,
        speed_told=so_far.speed_told,
        outliers=left_out,
    )


def _outliers(transit: FloatArray, difference: FloatArray, breaks: Sequence[int]) -> NDArray[np.bool_]:
    """Return which readings are outliers in their segment, by time difference or transit time."""
    step = max(1, len(difference) // SAMPLE)
    level = abs(float(np.median(difference[::step])))
    steps = np.abs(np.diff(difference[:SAMPLE]))
    resolution = float(steps[steps > 0].min()) / 2 if steps.any() else 0.0
    floor = max(
        MIN_SCALE_DIFFERENCE, MIN_SCALE_RELATIVE * level, min(resolution, MAX_SCALE_RESOLUTION * level)
    )
    floor_transit = MIN_SCALE_TRANSIT * float(np.median(transit[::step]))
    edges = [0, *breaks, len(difference)]
    return np.concatenate(
        [outliers(difference[a:b], floor) | outliers(transit[a:b], floor_transit) for a, b in pairwise(edges)]
    )


def _rows(so_far: _Gathered, found: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the rows of the log of readings, by their indexes among those gathered."""
    starts = np.cumsum([0, *(len(one) for one in so_far.differences)])
    parts = [np.empty(0, dtype=np.intp)]
    for (first, used), start, some in zip(
        so_far.rows, starts, np.split(found, np.searchsorted(found, starts[1:-1])), strict=False
    ):
        parts.append(first + (some - start if used is None else used[some - start]))
    return np.concatenate(parts)


def _median_signal(signals: Sequence[FloatArray]) -> float | None:
    """Return the median of the signals in a log; cells without a value (nan) are ignored."""
    told = np.concatenate(signals) if signals else np.empty(0)
    told = told[~np.isnan(told)]
    return float(np.median(told)) if len(told) else None


@dataclass(frozen=True, slots=True)
class _SegmentReadings:
    """A block of readings that are used, and the segment each lies in (None: no segment is marked).

    first : row of the block's first reading in the log; `rows` are those used of the block (None: all)
    """

    block: Readings
    segment: NDArray[np.intp] | None
    first: int
    rows: NDArray[np.intp] | None = None


def _in_segments(so_far: _Gathered, block: Readings, marked: Sequence[Segment]) -> _SegmentReadings:
    """Return the readings of a block that lie in the marked segments."""
    first = so_far.read
    so_far.read += max((len(column) for column in _columns(block) if column is not None), default=0)
    if not marked:
        return _SegmentReadings(block, None, first)
    times = block.times
    if times is None:
        raise NotEnough(field="segments", variant="readings-without-times")
    if len(times):
        low, high = int(times.min()), int(times.max())
        so_far.first_time = low if so_far.first_time is None else min(so_far.first_time, low)
        so_far.last_time = high if so_far.last_time is None else max(so_far.last_time, high)
    segment = segment_indexes(times, marked)
    inside = segment >= 0
    if inside.all():
        return _SegmentReadings(block, segment, first)
    so_far.outside += int(np.count_nonzero(~inside))
    return _SegmentReadings(_selected(block, inside), segment[inside], first, np.flatnonzero(inside))


def _columns(block: Readings) -> tuple[FloatArray | None, ...]:
    return block.transit_time, block.flow_velocity, block.volume_flow


def _selected(block: Readings, which: NDArray[np.bool_]) -> Readings:
    """Return selected readings of a block."""

    def some(column: FloatArray | None) -> FloatArray | None:
        return None if column is None else column[which]

    return Readings(
        some(block.transit_time),
        some(block.time_difference),
        some(block.flow_velocity),
        some(block.volume_flow),
        some(block.sound_speed),
        some(block.signal_to_noise),
        None if block.times is None else block.times[which],
    )


def _gather(
    so_far: _Gathered, setup: Setup, programmed: Setup, counting: _SegmentReadings, shortest: float
) -> None:
    block, segment, rows = counting.block, counting.segment, counting.rows
    transit, difference = _times_of_flight(block, programmed)
    if so_far.zero:
        difference = difference - so_far.zero
    so_far.speed_told = so_far.speed_told or (block.transit_time is None and block.sound_speed is None)
    so_far.taken += len(difference)
    possible = transit > shortest
    if not possible.all():
        so_far.impossible += int(np.count_nonzero(~possible))
        transit, difference, block = transit[possible], difference[possible], _selected(block, possible)
        segment = None if segment is None else segment[possible]
        rows = np.flatnonzero(possible) if rows is None else rows[possible]
    if not len(transit):
        return
    if segment is not None:
        _note_breaks(so_far, segment)
    so_far.flows.append(volume_flow_from_times(setup, transit, difference))
    so_far.differences.append(difference)
    so_far.transits.append(transit)
    so_far.rows.append((counting.first, rows))
    so_far.used += len(transit)
    if block.signal_to_noise is not None:
        so_far.signals.append(block.signal_to_noise)
    if block.times is not None:
        so_far.times.append(block.times)


def _note_breaks(so_far: _Gathered, segment: NDArray[np.intp]) -> None:
    """Record the indexes, over all readings used so far, at which another segment begins."""
    if so_far.last_segment not in (NO_SEGMENT, int(segment[0])):
        so_far.breaks.append(so_far.used)
    so_far.breaks.extend(int(at) + 1 + so_far.used for at in np.flatnonzero(np.diff(segment)))
    so_far.last_segment = int(segment[-1])


def _times_of_flight(block: Readings, programmed: Setup) -> tuple[FloatArray, FloatArray]:
    """Return transit times and time differences of a block; a transit time of 0 marks an impossible reading."""
    if block.transit_time is not None and block.time_difference is not None:
        return block.transit_time, block.time_difference
    speed = block.sound_speed
    impossible: NDArray[np.bool_] = np.zeros(1, dtype=np.bool_)
    if speed is not None:
        # One lost signal must not invalidate a log: a reading with an impossible sound speed is excluded.
        impossible = ~((speed > 0) & (speed * axial_slowness(programmed.transducers) < 1))
        speed = np.where(impossible, programmed.medium.sound_speed, speed)
    transit, difference = times_from_logged(
        programmed, flow_velocity=block.flow_velocity, volume_flow=block.volume_flow, sound_speed=speed
    )
    together = np.broadcast_arrays(np.where(impossible, 0.0, transit), np.asarray(difference))
    return together[0], together[1]
