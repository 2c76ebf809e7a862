"""A week of the office's calendar, and who or what is at work on which of its days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings

from surveys.models import Booking, Job

DAYS = 7
# Beyond these the weeks before and after, or their first moments, would be no dates.
FIRST_YEAR, LAST_YEAR = 1970, 9000


@dataclass(frozen=True, slots=True)
class Week:
    """From a Monday on."""

    monday: date

    @classmethod
    def of(cls, day: date) -> Week:
        """The week of a day."""
        return cls(day - timedelta(days=day.weekday()))

    @classmethod
    def named(cls, name: str) -> Week | None:
        """The week of a name as ISO 8601 has it, such as 2026-W48; None if there is none."""
        try:
            found = cls(datetime.strptime(f"{name}-1", "%G-W%V-%u").date())  # noqa: DTZ007 - a date, no time
        except ValueError:
            return None
        # Week 53 of a year that has none is read as one of the next.
        return found if found.name == name and FIRST_YEAR <= found.monday.year <= LAST_YEAR else None

    @property
    def name(self) -> str:
        """Such as 2026-W48."""
        return f"{self.monday:%G-W%V}"

    @property
    def days(self) -> list[date]:
        """Monday to Sunday."""
        return [self.monday + timedelta(days=n) for n in range(DAYS)]

    @property
    def next(self) -> Week:
        """The week after."""
        return Week(self.monday + timedelta(days=DAYS))

    @property
    def before(self) -> Week:
        """The week before."""
        return Week(self.monday - timedelta(days=DAYS))

    @property
    def span(self) -> tuple[datetime, datetime]:
        """From its first moment up to that of the next."""
        return _midnight(self.monday), _midnight(self.next.monday)


@dataclass(frozen=True, slots=True)
class Stay:
    """Somebody or something at a job for a while."""

    job: Job
    starts_at: datetime
    ends_at: datetime

    def on(self, day: date) -> bool:
        """Whether it has a moment on a day of the office's calendar."""
        return self.starts_at < _midnight(day + timedelta(days=1)) and self.ends_at > _midnight(day)


def stays(jobs: Iterable[Job], bookings: Iterable[Booking]) -> dict[UUID, list[Stay]]:
    """Technician or instrument id -> their stays: by booking, or for a job they are named in without one."""
    found: dict[UUID, list[Stay]] = defaultdict(list)
    booked = set()
    for one in bookings:
        held = one.technician_id or one.instrument_id
        if held is not None:
            found[held].append(Stay(one.job, one.starts_at, one.ends_at))
            booked.add((held, one.job_id))
    for job in jobs:
        named = [job.technician_id, *(one.pk for one in job.kit.all())]
        for held in named:
            if held is not None and (held, job.pk) not in booked:
                found[held].append(Stay(job, job.starts_at, job.ends_at))
    return {held: sorted(ones, key=lambda one: one.starts_at) for held, ones in found.items()}


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), ZoneInfo(settings.OFFICE_TIME_ZONE)).astimezone(UTC)
