"""Statistics of a log, and the uncertainty of a flow."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.acoustics import trace
from compute.errors import OutOfRange
from compute.gum import Input, coverage_factor, propagate
from compute.statistics import effective_sample_size, standard_uncertainty_of_mean
from compute.uncertainty import Doubt, flow_uncertainty, survey_doubts
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


def test_a_constant_series_is_worth_all_its_readings_and_has_no_scatter() -> None:
    assert effective_sample_size(np.full(100, 3.0)) == 100
    assert standard_uncertainty_of_mean(np.full(100, 3.0))[0] == 0


def test_correlated_readings_are_surer_of_their_mean_than_they_look() -> None:
    values = autoregression(0.9, 5000)
    uncertainty, freedom = standard_uncertainty_of_mean(values)
    assert uncertainty > 3 * values.std() / math.sqrt(len(values))
    assert freedom < 1000


def doubts() -> dict[str, Doubt]:
    return survey_doubts(
        steel_setup(),
        reynolds=5e5,
        repeatability=Doubt(0.1e-9, degrees_of_freedom=50),
        gauged_wall=Doubt(5e-5),
        viscosity_relative=None,
    )


def test_the_budget_names_every_input_sorted_by_share_and_its_shares_make_one() -> None:
    setup = steel_setup()
    result = flow_uncertainty(setup, float(trace(setup).transit_time), 170e-9, doubts())
    shares = [row.share for row in result.budget]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1)
    assert {row.input for row in result.budget} == set(doubts())


def test_the_sensitivity_to_the_time_difference_is_flow_over_time_difference_where_the_factor_is_level() -> (
    None
):
    # At high Reynolds number the profile factor hardly moves, and flow goes with the time difference.
    setup = steel_setup()
    result = flow_uncertainty(setup, float(trace(setup).transit_time), 170e-9, doubts())
    [row] = [row for row in result.budget if row.input == "readings.time_difference"]
    assert row.sensitivity == pytest.approx(result.value / 170e-9, rel=0.02)


@given(st.floats(0.5, 3.0))
def test_more_doubt_of_an_input_never_makes_the_flow_surer(factor: float) -> None:
    setup = steel_setup()
    base = doubts()
    wider = base | {
        "pipe.outer_diameter": Doubt(
            base["pipe.outer_diameter"].standard_uncertainty * max(factor, 1), relative=True
        )
    }
    transit = float(trace(setup).transit_time)
    one, other = (
        flow_uncertainty(setup, transit, 170e-9, d).combined_standard_uncertainty for d in (base, wider)
    )
    assert other >= one


def test_between_laminar_and_turbulent_the_profile_is_the_largest_doubt() -> None:
    found = survey_doubts(
        steel_setup(), reynolds=3000, repeatability=Doubt(0), gauged_wall=None, viscosity_relative=None
    )
    assert found["profile_factor"].standard_uncertainty == 0.05


def test_a_correlation_that_cannot_exist_is_refused() -> None:
    inputs = [Input(name, 1.0, 0.1) for name in "abc"]
    impossible = [("a", "b", 0.9), ("b", "c", 0.9), ("a", "c", -0.9)]
    with pytest.raises(OutOfRange):
        propagate(lambda x: x["a"] + x["b"] + x["c"], inputs, impossible)


def test_a_coverage_probability_that_cannot_be_is_refused() -> None:
    for probability in (0.0, 1.0, -1.0):
        with pytest.raises(OutOfRange):
            coverage_factor(probability, 10)
