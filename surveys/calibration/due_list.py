"""Due list of calibrations: rows, statuses and hours of use.

"Today" is the date in the office's time zone (setting OFFICE_TIME_ZONE) for every user: a due date is the last day
a calibration is valid, so that day is in calibration and the next is overdue. Hours of use are the durations of surveys made with an
instrument since its calibration: recorded start to end, or else the span of the log.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import FloatField, Func, TextField
from django.db.models.functions import Cast, Coalesce

from compute.calibration.due_dates import Due, Interval, add_months, due_date
from surveys.calibration.policies import policy_closest
from surveys.core.errors import ServiceError
from surveys.models import Calibration, Instrument, IntervalPolicy, SurveyData
from surveys.models.calibration import REMIND_DAYS
from surveys.models.instrument import State
from surveys.pipes.selectors import Viewer

Status = Literal["overdue", "never-calibrated", "quarantined", "due", "due-soon", "in-calibration"]
STATUSES: tuple[Status, ...] = (
    "overdue",
    "never-calibrated",
    "quarantined",
    "due",
    "due-soon",
    "in-calibration",
)
"""In the order they are listed; `due` is within the shortest reminder of the policy, `due-soon` within the longest."""
WITHIN = re.compile(r"([0-9]{1,4})([dwm])", re.ASCII)
MAX_WITHIN_DAYS = 3660
Use = list[tuple[date, float]]


@dataclass(frozen=True, slots=True)
class DueRow:
    """An instrument in the due list. `days_left` is below 0 if overdue; hours are None where they are not counted."""

    instrument: Instrument
    calibration: Calibration | None
    due_on: date | None
    due_reason: str | None
    days_left: int | None
    status: Status
    hours_used: float
    hours_left: float | None
    usage_limit_on: date | None
    remind_days: tuple[int, ...]

    @property
    def threshold(self) -> int | None:
        """The shortest reminder threshold reached, -1 if overdue; None before the first."""
        if self.days_left is None:
            return None
        if self.days_left < 0:
            return -1
        return min((days for days in self.remind_days if self.days_left <= days), default=None)


def office_today(now: datetime) -> date:
    """Return the date at a time in the office's time zone."""
    return now.astimezone(ZoneInfo(settings.OFFICE_TIME_ZONE)).date()


def within_until(text: str, today: date) -> date:
    """Return the last day of a period such as 60d, 8w or 3m from today. Raises ServiceError for other text."""
    match = WITHIN.fullmatch(text)
    count = int(match[1]) if match else 0
    unit = match[2] if match else "d"
    days = {"d": count, "w": count * 7, "m": count * 31}[unit]
    if not match or days > MAX_WITHIN_DAYS:
        raise ServiceError("within-invalid", field="within", text=text[:20])
    return add_months(today, count) if unit == "m" else today + timedelta(days=days)


def due_list(viewer: Viewer, today: date, until: date | None = None) -> list[DueRow]:
    """Return every instrument visible to the viewer that is not retired, the most urgent first.

    With `until`, of those in calibration only those due by that day. The number of queries is constant.
    """
    instruments = list(
        Instrument.objects.visible_to(viewer).exclude(state=State.RETIRED).select_related("holder")
    )
    rows = due_rows(instruments, today)
    wanted = [row for row in rows if until is None or _pressing(row, until)]
    return sorted(wanted, key=_order)


def due_rows(instruments: list[Instrument], today: date) -> list[DueRow]:
    """Return the rows of those instruments, in their order, in a constant number of queries."""
    policies = list(IntervalPolicy.objects.all())
    latest = _latest_calibrations(instruments, today)
    used = _use({pk: one.calibrated_on for pk, one in latest.items()})
    return [_row(one, latest.get(one.pk), policies, used.get(one.pk, []), today) for one in instruments]


def counts_of(rows: Iterable[DueRow]) -> dict[str, int]:
    """Return the number of rows of every status."""
    found = Counter(row.status for row in rows)
    return {status: found[status] for status in STATUSES}


GROUPS = ("overdue", "30", "60", "90", "later", "never-calibrated", "quarantined")


def due_groups(rows: Iterable[DueRow]) -> dict[str, list[DueRow]]:
    """Return the rows by status: overdue, due within 30, 60 and 90 days, later, never calibrated, quarantined."""
    groups: dict[str, list[DueRow]] = {name: [] for name in GROUPS}
    for row in rows:
        if row.status in ("overdue", "never-calibrated", "quarantined"):
            groups[row.status].append(row)
        else:
            left = row.days_left or 0
            groups[next((str(days) for days in REMIND_DAYS if left <= days), "later")].append(row)
    return groups


def _order(row: DueRow) -> tuple[int, date, str, str]:
    return STATUSES.index(row.status), row.due_on or date.max, row.instrument.serial, str(row.instrument.pk)


def _pressing(row: DueRow, until: date) -> bool:
    return row.due_on is None or row.due_on <= until or row.status == "quarantined"


