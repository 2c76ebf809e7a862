"""Series of the readings used of a log: possible values inside the marked segments."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough
from compute.logs.segments import Segment, Times, merged, none_inside, segment_indexes
from compute.measuring.beam import FloatArray, Setup, axial_slowness, trace
from compute.measuring.flow import times_from_logged, volume_flow_from_times

NO_SEGMENT = -2


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
    transit_sum: float = 0.0
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
) -> Series:
    """Return every reading of a log as a flow, block by block; impossible readings and those outside segments are excluded.

    Parameters
    ----------
    setup : Setup
    programmed : Setup  what the meter was told, for logs without times of flight
    log : iterable of Readings
    segments : sequence of Segment  marked segments; none: the whole log
    keep_times : bool  whether the series has the times of its readings
    zero : float [s]  what the meter shows at no flow, taken off every time difference

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
    shortest = _shortest_time(setup)
    so_far = _Gathered(zero)
    for block in log:
        _gather(so_far, setup, programmed, _in_segments(so_far, block, marked), shortest)
    if marked and so_far.outside and not so_far.taken:
        error = none_inside(marked, so_far.first_time or 0, so_far.last_time or 0)
        raise error
    if not so_far.used:
        raise NotEnough(field="log", variant="no-possible-reading")
    return Series(
        transit_time=so_far.transit_sum / so_far.used,
        time_difference=np.concatenate(so_far.differences),
        volume_flow=np.concatenate(so_far.flows),
        times=np.concatenate(so_far.times) if keep_times and so_far.times else None,
        breaks=tuple(so_far.breaks),
        signal=_median_signal(so_far.signals),
        taken=so_far.taken,
        impossible=so_far.impossible,
        outside=so_far.outside,
        speed_told=so_far.speed_told,
    )


def _median_signal(signals: Sequence[FloatArray]) -> float | None:
    """Return the median of the signals in a log; cells without a value (nan) are ignored."""
    told = np.concatenate(signals) if signals else np.empty(0)
    told = told[~np.isnan(told)]
    return float(np.median(told)) if len(told) else None


@dataclass(frozen=True, slots=True)
class _SegmentReadings:
    """A block of readings that are used, and the segment each lies in (None: no segment is marked)."""

    block: Readings
    segment: NDArray[np.intp] | None


def _in_segments(so_far: _Gathered, block: Readings, marked: Sequence[Segment]) -> _SegmentReadings:
    """Return the readings of a block that lie in the marked segments."""
    if not marked:
        return _SegmentReadings(block, None)
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
        return _SegmentReadings(block, segment)
    so_far.outside += int(np.count_nonzero(~inside))
    return _SegmentReadings(_selected(block, inside), segment[inside])


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
    block, segment = counting.block, counting.segment
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
    if not len(transit):
        return
    if segment is not None:
        _note_breaks(so_far, segment)
    so_far.flows.append(volume_flow_from_times(setup, transit, difference))
    so_far.differences.append(difference)
    so_far.transit_sum += float(transit.sum())
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


def _shortest_time(setup: Setup) -> float:
    """Return the transit time below which no sound speed of the medium is possible."""
    path = trace(setup)
    return float(path.time_in_solids + 2 * path.axial_slowness * setup.traverses * setup.pipe.bore)
