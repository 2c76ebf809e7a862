"""Decision rules against ILAC-G8:09/2019 and JCGM 106:2012."""

from __future__ import annotations

import math

import pytest
from scipy.stats import norm

from compute.calibration.decision_rules import (
    DecisionRule,
    PermissibleError,
    conformance_probability,
    judge_point,
)
from compute.calibration.points import Point


@pytest.mark.parametrize(
    ("guard_factor", "published"),
    [
        # ILAC-G8:09/2019: risk of a false accept at the acceptance limit: below 50 % without a guard band (simple acceptance), below
        # 2.5 % with w = U. The rest is the upper tail of the normal distribution at 2 r, tabulated to five digits (standard tables).
        (0.0, 0.5),
        (0.5, 0.158655),
        (0.83, 0.048457),
        (1.0, 0.02275),
        (1.5, 0.00135),
    ],
)
def test_risk_of_a_false_accept_at_the_acceptance_limit(guard_factor: float, published: float) -> None:
    # Permissible error 1, U = 0.1 with k = 2; reference 0, so that the error is what is indicated.
    at_limit = Point(0.0, 1.0 - guard_factor * 0.1, 0.1, 2.0)
    found = judge_point(
        at_limit, PermissibleError(absolute=1.0), DecisionRule("guarded-acceptance", guard_factor)
    )
    assert found.conformity == "pass"
    assert found.specific_risk == pytest.approx(published, abs=6e-7 if guard_factor else 1e-12)


@pytest.mark.parametrize(
    ("error", "conformity"),
    [
        # ILAC-G8:09/2019 4.2.2: y <= TL - w pass; to TL conditional pass; to TL + w conditional fail; beyond fail. TL = 10, w = 1.
        (9.0, "pass"), (9.01, "conditional-pass"), (10.0, "conditional-pass"), (10.01, "conditional-fail"),
        (11.0, "conditional-fail"), (11.01, "fail"), (-9.0, "pass"), (-11.01, "fail"),
    ],
)  # fmt: skip
def test_the_four_conformities_of_non_binary_statements(error: float, conformity: str) -> None:
    found = judge_point(
        Point(0.0, error, 1.0, 2.0), PermissibleError(absolute=10.0), DecisionRule("non-binary")
    )
    assert found.conformity == conformity


def test_the_breakdown_voltage_of_a_diode() -> None:
    # JCGM 106:2012 7.4 example 1 (from memory): V = -5.47 V, u = 0.05 V, upper limit -5.40 V: conformance probability 92 %.
    assert conformance_probability(-5.47, 0.05, -math.inf, -5.40) == pytest.approx(0.92, abs=0.005)


def test_the_viscosity_of_an_engine_oil() -> None:
    # JCGM 106:2012 7.5 example (from memory): 13.6 mm2/s, u = 1.8 mm2/s, limits 12.5 and 16.3 mm2/s: 0.93 - 0.27 = 0.66.
    assert conformance_probability(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.66, abs=0.005)


@pytest.mark.parametrize(
    ("probability", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_conformance_probabilities_of_one_limit(probability: float, z: float) -> None:
    # JCGM 106:2012 table 1 (from memory), z = (limit - value)/u to two decimals.
    slope = norm.pdf(z) * 0.0055
    assert conformance_probability(-z, 1.0, -math.inf, 0.0) == pytest.approx(probability, abs=slope)


def test_an_example_with_one_limit() -> None:
    # y = 9.0, limit 10, U = 1 (k = 2): normal distribution at 2 standard deviations, 0.97725.
    assert conformance_probability(9.0, 0.5, -math.inf, 10.0) == pytest.approx(0.97725, abs=5e-6)


@pytest.mark.parametrize(("value", "lower", "upper"), [(0.3, -1.0, 2.0), (-9.0, -1.0, 2.0), (12.0, 0.0, 3.0)])
def test_probabilities_agree_with_a_second_program_far_out_too(
    value: float, lower: float, upper: float
) -> None:
    # scipy.stats.norm, each difference taken in the tail where it keeps its digits.
    a, b = (lower - value) / 0.9, (upper - value) / 0.9
    expected = norm.sf(a) - norm.sf(b) if a > 0 else norm.cdf(b) - norm.cdf(a)
    assert conformance_probability(value, 0.9, lower, upper) == pytest.approx(expected, rel=1e-9)
