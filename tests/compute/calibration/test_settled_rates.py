"""In-tolerance rates at which the methods of interval review settle."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from compute.calibration.control_chart import Calibrated, drift_of, time_within
from compute.calibration.intervals import AsFoundResult, Bounds, Steps, staircase
from compute.calibration.settled_rates import (
    CONTROL_CHART_RATE,
    settled_rate,
    staircase_rate,
    with_settled_rate,
)


def control_chart_rate(instruments: int, calibrations: int) -> float:
    """Fraction in tolerance under a random walk of unit variance a day and a permissible error of 1; the first third is left out."""
    rng = np.random.default_rng(14)
    inside = count = 0
    for _ in range(instruments):
        at, error, interval = 0.0, 0.0, 0.05
        history: list[Calibrated] = []
        for number in range(calibrations):
            at, error = at + interval, error + float(rng.normal()) * math.sqrt(interval)
            out = abs(error) > 1
            if number >= calibrations // 3:
                inside, count = inside + (not out), count + 1
            history = [*history, Calibrated(at, error, 0.0 if out else None, 1 / 6)][-10:]
            error = 0.0 if out else error
            if len(history) >= 3:
                # No interval is more than twice the last, or below the shortest.
                interval = min(max(time_within(drift_of(history), 1.0, 2 * interval), 0.02), 2 * interval)
    return inside / count


def balance(steps: Steps) -> float:
    """In-tolerance rate at the one interval where the mean logarithm of the factor is 0, for errors that start at 0."""

    def drift(spread: float) -> float:
        longer = 1 - 2 * norm.sf(steps.comfortable / spread)
        return float(longer * math.log(steps.lengthen) + 2 * norm.sf(1 / spread) * math.log(steps.shorten))

    return float(1 - 2 * norm.sf(1 / brentq(drift, 0.05, 20.0)))


@pytest.mark.parametrize(
    "steps", [Steps(), Steps(0.8, 1.1, 0.5), Steps(0.5, 1.25, 0.5), Steps(0.8, 1.25, 0.8)]
)
def test_the_staircase_settles_near_the_balance_of_its_steps(steps: Steps) -> None:
    # The interval scatters about its balance, and errors in tolerance stay: the rate is within 0.05 of the balance.
    assert staircase_rate(steps) == pytest.approx(balance(steps), abs=0.05)


def test_the_default_staircase_settles_at_78_percent() -> None:
    assert settled_rate("staircase") == pytest.approx(0.78, abs=0.01)
    assert settled_rate("in-use-time") == settled_rate("staircase")


def test_the_control_chart_settles_at_the_rate_that_is_shown() -> None:
    assert control_chart_rate(12, 45) == pytest.approx(CONTROL_CHART_RATE, abs=0.03)


def test_the_reliability_method_stands_still_at_its_target() -> None:
    assert settled_rate("reliability", target=0.9) == 0.9


def test_a_proposal_says_at_which_rate_its_method_settles() -> None:
    found = with_settled_rate(staircase([AsFoundResult(1.0, 0.5)], 360.0, Bounds(30, 1826)), 0.9)
    assert found.reasoning[-1].parameters["rate"] == settled_rate("staircase")  # type: ignore[index]
    assert dict(found.inputs)["settled-in-tolerance-rate"] == settled_rate("staircase")
