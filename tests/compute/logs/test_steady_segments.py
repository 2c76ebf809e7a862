"""Steady segments, found exactly where the flow keeps its level."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.logs.steady_segments import SteadySegment, steady_segments

SECOND = 1_000_000
START = int(datetime(2026, 10, 6, 9, 30, tzinfo=UTC).timestamp()) * SECOND


def times(count: int) -> np.ndarray:
    return START + SECOND * np.arange(count)


def noise(count: int, seed: int = 1, rho: float = 0.0) -> np.ndarray:
    shocks = np.random.default_rng(seed).normal(size=count + 500)
    return lfilter([(1 - rho**2) ** 0.5], [1, -rho], shocks)[500:]


def seconds(stretch: SteadySegment) -> tuple[int, int]:
    return (stretch.start - START) // SECOND, (stretch.end - START) // SECOND


def levels(*of: tuple[float, int], seed: int = 1, spread: float = 0.1) -> np.ndarray:
    flow = np.concatenate([np.full(count, level) for level, count in of])
    return flow + spread * noise(len(flow), seed)


def test_a_log_with_two_levels_has_two_segments_the_longer_first() -> None:
    found = steady_segments(times(3000), levels((10, 1000), (14, 2000)))
    assert [round(stretch.mean) for stretch in found] == [14, 10]
    assert seconds(found[0])[0] == pytest.approx(1000, abs=10)
    assert seconds(found[1])[1] == pytest.approx(1000, abs=10)


def test_no_reading_of_one_level_is_in_a_segment_of_another() -> None:
    flow = levels((10, 1003), (14, 1994))
    for stretch in steady_segments(times(2997), flow):
        first, last = seconds(stretch)
        assert last < 1003 or first >= 1003
        assert stretch.readings == last - first + 1
        assert stretch.mean == pytest.approx(flow[first : last + 1].mean())
        assert stretch.standard_deviation == pytest.approx(flow[first : last + 1].std(ddof=1))


def test_a_pulse_in_the_middle_separates_two_segments_of_one_level() -> None:
    found = steady_segments(times(3000), levels((10, 1400), (30, 200), (10, 1400)))
    assert sorted(round(s.mean) for s in found) == [10, 10, 30]


def test_a_steady_log_is_one_segment_from_end_to_end() -> None:
    [found] = steady_segments(times(2000), levels((10, 2000)))
    assert seconds(found) == (0, 1999)


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9, 0.97])
def test_correlated_noise_does_not_shatter_a_steady_log(rho: float) -> None:
    whole = [steady_segments(times(3000), 10 + noise(3000, seed, rho)) for seed in range(40)]
    assert sum(len(found) == 1 and found[0].readings == 3000 for found in whole) >= 36


def test_steps_are_found_in_correlated_noise() -> None:
    flow = np.repeat([10.0, 20.0], 1500) + noise(3000, 3, 0.9)
    assert sorted(round(s.mean) for s in steady_segments(times(3000), flow)) == [10, 20]


def test_a_ramp_has_no_long_steady_segment() -> None:
    flow = np.linspace(10, 30, 3000) + 0.1 * noise(3000)
    assert all(stretch.readings < 450 for stretch in steady_segments(times(3000), flow))


def test_a_slow_drift_within_the_width_is_steady_and_reported() -> None:
    [found] = steady_segments(times(3000), np.linspace(10, 10.3, 3000) + 0.05 * noise(3000))
    assert found.drift == pytest.approx(0.3, abs=0.03)


def test_the_same_drift_is_not_steady_within_less() -> None:
    found = steady_segments(times(3000), np.linspace(10, 10.3, 3000) + 0.05 * noise(3000), within=0.005)
    assert all(stretch.readings < 1500 for stretch in found)


def test_small_steps_of_a_quiet_log_are_steady_together() -> None:
    [found] = steady_segments(times(2000), levels((10, 1000), (10.02, 1000), spread=1e-4))
    assert found.readings == 2000


@pytest.mark.parametrize("level", [0.0, 5.0, -5.0])
def test_a_constant_is_steady(level: float) -> None:
    [found] = steady_segments(times(500), np.full(500, level))
    assert (found.readings, found.mean, found.drift) == (500, level, 0.0)


def test_reverse_flow_is_found_as_flow_is() -> None:
    found = steady_segments(times(3000), levels((10, 1000), (-10, 2000)))
    assert [round(stretch.mean) for stretch in found] == [-10, 10]


def test_spikes_do_not_split_a_segment() -> None:
    flow = levels((10, 3000))
    flow[::97] = 500.0
    [found] = steady_segments(times(3000), flow)
    assert found.readings == 3000


def test_a_segment_does_not_extend_over_a_gap() -> None:
    when = times(2000)
    when[1000:] += 3600 * SECOND
    found = steady_segments(when, levels((10, 2000)))
    assert [stretch.readings for stretch in found] == [1000, 1000]


def test_readings_out_of_order_are_put_in_order() -> None:
    flow, order = levels((10, 1000), (14, 2000)), np.random.default_rng(0).permutation(3000)
    assert steady_segments(times(3000)[order], flow[order]) == steady_segments(times(3000), flow)


def test_segments_shorter_than_the_minimum_are_left_out() -> None:
    flow = levels((10, 1000), (14, 2000))
    [found] = steady_segments(times(3000), flow, shortest=1500 * SECOND)
    assert round(found.mean) == 14


def test_a_million_readings_show_the_same_steps() -> None:
    found = steady_segments(times(1_000_000), levels((10, 300_000), (14, 700_000)))
    assert [round(stretch.mean) for stretch in found] == [14, 10]
    assert seconds(found[1])[1] == pytest.approx(300_000, abs=2000)


def test_a_steady_segment_can_be_used_as_a_segment() -> None:
    [found] = steady_segments(times(100), levels((10, 100)))
    segment = found.segment()
    assert (segment.start, segment.end, segment.reason) == (found.start, found.end, "steady flow")


def test_few_readings_give_no_proposal() -> None:
    assert steady_segments(times(10), np.ones(10)) == ()
    assert steady_segments(times(1), np.ones(1)) == ()
    assert steady_segments(np.full(50, START), np.ones(50)) != ()


def test_an_invalid_series_is_rejected() -> None:
    with pytest.raises(NotEnough):
        steady_segments(times(0), np.ones(0))
    with pytest.raises(NumberInvalid):
        steady_segments(times(3), np.array([1.0, np.nan, 1.0]))
    with pytest.raises(NumberInvalid):
        steady_segments(times(3), np.ones(2))
    with pytest.raises(OutOfRange):
        steady_segments(times(3), np.ones(3), within=0.0)


# Whole cells of five readings: else the log read backwards has other cells, and its ends may lie a reading elsewhere.
steps = st.lists(
    st.tuples(st.floats(1, 50), st.integers(30, 120).map(lambda n: 5 * n)), min_size=1, max_size=4
)


@given(of=steps, seed=st.integers(0, 20), power=st.integers(-40, 40), sign=st.sampled_from([1, -1]))
def test_the_unit_and_the_direction_do_not_matter(
    of: list[tuple[float, int]], seed: int, power: int, sign: int
) -> None:
    # Powers of two, so that the numbers scale to the bit.
    flow, factor = levels(*of, seed=seed), sign * 2.0**power
    plain, scaled = (
        steady_segments(times(len(flow)), flow),
        steady_segments(times(len(flow)), factor * flow),
    )
    assert [(s.start, s.end) for s in scaled] == [(s.start, s.end) for s in plain]
    assert [s.mean for s in scaled] == pytest.approx([factor * s.mean for s in plain], rel=1e-12)


@given(of=steps, seed=st.integers(0, 20), later=st.integers(-(10**6), 10**6))
def test_the_hour_of_the_day_does_not_matter(of: list[tuple[float, int]], seed: int, later: int) -> None:
    flow = levels(*of, seed=seed)
    moved = steady_segments(times(len(flow)) + later * SECOND, flow)
    plain = steady_segments(times(len(flow)), flow)
    assert [(s.start - later * SECOND, s.readings) for s in moved] == [(s.start, s.readings) for s in plain]


@given(of=steps, seed=st.integers(0, 20))
def test_a_log_read_backwards_has_the_same_segments(of: list[tuple[float, int]], seed: int) -> None:
    flow = levels(*of, seed=seed)
    last = times(len(flow))[-1] + START
    forwards = {(s.start, s.end) for s in steady_segments(times(len(flow)), flow)}
    backwards = {(last - s.end, last - s.start) for s in steady_segments(times(len(flow)), flow[::-1])}
    assert backwards == forwards


@given(of=steps, seed=st.integers(0, 20))
def test_segments_are_separate_and_the_longest_is_first(of: list[tuple[float, int]], seed: int) -> None:
    flow = levels(*of, seed=seed)
    found = steady_segments(times(len(flow)), flow)
    lengths = [s.end - s.start for s in found]
    assert lengths == sorted(lengths, reverse=True)
    in_time = sorted(found, key=lambda s: s.start)
    assert all(a.end < b.start for a, b in pairwise(in_time))
