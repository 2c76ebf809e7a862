"""Uncertainty of the mean of few readings: coverage by simulation, limits, and agreement with the long method."""

from __future__ import annotations

import math

import numpy as np
import pytest

from compute.base.errors import NotEnough, NumberInvalid
from compute.statistics.autocorrelation import noise_of_segments
from compute.statistics.gum import coverage_factor
from compute.statistics.short_samples import CORRELATIONS, WEIGHTS, mean_uncertainty
from tests.coverage.short_samples import NOISES, simulated

TRIALS = 200
# Three standard deviations of a share near 0.95 of 200 trials.
CHANCE = 0.046


def half_width(*segments: np.ndarray) -> float:
    found = mean_uncertainty(segments)
    return coverage_factor(0.95, found.degrees_of_freedom) * found.standard_uncertainty


@pytest.mark.parametrize("count", [2, 5, 10, 20, 60])
@pytest.mark.parametrize("noise", ["white", "0.6", "0.8"])
def test_intervals_contain_the_mean_of_white_and_correlated_readings(noise: str, count: int) -> None:
    assert simulated(NOISES[noise], count, TRIALS).coverage >= 0.92 - CHANCE


@pytest.mark.parametrize("count", [10, 20, 60])
@pytest.mark.parametrize("noise", ["0.9", "0.95", "1/f"])
def test_intervals_contain_the_mean_of_slow_noise_from_ten_readings_on(noise: str, count: int) -> None:
    assert simulated(NOISES[noise], count, TRIALS).coverage >= 0.90 - CHANCE


@pytest.mark.parametrize("count", [3, 5])
def test_intervals_of_very_few_and_very_slow_readings_contain_the_mean_as_often_as_their_width_allows(
    count: int,
) -> None:
    # With the median for white noise at most 3 times Student's, no rule holds 90 % here; see WEIGHTS. Student's holds 25 to 40 %.
    assert simulated(NOISES["0.95"], count, TRIALS).coverage >= 0.79 - 0.08


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 60])
def test_the_median_interval_of_white_noise_is_within_three_times_that_of_student(count: int) -> None:
    assert 0.95 <= simulated(NOISES["white"], count, TRIALS).width <= 3.3


@pytest.mark.parametrize("count", [1000, 20_000])
def test_a_long_log_has_the_uncertainty_of_the_window_method(count: int) -> None:
    values = np.random.default_rng(count).normal(size=count)
    found, before = mean_uncertainty([values]), noise_of_segments([values])
    assert found.standard_uncertainty == before.uncertainty
    assert found.standard_uncertainty == pytest.approx(1 / math.sqrt(count), rel=0.1)


def test_two_readings_have_a_multiple_of_the_interval_of_student() -> None:
    # Two readings show their distance only, so that every rule is a multiple of it.
    ratios = {half_width(np.array([0.0, d])) / (coverage_factor(0.95, 1) * d / 2) for d in (1e-9, 1.0, 7.0)}
    assert max(ratios) == pytest.approx(min(ratios), rel=1e-4)
    assert 2.5 < min(ratios) < 3.1


def test_the_uncertainty_scales_with_the_readings_and_ignores_their_level() -> None:
    values = np.random.default_rng(4).normal(size=12)
    assert half_width(values * 3e-9 + 2e-7) == pytest.approx(3e-9 * half_width(values), rel=1e-3)


def test_a_jump_between_segments_is_no_scatter() -> None:
    one, other = np.random.default_rng(5).normal(size=(2, 6))
    assert half_width(one, other + 100) == pytest.approx(half_width(one, other), rel=1e-9)
    assert half_width(one, other) < half_width(one)


def test_a_clear_drift_of_many_readings_is_no_scatter() -> None:
    noise = np.random.default_rng(6).normal(size=45)
    drifting = noise + np.linspace(-20, 20, 45)
    assert half_width(drifting) < 2.5 * coverage_factor(0.95, 44) / math.sqrt(45)


def test_equal_readings_have_no_uncertainty() -> None:
    assert mean_uncertainty([np.full(9, 2.0)]).standard_uncertainty == 0


def test_the_correlation_time_of_correlated_readings_is_that_of_autoregression_theory() -> None:
    # (1 + phi)/(1 - phi) = 9 readings.
    found = mean_uncertainty([NOISES["0.8"](np.random.default_rng(7), 40_000)])
    assert found.correlation_time == pytest.approx(9.0, rel=0.2)
    assert found.effective_sample_size == pytest.approx(40_000 / found.correlation_time)


def test_a_log_too_short_for_its_correlation_is_noticed_and_white_noise_is_not() -> None:
    assert simulated(NOISES["0.95"], 60, 100).short >= 0.9
    assert simulated(NOISES["white"], 20, 100).short <= 0.04


def test_a_single_reading_has_no_scatter() -> None:
    with pytest.raises(NotEnough):
        mean_uncertainty([np.array([1.0]), np.array([2.0])])


def test_readings_must_be_finite() -> None:
    with pytest.raises(NumberInvalid):
        mean_uncertainty([np.array([1.0, math.nan])])


def test_every_number_of_readings_has_a_weight_for_each_model() -> None:
    assert {len(weights) for weights in WEIGHTS.values()} == {len(CORRELATIONS) + 4}
    assert all(min(weights) > 0 for weights in WEIGHTS.values())
