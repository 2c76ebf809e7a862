"""The jobs of one technician, in a span or ahead."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings

from surveys.models import Job, User, VisibleQuerySet
from surveys.models.base import own_jobs
from surveys.models.job import JobState
from surveys.pipes.selectors import Viewer

# What was planned for somebody, and is not called off.
PLANNED = (JobState.PLANNED, JobState.ON_SITE, JobState.IN_REVIEW, JobState.ISSUED)


def jobs_of(technician: User, viewer: Viewer) -> VisibleQuerySet:
    """The technician's planned jobs as far as the viewer may see them, the earliest first."""
    rows = Job.objects.visible_to(viewer).filter(pk__in=own_jobs(technician), state__in=PLANNED)
    return rows.select_related("site__client").order_by("starts_at", "id")


def jobs_of_day(technician: User, viewer: Viewer, day: date) -> VisibleQuerySet:
    """Those with a moment on a day of the office's calendar."""
    zone = ZoneInfo(settings.OFFICE_TIME_ZONE)
    begin, end = (_midnight(one, zone) for one in (day, day + timedelta(days=1)))
    return jobs_of(technician, viewer).filter(starts_at__lt=end, ends_at__gt=begin)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone).astimezone(UTC)
