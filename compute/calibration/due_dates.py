"""Calibration due dates: an interval in calendar months, days or hours of use, whichever ends first."""

from __future__ import annotations

import math
from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import day as day_of
from compute.base.messages import field_name

MAX_MONTHS = 1200


@dataclass(frozen=True, slots=True)
class Interval:
    """Validity of a calibration; the first limit reached applies. Hours of use require months or days as well."""

    months: int | None = None
    days: int | None = None
    hours: float | None = None

    def __post_init__(self) -> None:
        if self.months is None and self.days is None:
            raise NotEnough(field="months", variant="interval-without-calendar")
        for name, value in (("months", self.months), ("days", self.days), ("hours", self.hours)):
            if value is not None and not 0 < value < math.inf:
                raise OutOfRange(field=name, quantity=field_name(f"interval.{name}"), above=0)
        if (self.months or 0) > MAX_MONTHS or (self.days or 0) > MAX_MONTHS * 31:
            raise OutOfRange(
                field="days" if self.months is None else "months",
                variant="interval-too-long",
                max_years=MAX_MONTHS // 12,
            )


@dataclass(frozen=True, slots=True)
class Due:
    """Last day of validity of a calibration, the limit that sets it, and the remaining hours of use.

    `usage_limit_on` is a forecast at the mean use so far; None without hours in the interval, without use, or where the
    calendar comes first.
    """

    on: date
    due_reason: Literal["months", "days", "hours"]
    hours_left: float | None = None
    usage_limit_on: date | None = None


def add_months(day: date, months: int) -> date:
    """Return the same day of a later month, or the last day of a shorter month.

    29 February plus 12 months gives 28 February; 31 August plus 6 months gives the last of February. Repeated addition does not
    return to the 31st: always add to the date of the calibration itself.

    Parameters
    ----------
    day : date
    months : int  0 or more

    Returns
    -------
    later : date

    Raises
    ------
    OutOfRange  months below 0, or a year past 9999

    Source
    ------
    default : the end of the shorter month, common practice.
    """
    if months < 0:
        raise OutOfRange(field="months", quantity=field_name("interval.months"), value=months, at_least=0)
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if year > date.max.year:
        raise OutOfRange(field="months", variant="months-past-calendar", count=months, start=day_of(day))
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def due_date(calibrated_on: date, interval: Interval, hours_used: Sequence[tuple[date, float]] = ()) -> Due:
    """Return the last day a calibration is valid.

    Where months and days end on one day, months are named. The usage limit is the first day at whose end the sum reaches the
    interval's hours.

    Parameters
    ----------
    calibrated_on : date
    interval : Interval
    hours_used : sequence of (date, float [h])  hours of use on each day, in any order; those before the calibration do not count

    Returns
    -------
    due : Due

    Raises
    ------
    OutOfRange  hours of use below 0, or a date past the calendar

    Source
    ------
    ILAC-G24:2022 6.4 (use counted, with a calendar backstop), from memory.
    """
    months = add_months(calibrated_on, interval.months) if interval.months is not None else date.max
    days = _plus_days(calibrated_on, interval.days) if interval.days is not None else date.max
    calendar = Due(min(months, days), "months" if months <= days else "days")
    if interval.hours is None:
        return calendar
    used = _sums(calibrated_on, hours_used)
    total = used[-1][1] if used else 0.0
    left = max(interval.hours - total, 0.0)
    for day, so_far in used:
        if so_far >= interval.hours:
            if day < calendar.on:
                return Due(day, "hours", 0.0, day)
            return Due(calendar.on, calendar.due_reason, left)
    forecast = _forecast(calibrated_on, used, left)
    return Due(
        calendar.on, calendar.due_reason, left, forecast if forecast and forecast < calendar.on else None
    )


def _plus_days(day: date, days: int) -> date:
    if days > (date.max - day).days:
        raise OutOfRange(field="days", variant="days-past-calendar", count=days, start=day_of(day))
    return day + timedelta(days=days)


def _sums(start: date, hours_used: Sequence[tuple[date, float]]) -> list[tuple[date, float]]:
    """Return the hours since the calibration at the end of each day of use."""
    total, sums = 0.0, []
    for day, hours in sorted(hours_used):
        if not 0 <= hours < math.inf:
            raise OutOfRange(field="hours_used", value=hours, at_least=0)
        if day >= start:
            total += hours
            sums.append((day, total))
    return sums


def _forecast(start: date, used: list[tuple[date, float]], left: float) -> date | None:
    if not used or used[-1][1] == 0:
        return None
    last, total = used[-1]
    ahead = left / total * ((last - start).days + 1)
    if ahead > (date.max - start).days:  # almost unused: the limit is never reached
        return None
    days = math.ceil(ahead)
    return last + timedelta(days=days) if days <= (date.max - last).days else None