def _latest_calibrations(instruments: list[Instrument], today: date) -> dict[UUID, Calibration]:
    """Return the calibration in force of each instrument, without corrected or future ones."""
    recorded = Calibration.objects.filter(corrected_by__isnull=True, calibrated_on__lte=today)
    known = {one.pk for one in instruments}
    found: dict[UUID, Calibration] = {}
    for one in recorded.order_by("calibrated_on", "recorded_at"):
        if one.instrument_id in known:
            found[one.instrument_id] = one
    return found


def hours_of_use(instrument: Instrument, since: date) -> Use:
    """Return the hours of use of an instrument on each day from a day on, from its surveys."""
    return _use({instrument.pk: since}).get(instrument.pk, [])


class Seconds(Func):
    """A time as seconds since 1970 UTC, to a millisecond: numbers are read many times faster than times where the database has no time type."""

    output_field = FloatField()

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        seconds = "(julianday(%(expressions)s) - 2440587.5) * 86400"
        return self.as_sql(compiler, connection, template=seconds, **context)

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        seconds = "extract(epoch FROM %(expressions)s)::float8"
        return self.as_sql(compiler, connection, template=seconds, **context)


def _use(since: Mapping[UUID, date]) -> dict[UUID, Use]:
    """Return the hours of use on each day from a day on, by instrument."""
    if not since:
        return {}
    through: Any = SurveyData.instruments.through
    # Times are compared as stored; the day is calculated only for the remaining rows.
    first = datetime.combine(min(since.values()) - timedelta(days=1), time(0), UTC)
    rows = through.objects.filter(surveydata__replaced_at__isnull=True, surveydata__started_at__gte=first)
    if len(since) == 1:
        rows = rows.filter(instrument__in=since)
    rows = rows.values_list(
        Cast("instrument_id", TextField()),
        Seconds(Coalesce("surveydata__ended_at", "surveydata__survey__log__last_reading_at")),
        Seconds("surveydata__ended_at"),
        Seconds("surveydata__started_at"),
        Seconds("surveydata__survey__log__first_reading_at"),
    )
    zone = ZoneInfo(settings.OFFICE_TIME_ZONE)
    used: defaultdict[UUID, Use] = defaultdict(list)
    # Many rows of few instruments: the data of each instrument are looked up once.
    requested: dict[str, tuple[date, Use] | None] = {}
    for name, end, stated_end, started, first_reading in rows:
        if name not in requested:
            instrument = UUID(name)
            requested[name] = (since[instrument], used[instrument]) if instrument in since else None
        one = requested[name]
        if one is None or end is None:
            continue
        start = started if stated_end is not None else first_reading
        day = datetime.fromtimestamp(round(started, 3), zone).date()
        if day >= one[0]:
            one[1].append((day, max(round(end - start, 3), 0.0) / 3600))
    return dict(used)


def _row(
    instrument: Instrument,
    calibration: Calibration | None,
    policies: list[IntervalPolicy],
    used: Use,
    today: date,
) -> DueRow:
    policy = policy_closest(policies, instrument)
    hours = sum(count for _, count in used)
    remind = tuple(sorted(policy.remind_days if policy else REMIND_DAYS))
    if calibration is None:
        status: Status = "quarantined" if instrument.state == State.QUARANTINED else "never-calibrated"
        return DueRow(instrument, None, None, None, None, status, hours, None, None, remind)
    due = _due(calibration, _hours_allowed(calibration, instrument, policies), used)
    left = (due.on - today).days
    due_reason = due.due_reason if due.due_reason == "hours" else "date"
    return DueRow(
        instrument, calibration, due.on, due_reason, left, _status(instrument, left, remind), hours,
        due.hours_left, due.usage_limit_on, remind,
    )  # fmt: skip


def _hours_allowed(
    calibration: Calibration, instrument: Instrument, policies: list[IntervalPolicy]
) -> float | None:
    """Return the hours of use a calibration is valid for: by the policy at its recording, or today's if that is stricter.

    A less strict policy applies from the next certificate: a review does not extend a calibration in force.
    """
    then = [policy for policy in policies if policy.recorded_at <= calibration.recorded_at]
    both = (policy_closest(then, instrument), policy_closest(policies, instrument))
    return min((policy.hours for policy in both if policy and policy.hours is not None), default=None)


def _due(calibration: Calibration, hours: float | None, used: Use) -> Due:
    """Return the due date of the record, or the day of the usage limit if that is earlier."""
    days = (calibration.due_on - calibration.calibrated_on).days
    if hours is None:
        return Due(calibration.due_on, "days")
    return due_date(calibration.calibrated_on, Interval(days=min(days, 37_200), hours=hours), used)


def _status(instrument: Instrument, days_left: int, remind: tuple[int, ...]) -> Status:
    if instrument.state == State.QUARANTINED:
        return "quarantined"
    if days_left < 0:
        return "overdue"
    if days_left <= remind[0]:
        return "due"
    return "due-soon" if days_left <= remind[-1] else "in-calibration"
