"""The simulation of `tests.coverage.diagnosis` in small: false alarms, and the rank and probability of the wrong entry."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from compute.base.errors import ComputeError
from compute.results.diagnosis import sound_speed_test_of_case
from tests.coverage.diagnosis import SINGLE, TWO, alarm, flawless, simulate, surveys

# Binomial: of 400 surveys with a rate of 5 %, 99 % of the simulations have at most 31 alarms.
FLAWLESS, MOST_ALARMS = 400, 31


@pytest.mark.parametrize("dn", [50, 100, 300, 1000])
@pytest.mark.parametrize("source", ["measured", "estimated"])
def test_at_most_5_percent_of_flawless_surveys_raise_an_alarm(dn: int, source: str) -> None:
    draw = random.Random(dn)
    alarms = sum(alarm(draw, dn, source, gauged=number % 2 == 0) for number in range(FLAWLESS))
    assert alarms <= MOST_ALARMS


def test_the_wrong_entry_is_among_the_first_three_and_probabilities_are_calibrated() -> None:
    found = surveys(random.Random(3), 120, (*SINGLE, TWO))
    score = simulate(found)
    assert score.brier <= 0.12
    # See the table of the module: 0.74 of the errors that are noticed, 0.84 with perfect knowledge of the simulated errors.
    assert score.in_three >= 0.65


def test_the_forward_model_agrees_with_the_service_on_a_flawless_survey() -> None:
    from compute.results.entry_errors import transit_time_of
    from tests.coverage.diagnosis import as_entered, transit_time

    draw = random.Random(4)
    compared = 0
    for _ in range(30):
        case = flawless(draw).case
        try:
            expected = transit_time(as_entered(case))
        except (ValueError, ComputeError):
            continue
        assert transit_time_of(case) == pytest.approx(expected, rel=1e-12)
        assert sound_speed_test_of_case(replace(case, transit_time=expected)).consistent
        compared += 1
    assert compared > 15
