"""Due dates: month ends, leap days, hours of use."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from compute.base.errors import NotEnough, OutOfRange
from compute.calibration.due_dates import Due, Interval, add_months, due_date

START = date(2026, 1, 10)


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 2, 29), 48, date(2028, 2, 29)),
        (date(2025, 2, 28), 12, date(2026, 2, 28)),
        (date(2025, 8, 31), 6, date(2026, 2, 28)),
        (date(2023, 8, 31), 6, date(2024, 2, 29)),
        (date(2026, 12, 15), 1, date(2027, 1, 15)),
        (date(2026, 11, 30), 13, date(2027, 12, 30)),
    ],
)
def test_months_by_the_calendar(day: date, months: int, later: date) -> None:
    assert add_months(day, months) == later


@given(st.dates(date(1950, 1, 1), date(2100, 12, 31)), st.integers(0, 600))
def test_months_are_added_as_a_second_program_does(day: date, months: int) -> None:
    # dateutil's relativedelta, which too takes the last day of a shorter month.
    assert add_months(day, months) == day + relativedelta(months=months)


def test_the_first_of_months_and_days_to_end_counts() -> None:
    assert due_date(START, Interval(months=12)) == Due(date(2027, 1, 10), "months")
    assert due_date(START, Interval(months=12, days=300)) == Due(START + timedelta(days=300), "days")
    assert due_date(START, Interval(months=12, days=365)) == Due(date(2027, 1, 10), "months")


def test_hours_that_have_run_out_end_it_on_that_day() -> None:
    used = [
        (date(2026, 3, 1), 60.0),
        (date(2026, 1, 5), 500.0),
        (date(2026, 2, 1), 40.0),
        (date(2026, 4, 1), 9.0),
    ]
    due = due_date(START, Interval(months=12, hours=100.0), used)
    assert due == Due(date(2026, 3, 1), "hours", 0.0, date(2026, 3, 1))


def test_hours_that_last_leave_the_calendar_and_a_forecast() -> None:
    # 50 h in the 50 days to 28 February; 50 h left last another 50 days, to 19 April.
    due = due_date(START, Interval(months=12, hours=100.0), [(date(2026, 2, 28), 50.0)])
    assert due == Due(date(2027, 1, 10), "months", 50.0, date(2026, 4, 19))
    slow = due_date(START, Interval(months=12, hours=100.0), [(date(2026, 2, 28), 5.0)])
    assert slow == Due(date(2027, 1, 10), "months", 95.0, None)
    unused = due_date(START, Interval(months=12, hours=100.0))
    assert unused == Due(date(2027, 1, 10), "months", 100.0, None)


def test_hours_that_run_out_after_the_calendar_leave_it_as_it_is() -> None:
    due = due_date(START, Interval(days=10, hours=1.0), [(date(2026, 3, 1), 2.0)])
    assert (due.on, due.due_reason) == (date(2026, 1, 20), "days")


@given(st.integers(1, 60), st.integers(1, 2000), st.lists(st.floats(0, 24), max_size=30))
def test_more_limits_never_give_a_later_due_date(months: int, days: int, hours: list[float]) -> None:
    used = [(START + timedelta(days=day), spent) for day, spent in enumerate(hours)]
    all_three = due_date(START, Interval(months, days, 100.0), used).on
    assert all_three <= due_date(START, Interval(months=months)).on
    assert all_three <= due_date(START, Interval(days=days)).on


@pytest.mark.parametrize(
    ("months", "days", "hours", "error"),
    [
        (None, None, 100.0, NotEnough),
        (0, None, None, OutOfRange),
        (None, -3, None, OutOfRange),
        (12, None, float("inf"), OutOfRange),
        (99_999, None, None, OutOfRange),
    ],
)
def test_impossible_intervals_are_rejected(
    months: int | None, days: int | None, hours: float | None, error: type[Exception]
) -> None:
    with pytest.raises(error):
        Interval(months, days, hours)


def test_dates_past_the_calendar_and_negative_use_are_rejected() -> None:
    with pytest.raises(OutOfRange):
        due_date(date(9999, 6, 1), Interval(months=12))
    with pytest.raises(OutOfRange):
        due_date(date(9999, 6, 1), Interval(days=365))
    with pytest.raises(OutOfRange):
        due_date(START, Interval(months=12, hours=10.0), [(START, -1.0)])
    with pytest.raises(OutOfRange):
        add_months(START, -1)


def test_a_rarely_used_instrument_does_not_reach_its_usage_limit() -> None:
    due = due_date(START, Interval(12, None, 100.0), [(START, 1.1e-308)])
    assert (due.due_reason, due.usage_limit_on) == ("months", None)
