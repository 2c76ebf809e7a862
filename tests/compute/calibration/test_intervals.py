"""Proposed calibration intervals: staircase, control chart, hours of use, reliability."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from compute.base.errors import NotEnough, OutOfRange
from compute.calibration.control_chart import Calibrated, control_chart, drift_of
from compute.calibration.intervals import AsFoundResult, Bounds, Proposal, Steps, in_use, proposal, staircase
from compute.calibration.reliability import Observed, interval_for_target, reliability_interval

DAYS = Bounds(90.0, 1095.0)
HOURS = Bounds(100.0, 5000.0, "hours")
# One point of a meter, yearly: about +0.1 % a year with some scatter.
YEARLY = [
    Calibrated(at, error, None, 0.0005)
    for at, error in ((0.0, 0.0), (365.0, 0.0012), (730.0, 0.0018), (1095.0, 0.0031), (1460.0, 0.0039))
]


def codes(found: Proposal) -> list[str]:
    return [finding.code for finding in found.findings]


@given(st.lists(st.floats(0.0, 3.0), min_size=1, max_size=8), st.floats(1.0, 5000.0))
def test_the_staircase_stays_within_policy_and_steps_the_right_way(
    shares: list[float], current: float
) -> None:
    found = staircase([AsFoundResult(float(i), share) for i, share in enumerate(shares)], current, DAYS)
    assert DAYS.shortest <= found.interval <= DAYS.longest
    assert found.days is not None
    assert DAYS.shortest <= found.days <= DAYS.longest
    assert (found.unbounded != found.interval) == ("interval-at-bound" in codes(found))
    assert found.unbounded is not None
    if shares[-1] > 1:
        assert found.unbounded < current
    else:
        assert found.unbounded >= current


def test_the_staircase_gives_its_values_and_draws_its_limits() -> None:
    found = staircase([AsFoundResult(0.0, 0.5), AsFoundResult(365.0, 0.92)], 365.0, DAYS)
    assert found.days == 365
    assert found.reasoning[0].parameters == {"fraction": 0.92}
    assert found.chart.point_y == (0.5, 0.92)
    assert found.chart.limits == (0.8, 1.0)
    own = staircase([AsFoundResult(0.0, 0.92)], 365.0, DAYS, Steps(comfortable=0.95, lengthen=2.0))
    assert own.days == 730


def test_the_time_to_the_limit_by_hand() -> None:
    # Line, scatter and Student's factor (3 degrees of freedom: 3.1824, GUM table G.2) written out with scipy's regression.
    at = np.array([c.at for c in YEARLY])
    line = stats.linregress(at, [c.found for c in YEARLY])
    residual = np.array([c.found for c in YEARLY]) - line.intercept - line.slope * at
    s2 = residual @ residual / 3

    def reach(ahead: float) -> float:
        x = 1460 + ahead
        spread = s2 * (1 + 1 / 5 + (x - at.mean()) ** 2 / np.sum((at - at.mean()) ** 2))
        return float(
            line.intercept + line.slope * x + math.hypot(3.18245 * math.sqrt(spread), 1.95996 * 0.0005)
        )

    found = control_chart(YEARLY, 0.007, DAYS, "number")
    assert found.unbounded is not None
    assert reach(found.unbounded) == pytest.approx(0.007, rel=1e-5)
    assert found.unbounded == found.interval
    assert found.findings == ()


@given(st.integers(3, 9), st.floats(1e-9, 1e-6), st.floats(0.05, 1.0))
def test_no_drift_and_little_scatter_give_the_maximum_interval(n: int, scatter: float, limit: float) -> None:
    history = [Calibrated(365.0 * i, scatter * (-1) ** i, None, scatter) for i in range(n)]
    found = control_chart(history, limit, DAYS, "number")
    assert found.interval == DAYS.longest
    assert found.unbounded is None
    assert "interval-at-bound" in codes(found)


@given(st.floats(0.002, 0.05), st.floats(1.0, 3.0))
def test_a_wider_limit_never_shortens_the_interval(limit: float, wider: float) -> None:
    narrow, wide = (control_chart(YEARLY, size, DAYS, "number") for size in (limit, limit * wider))
    assert narrow.interval <= wide.interval


@given(st.sampled_from([1e-3, 25.4, 1e6]), st.floats(0.004, 0.02))
def test_a_control_chart_does_not_hang_on_the_unit(unit: float, limit: float) -> None:
    other = [replace(c, found=c.found * unit, standard_uncertainty=0.0005 * unit) for c in YEARLY]
    scene, there = (
        control_chart(history, size, DAYS, "number")
        for history, size in ((YEARLY, limit), (other, limit * unit))
    )
    assert there.interval == pytest.approx(scene.interval, rel=1e-6)


def test_a_drift_the_other_way_gives_the_same_interval() -> None:
    mirrored = [replace(c, found=-c.found) for c in YEARLY]
    scene, there = (control_chart(history, 0.007, DAYS, "number") for history in (YEARLY, mirrored))
    assert there.interval == pytest.approx(scene.interval, rel=1e-9)


def test_adjustments_are_undone_before_the_drift_is_looked_at() -> None:
    # 0.1 a year throughout; adjusted to 0 after two years, so found at 0.1 a year later.
    history = [
        Calibrated(0.0, 0.0, None, 0.01),
        Calibrated(365.0, 0.1, None, 0.01),
        Calibrated(730.0, 0.2, 0.0, 0.01),
        Calibrated(1095.0, 0.1, None, 0.01),
    ]
    drift = drift_of(history)
    assert drift.line.slope == pytest.approx(0.1 / 365)
    assert drift.line.scatter == pytest.approx(0.0, abs=1e-12)
    assert float(drift.predicted(0.0)) == pytest.approx(0.1)
    assert float(drift.predicted(365.0)) == pytest.approx(0.2)
    # 0.5 less 1.96 x 0.01 is reached (0.4804 - 0.1)/0.1 years on.
    found = control_chart(history, 0.5, Bounds(90.0, 5000.0), "number")
    assert found.interval == pytest.approx(365 * (0.5 - 1.959964 * 0.01 - 0.1) / 0.1, rel=1e-5)
    assert found.chart.point_y == pytest.approx((-0.2, -0.1, 0.0, 0.1))
    assert codes(found) == ["interval-few-calibrations"]


def test_an_error_at_its_limit_right_after_calibration_is_reported() -> None:
    found = control_chart(YEARLY, 0.004, DAYS, "number")
    assert found.interval == DAYS.shortest
    assert "interval-error-at-limit" in codes(found)


def test_too_few_calibrations_give_no_chart() -> None:
    with pytest.raises(NotEnough, match="not-enough-data/control-chart"):
        control_chart(YEARLY[:2], 0.01, DAYS, "number")
    with pytest.raises(NotEnough):
        staircase([], 365.0, DAYS)
    with pytest.raises(NotEnough, match="not-enough-data/as-found-results"):
        reliability_interval(Observed(4, 4), 365.0, 0.9, DAYS)


def test_hours_of_use_come_with_a_calendar_backstop() -> None:
    by_hours = staircase([AsFoundResult(0.0, 0.2), AsFoundResult(800.0, 0.4)], 800.0, HOURS)
    assert (by_hours.hours, by_hours.days) == (1000.0, None)
    busy = in_use(by_hours, 4.0, DAYS)
    assert (busy.method, busy.hours, busy.days) == ("in-use-time", 1000.0, 1095)
    assert busy.reasoning[-1].parameters["days"] == 250
    idle = in_use(by_hours, 0.0, DAYS)
    assert idle.reasoning[-1].parameters == {"hours": 0.0, "days": None, "backstop": 1095}
    hard = in_use(by_hours, 20.0, DAYS)
    assert "interval-hours-soon" in codes(hard)


def test_hours_and_days_are_not_mixed_up() -> None:
    by_days = staircase([AsFoundResult(0.0, 0.2)], 365.0, DAYS)
    by_hours = staircase([AsFoundResult(0.0, 0.2)], 365.0, HOURS)
    for call in (
        lambda: in_use(by_days, 4.0, DAYS),
        lambda: in_use(by_hours, 4.0, HOURS),
        lambda: in_use(by_hours, 25.0, DAYS),
    ):
        with pytest.raises(OutOfRange):
            call()


def test_none_out_of_tolerance_never_shortens_and_lengthens_with_numbers() -> None:
    few, many = (reliability_interval(Observed(n, n), 365.0, 0.9, DAYS) for n in (5, 14))
    # 0.5^(1/5) = 0.871 is below 0.9: kept. 0.5^(1/14) = 0.9517: 365 ln 0.9/ln 0.9517 = 365 x 14 x 0.10536/0.69315 = 776.8.
    assert few.days == 365
    assert many.interval == pytest.approx(365 * 14 * math.log(0.9) / math.log(0.5))


def test_all_out_of_tolerance_gives_the_minimum_interval_with_a_reason() -> None:
    found = reliability_interval(Observed(0, 6), 365.0, 0.9, DAYS)
    assert found.interval == DAYS.shortest
    assert codes(found) == ["interval-at-bound", "reliability-none-in-tolerance"] or codes(found) == [
        "reliability-none-in-tolerance",
        "interval-at-bound",
    ]


def test_a_reliability_near_its_target_is_reported() -> None:
    assert "reliability-near-target" in codes(reliability_interval(Observed(17, 20), 365.0, 0.9, DAYS))
    assert "reliability-near-target" not in codes(reliability_interval(Observed(70, 100), 365.0, 0.9, DAYS))


@given(st.floats(0.01, 0.99), st.floats(0.01, 0.99), st.floats(1.0, 1000.0))
def test_after_the_new_interval_the_target_is_left(observed: float, target: float, interval: float) -> None:
    # Exponential decay: share^(new/old) = target.
    assert observed ** (interval_for_target(interval, observed, target) / interval) == pytest.approx(target)


def test_charts_have_arrays_as_long_as_their_axis() -> None:
    found = [
        control_chart(YEARLY, 0.007, DAYS, "number"),
        reliability_interval(Observed(17, 20), 365.0, 0.9, DAYS),
    ]
    for chart in (one.chart for one in found):
        assert len(chart.line_x) == len(chart.line_y) == len(chart.band_low) == len(chart.band_high) > 2
        assert len(chart.point_x) == len(chart.point_y)
        assert all(
            low <= mid <= high
            for low, mid, high in zip(chart.band_low, chart.line_y, chart.band_high, strict=True)
        )


@pytest.mark.parametrize(
    "call",
    [
        lambda: Bounds(0.0, 10.0),
        lambda: Bounds(20.0, 10.0),
        lambda: Steps(comfortable=1.5),
        lambda: Steps(shorten=0.0),
        lambda: Observed(5, 4),
        lambda: staircase([AsFoundResult(1.0, 0.1), AsFoundResult(1.0, 0.2)], 365.0, DAYS),
        lambda: staircase([AsFoundResult(1.0, -0.1)], 365.0, DAYS),
        lambda: staircase([AsFoundResult(1.0, 0.1)], 0.0, DAYS),
        lambda: control_chart(YEARLY[::-1], 0.01, DAYS, "number"),
        lambda: control_chart(YEARLY, 0.0, DAYS, "number"),
        lambda: interval_for_target(365.0, 0.5, 1.0),
        lambda: interval_for_target(365.0, 1.5, 0.9),
    ],
)
def test_impossible_values_are_rejected(call: object) -> None:
    with pytest.raises(OutOfRange):
        call()  # type: ignore[operator]


def test_a_proposed_interval_is_truncated_to_whole_days_without_rounding_errors() -> None:
    chart = staircase([AsFoundResult(0.0, 0.1)], 100.0, DAYS).chart
    for unbounded, days in ((100.9, 100), (449.99999999999994, 450)):
        assert proposal("staircase", unbounded, DAYS, reasoning=[], inputs=[], chart=chart).days == days
