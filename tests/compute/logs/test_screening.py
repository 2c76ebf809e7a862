"""Outliers of a log: spikes and drop-outs are found, changes of the flow are not."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from compute.logs.screening import MAX_FRACTION, outliers

FLOOR = 1e-3


def steady(count: int = 600, seed: int = 0) -> np.ndarray:
    return 100 + 0.5 * np.random.default_rng(seed).normal(size=count)


def found(values: np.ndarray) -> list[int]:
    return np.flatnonzero(outliers(values, FLOOR)).tolist()


@pytest.mark.parametrize("at", [0, 1, 5, 299, 598, 599])
@pytest.mark.parametrize("spike", [50_000.0, -50_000.0, 5.0])
def test_a_spike_is_found_wherever_it_is(at: int, spike: float) -> None:
    values = steady()
    values[at] += spike
    assert found(values) == [at]


def test_ten_drop_outs_to_zero_are_found_scattered_and_in_a_row() -> None:
    scattered, row = steady(), steady()
    where = sorted(np.random.default_rng(1).choice(600, 10, replace=False).tolist())
    scattered[where], row[300:310] = 0.0, 0.0
    assert found(scattered) == where
    assert found(row) == list(range(300, 310))


@pytest.mark.parametrize("correlation", [0.0, 0.9, 0.99])
def test_normal_noise_has_no_outlier(correlation: float) -> None:
    # 6 standard deviations: 2e-9 a reading; correlated noise has steps a little longer.
    shocks = np.random.default_rng(2).normal(size=200_000)
    assert len(found(lfilter([1], [1, -correlation], shocks))) <= 1


@pytest.mark.parametrize("count", [5, 6, 8, 12, 20, 41])
def test_few_normal_readings_rarely_have_an_outlier(count: int) -> None:
    logs = np.random.default_rng(count).normal(size=(2000, count))
    assert sum(bool(outliers(one, 0.0).any()) for one in logs) <= 8


@pytest.mark.parametrize("count", [5, 8, 20, 41, 42, 100])
def test_a_spike_of_few_readings_is_found(count: int) -> None:
    values = steady(count)
    values[count // 2] = 50_000.0
    assert found(values) == [count // 2]


@pytest.mark.parametrize("at", range(285, 315))
def test_a_step_is_no_outlier(at: int) -> None:
    values = steady()
    values[at:] += 100
    assert found(values) == []


@pytest.mark.parametrize("period", [11, 12, 15, 21, 30, 77])
def test_a_pump_that_switches_is_no_outlier(period: int) -> None:
    values = steady()
    values[(np.arange(600) // period) % 2 == 1] = 0.0
    assert found(values) == []


@pytest.mark.parametrize("rise", [30.0, 300.0, -90.0])
def test_a_ramp_is_no_outlier(rise: float) -> None:
    assert found(steady() + np.linspace(0, rise, 600)) == []


def test_a_block_longer_than_half_the_window_stays() -> None:
    values = steady()
    values[300:311] = 0.0
    assert found(values) == []


def test_steps_of_the_resolution_are_no_outliers() -> None:
    values = np.full(600, 100.0)
    values[[7, 300]] += 5 * FLOOR
    assert found(values) == []


def test_more_than_a_tenth_of_the_readings_is_no_outlier() -> None:
    values = steady()
    values[::8] = 0.0
    assert MAX_FRACTION < 1 / 8
    assert found(values) == []


@pytest.mark.parametrize("count", [13_440, 13_441, 13_482, 26_881])
def test_a_long_log_is_screened_alike_in_every_chunk(count: int) -> None:
    values = steady(count)
    where = [3, 13_439, count // 2, count - 1]
    values[where] += 20.0
    assert found(values) == sorted(set(where))
