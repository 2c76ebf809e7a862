"""A week in the time zone of the office, and the days of technicians and instruments in it."""

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
# Outside these years the previous and next week are not always valid dates.
FIRST_YEAR, LAST_YEAR = 1970, 9000


@dataclass(frozen=True, slots=True)
class Week:
    """A week from Monday to Sunday."""

    monday: date

    @classmethod
    def of(cls, day: date) -> Week:
        """Return the week of a day."""
        return cls(day - timedelta(days=day.weekday()))

    @classmethod
    def named(cls, name: str) -> Week | None:
        """Return the week of an ISO 8601 name such as 2026-W48; None if the name is not valid."""
        try:
            found = cls(datetime.strptime(f"{name}-1", "%G-W%V-%u").date())  # noqa: DTZ007 - a date, no time
        except ValueError:
            return None
        # Week 53 of a year with 52 weeks is parsed as a week of the next year.
        return found if found.name == name and FIRST_YEAR <= found.monday.year <= LAST_YEAR else None

    @property
    def name(self) -> str:
        """ISO 8601 name such as 2026-W48."""
        return f"{self.monday:%G-W%V}"

    @property
    def days(self) -> list[date]:
        """Monday to Sunday."""
        return [self.monday + timedelta(days=n) for n in range(DAYS)]

    @property
    def next(self) -> Week:
        """The next week."""
        return Week(self.monday + timedelta(days=DAYS))

    @property
    def before(self) -> Week:
        """The previous week."""
        return Week(self.monday - timedelta(days=DAYS))

    @property
    def span(self) -> tuple[datetime, datetime]:
        """Start of the week and of the next week."""
        return _midnight(self.monday), _midnight(self.next.monday)


@dataclass(frozen=True, slots=True)
class Stay:
    """A period of a technician or instrument at a job."""

    job: Job
    starts_at: datetime
    ends_at: datetime

    def on(self, day: date) -> bool:
        """Whether it overlaps a day in the time zone of the office."""
        return self.starts_at < _midnight(day + timedelta(days=1)) and self.ends_at > _midnight(day)


def stays(jobs: Iterable[Job], bookings: Iterable[Booking]) -> dict[UUID, list[Stay]]:
    """Return the stays by technician or instrument: by booking, or by assignment without one."""
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
