"""From the blocks of a log to one series of readings used: which are possible, which lie in the stretches that count."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough
from compute.logs.segments import Segment, Times, merged, none_inside, stretch_of
from compute.measuring.beam import FloatArray, Setup, axial_slowness, trace
from compute.measuring.flow import times_from_logged, volume_flow_from_times

NO_SEGMENT = -2


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of a log in SI, (n,) arrays; None for a column the log does not have.

    times [us since 1970 UTC] are needed where stretches are marked or flows of several logs are brought together.
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
    """The readings used, one after another, and how many were not.

    transit_time [s] is the mean. `breaks` are the places in the arrays at which another stretch begins. `taken` readings lie
    in the stretches that count, of which `impossible` cannot be with this set-up; `outside` lie in none.
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
        """Readings the result rests on."""
        return len(self.volume_flow)


@dataclass(slots=True)
class _Gathered:
    """What is known so far of a log read block by block; `zero` [s] comes off every time difference."""

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
    last_stretch: int = NO_SEGMENT
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
    """Every reading of a log as a flow, block by block; readings that cannot be or do not count are left out.

    Parameters
    ----------
    setup : Setup
    programmed : Setup  what the meter was told, for logs without times of flight
    log : iterable of Readings
    segments : sequence of Segment  stretches that count; none: the whole log
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
    stretches = merged(segments)
    shortest = _shortest_time(setup)
    so_far = _Gathered(zero)
    for block in log:
        _gather(so_far, setup, programmed, _counting(so_far, block, stretches), shortest)
    if stretches and so_far.outside and not so_far.taken:
        error = none_inside(stretches, so_far.first_time or 0, so_far.last_time or 0)
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
    """The median of the signals in a log; cells without a value (nan) are left out."""
    told = np.concatenate(signals) if signals else np.empty(0)
    told = told[~np.isnan(told)]
    return float(np.median(told)) if len(told) else None


@dataclass(frozen=True, slots=True)
class _Counting:
    """A block of readings that are used, and the segment each lies in (None: no segment is marked)."""

    block: Readings
    stretch: NDArray[np.intp] | None


def _counting(so_far: _Gathered, block: Readings, stretches: Sequence[Segment]) -> _Counting:
    """The readings of a block that lie in the marked segments."""
    if not stretches:
        return _Counting(block, None)
    times = block.times
    if times is None:
        raise NotEnough(field="segments", variant="readings-without-times")
    if len(times):
        low, high = int(times.min()), int(times.max())
        so_far.first_time = low if so_far.first_time is None else min(so_far.first_time, low)
        so_far.last_time = high if so_far.last_time is None else max(so_far.last_time, high)
    stretch = stretch_of(times, stretches)
    inside = stretch >= 0
    if inside.all():
        return _Counting(block, stretch)
    so_far.outside += int(np.count_nonzero(~inside))
    return _Counting(_only(block, inside), stretch[inside])


def _only(block: Readings, which: NDArray[np.bool_]) -> Readings:
    """Some readings of a block."""

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


def _gather(so_far: _Gathered, setup: Setup, programmed: Setup, counting: _Counting, shortest: float) -> None:
    block, stretch = counting.block, counting.stretch
    transit, difference = _times_of_flight(block, programmed)
    if so_far.zero:
        difference = difference - so_far.zero
    so_far.speed_told = so_far.speed_told or (block.transit_time is None and block.sound_speed is None)
    so_far.taken += len(difference)
    possible = transit > shortest
    if not possible.all():
        so_far.impossible += int(np.count_nonzero(~possible))
        transit, difference, block = transit[possible], difference[possible], _only(block, possible)
        stretch = None if stretch is None else stretch[possible]
    if not len(transit):
        return
    if stretch is not None:
        _note_breaks(so_far, stretch)
    so_far.flows.append(volume_flow_from_times(setup, transit, difference))
    so_far.differences.append(difference)
    so_far.transit_sum += float(transit.sum())
    so_far.used += len(transit)
    if block.signal_to_noise is not None:
        so_far.signals.append(block.signal_to_noise)
    if block.times is not None:
        so_far.times.append(block.times)


def _note_breaks(so_far: _Gathered, stretch: NDArray[np.intp]) -> None:
    """Where, counted over the readings used so far, one stretch follows another."""
    if so_far.last_stretch not in (NO_SEGMENT, int(stretch[0])):
        so_far.breaks.append(so_far.used)
    so_far.breaks.extend(int(at) + 1 + so_far.used for at in np.flatnonzero(np.diff(stretch)))
    so_far.last_stretch = int(stretch[-1])


def _times_of_flight(block: Readings, programmed: Setup) -> tuple[FloatArray, FloatArray]:
    """Transit times and time differences of a block; a transit time of 0 marks a reading that cannot be."""
    if block.transit_time is not None and block.time_difference is not None:
        return block.transit_time, block.time_difference
    speed = block.sound_speed
    impossible: NDArray[np.bool_] = np.zeros(1, dtype=np.bool_)
    if speed is not None:
        # One lost signal must not spoil a log: a speed no beam can have is set aside with its reading.
        impossible = ~((speed > 0) & (speed * axial_slowness(programmed.transducers) < 1))
        speed = np.where(impossible, programmed.medium.sound_speed, speed)
    transit, difference = times_from_logged(
        programmed, flow_velocity=block.flow_velocity, volume_flow=block.volume_flow, sound_speed=speed
    )
    together = np.broadcast_arrays(np.where(impossible, 0.0, transit), np.asarray(difference))
    return together[0], together[1]


def _shortest_time(setup: Setup) -> float:
    """The transit time below which no sound speed of the medium is possible."""
    path = trace(setup)
    return float(path.time_in_solids + 2 * path.axial_slowness * setup.traverses * setup.pipe.bore)
