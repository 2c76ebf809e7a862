"""Jobs of a technician as a calendar."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from django.utils.translation import gettext

from surveys.models import Job

if TYPE_CHECKING:
    import icalendar


def job_calendar(jobs: Iterable[Job], now: datetime) -> bytes:
    """Return the jobs as events with times in UTC (RFC 5545); an event keeps its UID while its job exists."""
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//Flow Surveys//Jobs//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", gettext("Jobs"))
    for job in jobs:
        calendar.add_component(_event(job, now))
    return bytes(calendar.to_ical())


def _event(job: Job, now: datetime) -> icalendar.Event:
    import icalendar

    site, event = job.site, icalendar.Event()
    event.add("uid", f"job-{job.pk}")
    event.add("dtstamp", now.astimezone(UTC))
    event.add("dtstart", job.starts_at.astimezone(UTC))
    event.add("dtend", job.ends_at.astimezone(UTC))
    event.add("summary", f"{job.title}: {site.name}, {site.client.name}")
    event.add("location", ", ".join(part for part in (site.name, *site.address.splitlines()) if part))
    points = [f"{point.pipe.name}: {point.name}" for point in job.measuring_points.all()]
    state = gettext("Status: {state}").format(state=job.get_state_display())
    event.add("description", "\n".join([state, *points]))
    return event
