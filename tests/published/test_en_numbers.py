"""En number and zeta score by ISO 13528:2015, without the shared uncertainty of two meters."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
from scipy.stats import norm

from compute.calibration.intermediate_checks import Measured
from compute.calibration.meter_comparison import en_number, two_meters_check, zeta_score


def test_the_definitions_by_hand() -> None:
    # ISO 13528:2015 9.6 and 9.7 (from memory): zeta = (x - X)/sqrt(u^2 + u_X^2), En = (x - X)/sqrt(U^2 + U_X^2).
    # 10.5 and 10.0 with u = 0.3 and 0.4: root 0.5, zeta = 1; U = 0.6 and 0.8: root 1.0, En = 0.5.
    first, second = Measured(10.5, 0.3), Measured(10.0, 0.4)
    assert zeta_score(first, second) == pytest.approx(1.0)
    assert en_number(first, second) == pytest.approx(0.5)
    assert en_number(second, first) == pytest.approx(-0.5)


def test_shared_uncertainty_is_removed_as_in_an_independent_program() -> None:
    # GTC carries the shared pipe through both results: flows 100 and 102 with 1 % of a common bore area and their own parts.
    area = GTC.ureal(1.0, 0.01)
    first, second = GTC.ureal(100.0, 0.6) * area, GTC.ureal(100.0, 0.8) * area + 2
    expected = GTC.value(first - second) / GTC.uncertainty(first - second)
    found = zeta_score(Measured(100.0, GTC.uncertainty(first)), Measured(102.0, GTC.uncertainty(second)), 1.0)
    assert found == pytest.approx(expected, rel=1e-9)
    assert found == pytest.approx(-2.0, rel=1e-9)  # by hand: 2 / sqrt(0.36 + 0.64)


def test_scores_of_meters_that_agree_scatter_with_a_standard_deviation_of_one() -> None:
    # 20 000 pairs drawn with a shared error; the standard error of a standard deviation of 1 is then 0.005.
    draw = np.random.default_rng(3)
    shared = draw.normal(0, 3.0, 20_000)
    first, second = draw.normal(50, 0.5, 20_000) + shared, draw.normal(50, 1.2, 20_000) + shared
    of_first, of_second = math.hypot(0.5, 3.0), math.hypot(1.2, 3.0)
    scores = [
        zeta_score(Measured(a, of_first), Measured(b, of_second), 3.0)
        for a, b in zip(first.tolist(), second.tolist(), strict=True)
    ]
    assert np.std(scores) == pytest.approx(1.0, abs=0.02)
    assert np.mean(np.abs(scores) > 2) == pytest.approx(2 * norm.sf(2), abs=0.006)


@pytest.mark.parametrize(
    ("difference", "outcome"),
    [
        (1.99, "within"),
        (-1.99, "within"),
        (2.01, "warning"),
        (2.99, "warning"),
        (3.01, "out"),
        (-3.01, "out"),
    ],
)
def test_outcomes_follow_the_limits_of_the_zeta_score(difference: float, outcome: str) -> None:
    # ISO 13528:2015 9.6 (from memory): up to 2 satisfactory (|En| up to 1), 2 to 3 questionable, from 3 unsatisfactory. u = 0.6 and
    # 0.8 make 1.
    result = two_meters_check(Measured(difference + 5, 0.6), Measured(5.0, 0.8), 0.0, "speed")
    assert result.outcome == outcome
    assert bool(result.findings) == (outcome != "within")
