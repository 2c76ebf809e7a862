"""Uncertainty against the GUM's own examples and against a second program."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
from scipy.integrate import quad

from compute.statistics.gum import Input, coverage_factor, propagate
from compute.statistics.monte_carlo import monte_carlo


@pytest.mark.parametrize(
    ("probability", "freedom", "published"),
    [
        # JCGM 100:2008 Table G.2 (from memory), two decimals.
        (0.95, 1, 12.71), (0.95, 5, 2.57), (0.95, 10, 2.23), (0.95, 50, 2.01), (0.95, math.inf, 1.96), (0.99, 8, 3.36),
        (0.9545, 10, 2.28), (0.9973, math.inf, 3.00),
    ],
)  # fmt: skip
def test_coverage_factors_are_those_of_table_g2(probability: float, freedom: float, published: float) -> None:
    assert coverage_factor(probability, freedom) == pytest.approx(published, abs=0.006)


def test_the_end_gauge_of_annex_h1() -> None:
    # JCGM 100:2008 H.1: 50 mm end gauge; l = 50 000 838 nm, uc = 32 nm, nu_eff = 16 (16.7 before rounding down), U99 = 93 nm.
    rectangular = math.sqrt(3)
    inputs = [
        Input("standard", 50_000_623.0, 25.0, 18),
        Input("difference", 215.0, 5.8, 24),
        Input("comparator random", 0.0, 3.9, 5),
        Input("comparator systematic", 0.0, 6.7, 8),
        Input("expansion", 11.5e-6, 2e-6 / rectangular),
        Input("expansion difference", 0.0, 1e-6 / rectangular, 50),
        Input("temperature mean", -0.1, 0.2),
        Input("temperature cycle", 0.0, 0.5 / math.sqrt(2)),
        Input("temperature difference", 0.0, 0.05 / rectangular, 2),
    ]

    def length(x: dict[str, float]) -> float:
        temperature = x["temperature mean"] + x["temperature cycle"]
        total = x["standard"] + x["difference"] + x["comparator random"] + x["comparator systematic"]
        return total - x["standard"] * (
            x["expansion difference"] * temperature + x["expansion"] * x["temperature difference"]
        )

    result = propagate(length, inputs, coverage_probability=0.99)  # type: ignore[arg-type]
    assert result.value == pytest.approx(50_000_838.0, abs=1e-3)
    assert result.combined_standard_uncertainty == pytest.approx(32, abs=0.5)
    assert result.effective_degrees_of_freedom == pytest.approx(16.7, abs=0.3)
    # The GUM cuts the degrees of freedom down to 16 before it looks k up; we use 16.7: 91.9 nm.
    assert result.expanded_uncertainty == pytest.approx(93, abs=1.5)


def test_the_resistance_of_annex_h2_with_its_correlations() -> None:
    # JCGM 100:2008 H.2: means, uncertainties and correlations as printed; R = 127.732 ohm, u(R) = 0.071 ohm.
    inputs = [Input("V", 4.9990, 0.0032), Input("I", 19.6610e-3, 0.0095e-3), Input("phi", 1.04446, 0.00075)]
    correlations = [("V", "I", -0.36), ("V", "phi", 0.86), ("I", "phi", -0.65)]
    result = propagate(lambda x: x["V"] / x["I"] * np.cos(x["phi"]), inputs, correlations)
    assert result.value == pytest.approx(127.732, abs=2e-3)
    assert result.combined_standard_uncertainty == pytest.approx(0.071, abs=2e-3)


def test_a_correlated_case_agrees_with_a_second_program() -> None:
    a, b = GTC.ureal(3.0, 0.1, independent=False), GTC.ureal(2.0, 0.2, independent=False)
    GTC.set_correlation(0.4, a, b)
    expected = GTC.uncertainty(a * a / b)
    result = propagate(
        lambda x: x["a"] ** 2 / x["b"], [Input("a", 3.0, 0.1), Input("b", 2.0, 0.2)], [("a", "b", 0.4)]
    )
    assert result.combined_standard_uncertainty == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("distribution", "largest", "published"),
    [
        # JCGM 101:2008 9.2.2 to 9.2.4 (from memory): 95 % intervals of sums of four inputs, standard uncertainty 1 each, and
        # for the last with one of 10.
        ("normal", 1.0, 3.92),
        ("rectangular", 1.0, 3.88),
        ("rectangular", 10.0, 17.0),
    ],
)
def test_the_additive_models_of_jcgm_101(distribution: str, largest: float, published: float) -> None:
    inputs = [
        Input(f"x{i}", 0.0, u, distribution=distribution) for i, u in enumerate((1.0, 1.0, 1.0, largest))
    ]  # type: ignore[arg-type]
    linear = propagate(lambda x: x["x0"] + x["x1"] + x["x2"] + x["x3"], inputs)
    drawn = monte_carlo(lambda x: x["x0"] + x["x1"] + x["x2"] + x["x3"], inputs, linear, 1_000_000, 1)
    low, high = drawn.symmetric_coverage_interval
    assert high == pytest.approx(published, abs=0.006 * published)
    assert low == pytest.approx(-published, abs=0.006 * published)
    assert drawn.good_enough == (largest == 1.0)


def test_correlated_trials_have_the_requested_correlation() -> None:
    inputs = [Input("a", 0.0, 1.0), Input("b", 0.0, 2.0)]
    linear = propagate(lambda x: x["a"] - x["b"], inputs, [("a", "b", 0.8)])
    drawn = monte_carlo(lambda x: x["a"] - x["b"], inputs, linear, 400_000, 2)
    # var(a - b) = 1 + 4 - 2 x 0.8 x 2 = 1.8.
    assert drawn.standard_uncertainty**2 == pytest.approx(1.8, rel=0.01)
    assert linear.combined_standard_uncertainty**2 == pytest.approx(1.8, rel=1e-9)


@pytest.mark.parametrize("probability", [0.68, 0.95, 0.99])
@pytest.mark.parametrize("freedom", [1.0, 2.7, 16.7, 400.0])
def test_coverage_factors_hold_their_probability_by_integrating_students_density(
    probability: float, freedom: float
) -> None:
    # Student's density written out (Gosset 1908), integrated numerically between -k and k.
    scale = math.exp(math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2)) / math.sqrt(freedom * math.pi)

    def density(t: float) -> float:
        return float(scale * (1 + t * t / freedom) ** (-(freedom + 1) / 2))

    k = coverage_factor(probability, freedom)
    inside, _ = quad(density, -k, k, epsabs=1e-13, limit=500)
    assert inside == pytest.approx(probability, abs=1e-9)
