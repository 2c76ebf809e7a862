"""Jobs of one technician, in a span or in the future."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings

from surveys.models import Job, User, VisibleQuerySet
from surveys.models.base import own_jobs
from surveys.models.job import JobState
from surveys.pipes.selectors import Viewer

# Statuses of planned jobs that are not cancelled.
PLANNED = (JobState.PLANNED, JobState.ON_SITE, JobState.IN_REVIEW, JobState.ISSUED)


def jobs_of(technician: User, viewer: Viewer) -> VisibleQuerySet:
    """Return the technician's planned jobs visible to the viewer, the earliest first."""
    rows = Job.objects.visible_to(viewer).filter(pk__in=own_jobs(technician), state__in=PLANNED)
    return rows.select_related("site__client").order_by("starts_at", "id")


def jobs_of_day(technician: User, viewer: Viewer, day: date) -> VisibleQuerySet:
    """Return jobs that overlap a day in the office's time zone."""
    zone = ZoneInfo(settings.OFFICE_TIME_ZONE)
    begin, end = (_midnight(one, zone) for one in (day, day + timedelta(days=1)))
    return jobs_of(technician, viewer).filter(starts_at__lt=end, ends_at__gt=begin)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone).astimezone(UTC)
