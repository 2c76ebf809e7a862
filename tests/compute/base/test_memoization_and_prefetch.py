"""Fast methods of a reduction with unchanged results: polynomial, windowed lags, memoization, prefetch."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.signal import lfilter

from compute.base.errors import NumberInvalid, OutOfRange
from compute.base.memoization import memoized
from compute.base.prefetch import alternating_threads, prefetch
from compute.measuring.beam import trace
from compute.measuring.flow import flow_from_times, volume_flow_from_times
from compute.measuring.profile import mean_from_path_velocity, means_from_path_velocities
from compute.statistics.autocorrelation import (
    autocorrelation,
    autocorrelation_time,
    repeatability,
    standard_deviation,
)
from tests.compute.cases import steel_setup

PER_VELOCITY, ROUGH = 4e5, 2e-4


def velocities(spread: float, count: int = 20_000) -> np.ndarray:
    return 1.2 * (1 + spread * np.random.default_rng(1).normal(size=count))


@pytest.mark.parametrize("spread", [0.0, 0.001, 0.03, 0.15, 0.6])
@pytest.mark.parametrize("sign", [1, -1])
def test_the_polynomial_agrees_with_solving_for_each_reading(spread: float, sign: int) -> None:
    velocity = sign * velocities(spread)
    each = mean_from_path_velocity(velocity, PER_VELOCITY, ROUGH)[0]
    assert means_from_path_velocities(velocity, PER_VELOCITY, ROUGH) == pytest.approx(each, rel=2e-15, abs=0)


def test_strays_laminar_readings_and_standstill_are_solved_for_themselves() -> None:
    velocity = velocities(0.01)
    velocity[::100], velocity[1::100], velocity[2::100], velocity[3::100] = 30.0, 0.001, 0.0, -1.2
    each = mean_from_path_velocity(velocity, PER_VELOCITY, ROUGH)[0]
    assert means_from_path_velocities(velocity, PER_VELOCITY, ROUGH) == pytest.approx(each, rel=2e-15, abs=0)


def test_a_reading_of_a_long_log_solves_colebrook() -> None:
    # Independent: a bracketing root finder on 1/sqrt(f) = -2 log10(e/3.7 + 2.51/(Re sqrt(f))), Re of k x 1.2 m/s.
    def off(k: float) -> float:
        reynolds = k * 1.2 * PER_VELOCITY
        x = brentq(lambda x: x + 2 * np.log10(ROUGH / 3.7 + 2.51 * x / reynolds), 2, 20, xtol=1e-14)
        return k - 1 / (1 + (1.74 - 0.022 * x) / (x * 8**0.5))

    k = brentq(off, 0.8, 1.0, xtol=1e-14)
    assert means_from_path_velocities(velocities(0.0), PER_VELOCITY, ROUGH)[7] == pytest.approx(
        1.2 * k, rel=1e-12
    )


def test_the_flows_of_a_log_are_those_of_its_readings() -> None:
    setup = steel_setup()
    rng = np.random.default_rng(3)
    transit = float(trace(setup).transit_time) + rng.normal(0, 1e-8, 10_000)
    difference = 170e-9 + rng.normal(0, 5e-9, 10_000)
    given_before = transit.copy(), difference.copy()
    each = flow_from_times(setup, transit, difference).volume_flow
    assert volume_flow_from_times(setup, transit, difference) == pytest.approx(each, rel=2e-15, abs=0)
    assert np.array_equal(transit, given_before[0])
    assert np.array_equal(difference, given_before[1])


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -np.inf])
def test_a_time_that_is_not_finite_is_rejected(wrong: float) -> None:
    setup, good = steel_setup(), np.full(10, 311e-6)
    bad = good.copy()
    bad[4] = wrong
    with pytest.raises(NumberInvalid, match="transit_time"):
        volume_flow_from_times(setup, bad, good)
    with pytest.raises(NumberInvalid, match="time_difference"):
        volume_flow_from_times(setup, good, bad)


def test_a_time_too_short_is_rejected() -> None:
    with pytest.raises(OutOfRange, match="transit-time-short"):
        volume_flow_from_times(steel_setup(), np.array([311e-6, 20e-6]), np.zeros(2))


def time_by_definition(values: np.ndarray) -> float:
    """1 + 2 sum of the autocorrelation to the first lag that is 5 times the sum so far, every lag at once."""
    sums = 2 * np.cumsum(autocorrelation(values)) - 1
    window = int(np.flatnonzero(np.arange(len(sums)) >= 5 * sums)[0])
    return float(np.clip(sums[window], 1, len(values)))


@pytest.mark.parametrize("count", [50, 8192, 8193, 30_011])
@pytest.mark.parametrize("rho", [-0.5, 0.0, 0.8, 0.98, 0.995])
def test_as_many_lags_as_the_window_needs_are_enough(count: int, rho: float) -> None:
    values = 7 + lfilter([1], [1, -rho], np.random.default_rng(2).normal(size=count))
    assert autocorrelation_time(values) == pytest.approx(time_by_definition(values), rel=1e-11)


@given(seed=st.integers(0, 50), power=st.integers(-300, 300))
def test_readings_however_small_or_large_keep_their_scatter(seed: int, power: int) -> None:
    values = np.random.default_rng(seed).normal(size=300)
    scaled = repeatability(values * 2.0**power)
    assert scaled.noise_uncertainty == pytest.approx(
        repeatability(values).noise_uncertainty * 2.0**power, rel=1e-12
    )


@given(seed=st.integers(0, 50), level=st.floats(-1e3, 1e3))
def test_the_spread_gone_through_in_pieces_is_the_spread(seed: int, level: float) -> None:
    values = level + np.random.default_rng(seed).normal(size=9000)
    assert standard_deviation(values, float(values.mean())) == pytest.approx(values.std(ddof=1), rel=1e-12)


def test_prefetched_items_come_in_order_from_another_thread() -> None:
    def make(number: int) -> tuple[int, int]:
        return number * number, threading.get_ident()

    created = list(prefetch(make, range(20)))
    assert [square for square, _ in created] == [number * number for number in range(20)]
    assert threading.get_ident() not in {thread for _, thread in created}


def test_items_are_taken_on_the_callers_thread() -> None:
    seen: set[int] = set()

    def items() -> Iterator[int]:
        for number in range(5):
            seen.add(threading.get_ident())
            yield number

    assert list(prefetch(str, items())) == ["0", "1", "2", "3", "4"]
    assert seen == {threading.get_ident()}


def test_no_more_items_are_prefetched_than_the_limit() -> None:
    taken: list[int] = []

    def items() -> Iterator[int]:
        for number in range(100):
            taken.append(number)
            yield number

    created = prefetch(str, items(), depth=2)
    next(created)
    assert len(taken) <= 3
    created.close()  # type: ignore[attr-defined]
    assert len(taken) <= 3


def test_an_error_comes_where_its_item_would_have_come() -> None:
    created = prefetch(lambda number: 1 / (number - 2), range(5))
    assert [next(created), next(created)] == [-0.5, -1.0]
    with pytest.raises(ZeroDivisionError):
        next(created)


def test_an_empty_sequence_and_a_single_item_need_no_thread() -> None:
    assert list(prefetch(str, [])) == []
    assert list(prefetch(lambda _: threading.get_ident(), [1])) == [threading.get_ident()]


def test_items_made_in_turns_come_in_order_from_two_threads() -> None:
    created = list(alternating_threads(lambda number: (number, threading.get_ident()), range(9)))
    assert [number for number, _ in created] == list(range(9))
    assert len({thread for number, thread in created if number % 2}) == 1
    assert {thread for number, thread in created if not number % 2} == {threading.get_ident()}
    assert list(alternating_threads(str, [])) == []
    with pytest.raises(ZeroDivisionError):
        list(alternating_threads(lambda number: 1 / (number - 3), range(9)))


def test_an_answer_is_remembered_and_an_error_is_not() -> None:
    requested: list[object] = []

    @memoized
    def half(number: float) -> float:
        requested.append(number)
        if number < 0:
            raise ValueError("below 0")
        return number / 2

    assert half(3.0) == half(3.0) == half(number=3.0) == 1.5
    for _ in range(2):
        with pytest.raises(ValueError, match="below 0"):
            half(-1.0)
    assert requested == [3.0, 3.0, -1.0, -1.0]


def test_arrays_are_calculated_again() -> None:
    double = memoized(lambda values: values * 2)
    assert double(np.ones(2)).tolist() == [2.0, 2.0]
    assert double(np.zeros(2)).tolist() == [0.0, 0.0]
