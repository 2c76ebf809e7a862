"""Uncertainty of the profile factor by regime, roughness and width of the beam."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.measuring.profile import profile_factor
from compute.measuring.profile_uncertainty import (
    beam_width_effect,
    draw_profile_factors,
    profile_factor_uncertainty,
    relative_beam_width,
    turbulence_probability,
)
from tests.compute.cases import steel_setup


def test_the_transition_is_beyond_either_end_of_the_convention_with_a_probability_of_5_percent() -> None:
    assert turbulence_probability(2300.0) == pytest.approx(0.05, abs=1e-4)
    assert turbulence_probability(4000.0) == pytest.approx(0.95, abs=1e-4)
    assert turbulence_probability(math.sqrt(2300 * 4000)) == pytest.approx(0.5)
    assert turbulence_probability(0.0) == 0.0


@pytest.mark.parametrize("uncertainty", [0.1, 0.4, 1.0])
@pytest.mark.parametrize("reynolds", [1500.0, 2800.0, 5000.0])
def test_an_uncertain_reynolds_number_averages_the_probability(reynolds: float, uncertainty: float) -> None:
    # Independent: the mean over a lognormal sample; 200,000 draws are within 0.4 % (4 standard errors).
    spread = math.sqrt(math.log1p(uncertainty**2))
    sample = reynolds * np.exp(spread * np.random.default_rng(4).normal(size=200_000))
    grid = np.geomspace(1, 1e8, 4001)
    probability = np.interp(sample, grid, [turbulence_probability(float(one)) for one in grid])
    assert turbulence_probability(reynolds, uncertainty) == pytest.approx(probability.mean(), abs=0.005)


@pytest.mark.parametrize("uncertainty", [0.0, 0.02, 0.4])
def test_the_uncertainty_is_continuous_in_the_reynolds_number(uncertainty: float) -> None:
    numbers = np.exp(np.arange(math.log(500), math.log(2e4), 0.005))
    found = [profile_factor_uncertainty(float(one), 1e-4, 0.02, uncertainty) for one in numbers]
    # 0.5 % in the Reynolds number moves the uncertainty by less than 6 %.
    assert np.abs(np.diff(np.log(found))).max() < 0.06


@given(st.floats(10, 1e8), st.floats(0, 0.03))
def test_the_uncertainty_of_the_model_is_small_away_from_the_transition(
    reynolds: float, roughness: float
) -> None:
    found = profile_factor_uncertainty(reynolds, roughness)
    assert found > 0.0015
    if reynolds < 1200 or reynolds > 1e4:
        assert found < 0.012


def test_between_4000_and_10000_the_uncertainty_is_larger_than_at_100000() -> None:
    assert profile_factor_uncertainty(7000.0, 0.0) > 1.2 * profile_factor_uncertainty(1e5, 0.0)


def test_a_rough_pipe_is_less_certain_than_a_smooth_one() -> None:
    assert profile_factor_uncertainty(1e6, 5e-3) > 1.5 * profile_factor_uncertainty(1e6, 0.0)


@pytest.mark.parametrize("reynolds", [800.0, 2200.0, 3000.0, 4500.0, 2e5])
def test_the_drawn_factors_have_the_stated_uncertainty(reynolds: float) -> None:
    rng, count = np.random.default_rng(7), 400_000
    numbers = reynolds * np.exp(0.05 * rng.normal(size=count))
    drawn = draw_profile_factors(numbers, 1e-4, rng.random(count), rng.normal(size=count), 0.05)
    root_mean_square = np.sqrt(np.mean((drawn / profile_factor(reynolds, 1e-4) - 1) ** 2))
    assert root_mean_square == pytest.approx(profile_factor_uncertainty(reynolds, 1e-4, 0.05, 0.05), rel=0.04)


def test_a_drawn_factor_is_laminar_or_turbulent_and_never_between() -> None:
    numbers = np.full(1000, 3000.0)
    drawn = draw_profile_factors(numbers, 0.0, np.linspace(0, 1, 1000), np.zeros(1000))
    assert set(np.round(drawn, 6)) == {0.75, round(float(profile_factor(4000.0, 0.0)), 6)}


def test_a_flow_of_zero_is_laminar() -> None:
    assert draw_profile_factors(np.zeros(3), 0.0, np.full(3, 0.5), np.zeros(3)) == pytest.approx(0.75)
    assert profile_factor_uncertainty(0.0, 1e-4) == pytest.approx(0.005)


@given(st.floats(0.75, 0.99), st.floats(0, 0.4))
def test_the_effect_of_the_beam_width_vanishes_as_its_square(factor: float, width: float) -> None:
    assert beam_width_effect(factor, 2 * width) == pytest.approx(4 * beam_width_effect(factor, width))
    assert beam_width_effect(factor, width) >= 0


def test_the_width_of_the_beam_is_four_wavelengths_over_the_bore() -> None:
    setup = steel_setup()
    wavelength = float(setup.medium.sound_speed) / setup.transducers.frequency
    assert relative_beam_width(setup) == pytest.approx(4 * wavelength / float(setup.pipe.bore))
