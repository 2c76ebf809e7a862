"""Statistics of a log, and the uncertainty of a flow."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.base.errors import OutOfRange
from compute.measuring.beam import trace
from compute.measuring.flow import times_from_mean_velocity
from compute.results.uncertainty import (
    InputUncertainty,
    Measurement,
    flow_monte_carlo,
    flow_uncertainty,
    survey_uncertainties,
    velocity_profile_uncertainties,
)
from compute.statistics.autocorrelation import effective_sample_size, repeatability
from compute.statistics.gum import GumResult, Input, coverage_factor, propagate
from tests.compute.cases import steel_setup


def autoregression(rho: float, count: int, seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    values = np.empty(count)
    values[0] = rng.normal()
    for i in range(1, count):
        values[i] = rho * values[i - 1] + math.sqrt(1 - rho**2) * rng.normal()
    return values


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_the_effective_sample_size_is_that_of_autoregression_theory(rho: float) -> None:
    # n (1 - rho)/(1 + rho) for a first-order autoregression.
    count = 40_000
    assert effective_sample_size(autoregression(rho, count)) == pytest.approx(
        count * (1 - rho) / (1 + rho), rel=0.15
    )


def test_a_constant_series_has_the_full_sample_size_and_no_scatter() -> None:
    assert effective_sample_size(np.full(100, 3.0)) == 100
    assert repeatability(np.full(100, 3.0)).standard_uncertainty == 0


def test_correlated_readings_are_surer_of_their_mean_than_they_look() -> None:
    values = autoregression(0.9, 5000)
    found = repeatability(values)
    assert found.noise_uncertainty > 3 * values.std() / math.sqrt(len(values))
    assert found.effective_sample_size < 1000


def measurement() -> Measurement:
    setup = steel_setup()
    return Measurement(setup, float(trace(setup).transit_time), 170e-9)


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_the_uncertainty_of_a_mean_has_its_coverage_probability(rho: float) -> None:
    # 95 % intervals of 200 series whose true mean is 0; binomial scatter of the share is 1.5 %.
    covered = 0
    for seed in range(200):
        found = repeatability(autoregression(rho, 1200, seed))
        half = coverage_factor(0.95, max(found.effective_sample_size - 2, 1)) * found.noise_uncertainty
        covered += abs(found.mean) <= half
    assert 0.89 <= covered / 200 <= 0.995


def test_a_drift_is_found_and_its_size_is_reported() -> None:
    rng = np.random.default_rng(8)
    found = repeatability(np.linspace(-1, 1, 2000) + rng.normal(0, 0.1, 2000))
    assert found.drift == pytest.approx(2.0, abs=0.05)
    # A value that moved evenly over that width: width over the root of 12 (GUM 4.3.7).
    assert found.drift_uncertainty == pytest.approx(2.0 / math.sqrt(12), rel=0.03)


def uncertainties() -> dict[str, InputUncertainty]:
    found = survey_uncertainties(
        steel_setup(),
        repeatability=InputUncertainty(0.1e-9, degrees_of_freedom=50),
        measured_wall=InputUncertainty(5e-5),
        viscosity_relative=None,
    )
    return found | velocity_profile_uncertainties(measurement(), found, 0.001)


def test_the_budget_names_every_input_sorted_by_variance_fraction_and_the_fractions_sum_to_one() -> None:
    result = flow_uncertainty(measurement(), uncertainties())
    shares = [row.variance_fraction for row in result.budget]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1)
    assert {row.input for row in result.budget} == set(uncertainties())


def test_the_sensitivity_to_the_time_difference_is_flow_over_time_difference_where_the_factor_is_level() -> (
    None
):
    # At high Reynolds number the profile factor hardly moves, and flow goes with the time difference.
    result = flow_uncertainty(measurement(), uncertainties())
    [row] = [row for row in result.budget if row.input == "readings.time_difference"]
    assert row.sensitivity == pytest.approx(result.value / 170e-9, rel=0.02)


@given(st.floats(0.5, 3.0))
def test_a_larger_uncertainty_of_an_input_never_reduces_that_of_the_flow(factor: float) -> None:
    base = uncertainties()
    wider = base | {
        "pipe.outer_diameter": InputUncertainty(
            base["pipe.outer_diameter"].standard_uncertainty * max(factor, 1), relative=True
        )
    }
    one, other = (flow_uncertainty(measurement(), d).combined_standard_uncertainty for d in (base, wider))
    assert other >= one


def at_reynolds(reynolds: float, viscosity: float) -> GumResult:
    """Return the uncertainty of a flow of some Reynolds number at 1.2 m/s; the viscosity is changed and has this uncertainty."""
    setup = steel_setup()
    thick = replace(setup.medium, dynamic_viscosity=1.2 * setup.pipe.bore * setup.medium.density / reynolds)
    setup = replace(setup, medium=thick)
    transit, difference = times_from_mean_velocity(setup, 1.2)
    at = Measurement(setup, float(transit), float(difference))
    found = survey_uncertainties(
        setup,
        repeatability=InputUncertainty(0.1e-9),
        measured_wall=InputUncertainty(5e-5),
        viscosity_relative=viscosity,
    )
    return flow_uncertainty(at, found | velocity_profile_uncertainties(at, found, 0.001))


@pytest.mark.parametrize("viscosity", [0.02, 0.4])
def test_the_uncertainty_has_no_jump_between_laminar_and_turbulent_flow(viscosity: float) -> None:
    numbers = np.exp(np.arange(math.log(1000), math.log(10_000), 0.005))
    found = np.array([at_reynolds(float(one), viscosity).relative_expanded_uncertainty for one in numbers])
    # Each step is 0.5 % of the Reynolds number.
    assert np.abs(np.diff(np.log(found))).max() < 0.04
    # It rises to that of two factors 20 % apart and returns.
    assert found.max() > 4 * found[0] > 0


def test_the_uncertainty_of_the_regime_counts_that_of_the_viscosity_once() -> None:
    # Law of total variance: two factors of 3/4 and 0.897, each with the probability 1/2, whatever makes the regime uncertain. In the
    # middle of the transition a worse viscosity adds only what it changes within a regime.
    sure, unsure = (at_reynolds(3033, one).combined_standard_uncertainty for one in (0.02, 0.4))
    assert unsure == pytest.approx(sure, rel=0.03)


def test_the_profile_factor_contributes_the_spread_of_both_regimes_in_the_middle_of_the_transition() -> None:
    [row] = [row for row in at_reynolds(3033, 0.02).budget if row.input == "profile_factor"]
    # By hand: (0.897 - 0.750)/2 over the mean 0.823 = 8.9 %.
    assert row.standard_uncertainty / row.value == pytest.approx(0.089, rel=0.01)


def test_an_impossible_correlation_is_rejected() -> None:
    inputs = [Input(name, 1.0, 0.1) for name in "abc"]
    impossible = [("a", "b", 0.9), ("b", "c", 0.9), ("a", "c", -0.9)]
    with pytest.raises(OutOfRange):
        propagate(lambda x: x["a"] + x["b"] + x["c"], inputs, impossible)


def test_an_impossible_coverage_probability_is_rejected() -> None:
    for probability in (0.0, 1.0, -1.0):
        with pytest.raises(OutOfRange):
            coverage_factor(probability, 10)


def test_drawing_the_inputs_agrees_with_the_law_of_propagation_within_its_own_noise() -> None:
    linear = flow_uncertainty(measurement(), uncertainties())
    drawn = flow_monte_carlo(measurement(), uncertainties(), linear, trials=200_000, seed=5)
    # The standard deviation of n trials is itself known to 1/sqrt(2n); the model is all but linear here.
    assert drawn.standard_uncertainty == pytest.approx(linear.combined_standard_uncertainty, rel=0.01)
    assert drawn.mean == pytest.approx(
        linear.value, abs=5 * linear.combined_standard_uncertainty / math.sqrt(200_000) + 2e-3 * linear.value
    )


def test_on_an_ordinary_flow_the_linear_answer_is_good_enough() -> None:
    linear = flow_uncertainty(measurement(), uncertainties())
    assert flow_monte_carlo(measurement(), uncertainties(), linear, trials=200_000, seed=9).good_enough


def test_the_same_seed_gives_the_same_trials() -> None:
    linear = flow_uncertainty(measurement(), uncertainties())
    one, other = (
        flow_monte_carlo(measurement(), uncertainties(), linear, trials=20_000, seed=5) for _ in range(2)
    )
    assert one == other


def test_an_asymmetric_distribution_fails_the_validation_of_the_gum_framework() -> None:
    wide = {"transducers.wedge_delay": InputUncertainty(6e-6)}
    linear = flow_uncertainty(measurement(), wide)
    drawn = flow_monte_carlo(measurement(), wide, linear, trials=50_000, seed=5)
    assert not drawn.good_enough
    assert [finding.code for finding in drawn.findings] == ["gum-framework-not-validated"]
