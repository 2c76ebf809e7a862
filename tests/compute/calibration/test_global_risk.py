"""Global risks of a decision rule against independent calculations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm, t

from compute.base.errors import OutOfRange
from compute.calibration.global_risk import below, global_risks

SPREAD = 1 / norm.ppf(0.975)
CASES = [(1.0, 0.2, math.inf), (0.6, 0.2, math.inf), (0.5, 0.25, 5.0), (1.0, 0.05, 4.0), (0.9, 0.5, 12.0)]


@pytest.mark.parametrize(("acceptance", "uncertainty", "freedom"), CASES)
def test_the_risks_are_the_integrals_over_the_true_error(
    acceptance: float, uncertainty: float, freedom: float
) -> None:
    # JCGM 106:2012 9.5.2 and 9.5.3 (from memory), integrated by quadrature over the true error.
    measured = norm() if math.isinf(freedom) else t(freedom)

    def accepted(true: float) -> float:
        high, low = (acceptance - true) / uncertainty, (-acceptance - true) / uncertainty
        return float(measured.cdf(high) - measured.cdf(low))

    consumer = 2 * quad(lambda true: norm.pdf(true, 0, SPREAD) * accepted(true), 1, 8 * SPREAD)[0]
    producer = quad(lambda true: norm.pdf(true, 0, SPREAD) * (1 - accepted(true)), -1, 1, points=[-0.5, 0.5])[
        0
    ]
    found = global_risks(acceptance, uncertainty, freedom)
    assert found.consumer == pytest.approx(consumer, abs=2e-5)
    assert found.producer == pytest.approx(producer, abs=1e-4)


def test_the_risks_are_the_counts_of_a_simulated_population() -> None:
    rng = np.random.default_rng(5)
    true = rng.normal(0, SPREAD, 400_000)
    measured = true + 0.25 * rng.standard_t(5, len(true))
    found = global_risks(0.75, 0.25, 5.0)
    accepted = np.abs(measured) <= 0.75
    assert found.consumer == pytest.approx(np.mean(accepted & (np.abs(true) > 1)), abs=4e-4)
    assert found.producer == pytest.approx(np.mean(~accepted & (np.abs(true) <= 1)), abs=2e-3)


def test_an_exact_measurement_has_no_risk_and_an_impossible_limit_rejects_all() -> None:
    exact = global_risks(1.0, 0.0)
    assert (exact.consumer, exact.producer) == pytest.approx((0.0, 0.0), abs=1e-12)
    nothing = global_risks(-0.1, 0.3)
    assert (nothing.consumer, nothing.producer) == (0.0, 0.95)


def test_a_guard_band_moves_risk_from_the_consumer_to_the_producer() -> None:
    simple, guarded = global_risks(1.0, 0.2), global_risks(0.6, 0.2)
    assert guarded.consumer < simple.consumer / 5
    assert guarded.producer > simple.producer


def test_invalid_input_is_rejected() -> None:
    for wrong in ((1.0, -0.1, 5.0, 0.9), (1.0, 0.1, 0.0, 0.9), (1.0, 0.1, 5.0, 1.0)):
        with pytest.raises(OutOfRange):
            global_risks(*wrong)


def test_the_distribution_below_a_value_is_that_of_students_t() -> None:
    # GUM table G.2: 95.45 % lie within 2.65 for 5 degrees of freedom, 95 % within 1.96 of the normal distribution.
    assert below(-2.65, 5.0) == pytest.approx(0.02275, abs=5e-5)
    assert below(1.959964, math.inf) == pytest.approx(0.975, abs=1e-7)
