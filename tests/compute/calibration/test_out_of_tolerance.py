"""What an instrument found out of tolerance does to earlier results."""

from __future__ import annotations

from datetime import date
from math import hypot

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.calibration.decision_rules import Conformity
from compute.calibration.error_correction import Zero
from compute.calibration.out_of_tolerance import (
    DatedVerdict,
    affected_period,
    input_effect,
    velocity_effect,
    zero_effect,
)
from compute.calibration.points import ErrorCurve, Point, error_curve
from compute.measuring.profile import profile_factor

# The first example may load the unit table or scipy.
UNTIMED = settings(deadline=None)


def flat(error: float, expanded: float = 0.0, form: str = "relative") -> ErrorCurve:
    """The same error from 0.5 to 5 (m/s or mm)."""
    points = [
        Point(
            at,
            at * (1 + error) if form == "relative" else at + error,
            expanded * (at if form == "relative" else 1),
            2.0,
        )
        for at in (0.5, 5.0)
    ]
    return error_curve(points, form, "speed")  # type: ignore[arg-type]


def test_a_meter_found_reading_high_made_the_flows_too_high_by_as_much() -> None:
    # Corrected for +1 %, found at +3 %: what was shown as 1.01 v is 1.01/1.03 v.
    effect = velocity_effect(2.0, flat(0.01, 0.004), flat(0.03, 0.006))
    assert effect.relative_change == pytest.approx(1.01 / 1.03 - 1)
    assert effect.standard_uncertainty == pytest.approx(hypot(0.002, 0.003 * 1.01 / 1.03), rel=1e-9)
    assert effect.findings == ()
    flow, uncertainty = effect.of(-0.05)
    assert flow == pytest.approx(-0.05 * 1.01 / 1.03)
    assert uncertainty == pytest.approx(0.05 * effect.standard_uncertainty)


def test_a_result_that_was_never_corrected_takes_the_whole_error() -> None:
    assert velocity_effect(-2.0, None, flat(0.03)).relative_change == pytest.approx(1 / 1.03 - 1)


@UNTIMED
@given(st.floats(0.1, 8.0), st.floats(-0.05, 0.05))
def test_a_curve_found_as_it_was_applied_changes_nothing(velocity: float, error: float) -> None:
    curve = flat(error, 0.01)
    assert velocity_effect(velocity, curve, curve).relative_change == pytest.approx(0.0, abs=1e-12)


def test_a_velocity_outside_the_found_points_is_told() -> None:
    assert [finding.code for finding in velocity_effect(0.1, None, flat(0.03)).findings] == [
        "outside-calibrated-range"
    ]


def test_the_profile_factor_hardly_moves_with_a_velocity_off_by_one_per_cent() -> None:
    # The claim by which the profile factor is left out, held against the profile itself.
    for reynolds in (4000.0, 1e5, 1e7):
        before, after = profile_factor(reynolds, 1e-4), profile_factor(reynolds * 1.01, 1e-4)
        assert abs(after / before - 1) < 2e-4


def test_a_gauge_found_off_moves_the_flow_by_its_sensitivity() -> None:
    # Wall 4.00 with no correction, found 0.05 too thick: 3.95. Sensitivity -0.002 m3/s a unit of a flow of 0.01 m3/s: +1 %.
    effect = input_effect(4.0, None, flat(0.05, 0.02, "absolute"), 0.01, -0.002)
    assert effect.relative_change == pytest.approx(0.01)
    assert effect.standard_uncertainty == pytest.approx(0.01 * 0.2)


def test_a_zero_found_on_a_meter_adds_to_every_time_difference() -> None:
    # 20 ns with 1 ns already taken off; found at 3 ns: 2 ns more, 10 %.
    effect = zero_effect(20e-9, Zero(1e-9, 0.3e-9), Zero(3e-9, 0.4e-9))
    assert effect.relative_change == pytest.approx(-0.1)
    assert effect.standard_uncertainty == pytest.approx(0.025)
    assert zero_effect(-20e-9, None, Zero(3e-9, 0.4e-9)).relative_change == pytest.approx(0.15)


def history(*rows: tuple[int, Conformity | None, Conformity | None]) -> list[DatedVerdict]:
    return [DatedVerdict(date(year, 3, 1), found, left) for year, found, left in rows]


@pytest.mark.parametrize(
    ("rows", "after"),
    [
        ([(2023, "pass", None), (2024, "pass", None), (2025, "fail", "pass")], 2024),
        ([(2023, "pass", None), (2024, "fail", "pass"), (2025, "conditional-fail", "pass")], 2024),
        ([(2023, "pass", None), (2024, "fail", "fail"), (2025, "fail", "pass")], 2023),
        ([(2023, "pass", None), (2024, "fail", None), (2025, "fail", "pass")], 2023),
        ([(2023, None, "pass"), (2025, "fail", "pass")], 2023),
        ([(2023, None, None), (2025, "fail", "pass")], None),
        ([(2025, "fail", "pass")], None),
    ],
)
def test_results_are_in_doubt_since_the_meter_was_last_left_within_its_limits(
    rows: list[tuple[int, Conformity | None, Conformity | None]], after: int | None
) -> None:
    for order in (rows, rows[::-1]):
        found = affected_period(history(*order))
        assert found is not None
        assert found.until == date(2025, 3, 1)
        assert found.after == (date(after, 3, 1) if after else None)


@pytest.mark.parametrize("found", ["pass", "conditional-pass", None])
def test_a_meter_found_within_its_limits_casts_no_doubt(found: Conformity | None) -> None:
    assert affected_period(history((2024, "fail", "pass"), (2025, found, "pass"))) is None


def test_what_cannot_be_told_is_refused() -> None:
    with pytest.raises(NotEnough):
        affected_period([])
    with pytest.raises(OutOfRange):
        affected_period(history((2025, "pass", None), (2025, "fail", None)))
    with pytest.raises(OutOfRange):
        velocity_effect(0.0, None, flat(0.01))
    with pytest.raises(OutOfRange):
        zero_effect(0.0, None, Zero(0.0, 0.0))
    with pytest.raises(NumberInvalid):
        input_effect(4.0, None, flat(0.01), 0.01, float("nan"))
    with pytest.raises(OutOfRange):
        input_effect(4.0, None, flat(0.01), 0.0, 1.0)
