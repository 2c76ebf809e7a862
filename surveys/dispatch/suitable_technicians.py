"""Suitable technicians for a job: the reasons against each, and the distance from home to site."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, time, timedelta
from zoneinfo import ZoneInfo

from compute.base.messages import Message, at, message
from compute.planning.distance import distance_between
from surveys.dispatch.availability import Span, technician_unsuitable_reasons
from surveys.models import Job, Site, TechnicianProfile, User
from surveys.pipes.selectors import Viewer


@dataclass(frozen=True, slots=True)
class Candidate:
    """A technician, the reasons against them, and the straight-line distance [m] if known."""

    technician: User
    unsuitable_reasons: list[Message]
    distance: float | None


def suitable_technicians(job: Job, technicians: Iterable[User], viewer: Viewer) -> list[Candidate]:
    """Return technicians, available ones first and then by distance, in a constant number of queries."""
    ones, span = list(technicians), Span(job.starts_at, job.ends_at)
    against = technician_unsuitable_reasons(
        ones, span.start, span.end, job.required_qualifications, viewer=viewer, job=job
    )
    profiles = {row.technician_id: row for row in TechnicianProfile.objects.filter(technician__in=ones)}
    found = [_candidate(one, profiles.get(one.pk), against[one.pk], job.site, span) for one in ones]
    return sorted(found, key=_order)


def _order(one: Candidate) -> tuple[int, bool, float, str]:
    return len(one.unsuitable_reasons), one.distance is None, one.distance or 0.0, one.technician.username


def _candidate(
    one: User, profile: TechnicianProfile | None, against: list[Message], site: Site, span: Span
) -> Candidate:
    if profile is None:
        return Candidate(one, against, None)
    hours = [] if within_working_hours(profile, span) else [_outside(profile, span)]
    return Candidate(one, against + hours, _distance(profile, site))


def _distance(profile: TechnicianProfile, site: Site) -> float | None:
    ends = (profile.latitude_deg, profile.longitude_deg, site.latitude_deg, site.longitude_deg)
    if None in ends:
        return None
    home_lat, home_lon, site_lat, site_lon = (float(one or 0.0) for one in ends)
    return distance_between((home_lat, home_lon), (site_lat, site_lon))


def within_working_hours(profile: TechnicianProfile, span: Span) -> bool:
    """Return whether a span begins and ends within working hours and on working days only; nights between are ignored.

    Without recorded hours every time is accepted.
    """
    if not profile.working_hours:
        return True
    zone = ZoneInfo(profile.time_zone)
    first, last = span.start.astimezone(zone), span.end.astimezone(zone)
    days = [first.date()]
    while days[-1] < (span.end - timedelta(microseconds=1)).astimezone(zone).date():
        days.append(days[-1] + timedelta(days=1))
    if not all(str(day.weekday()) in profile.working_hours for day in days[:7]):
        return False
    first_begin, first_end = _hours(profile, days[0])
    last_begin, last_end = _hours(profile, days[-1])
    ends_at_midnight = last.date() > days[-1]
    begins_well = first_begin <= first.time() < first_end
    return begins_well and not ends_at_midnight and last_begin < last.time() <= last_end


def _hours(profile: TechnicianProfile, day: date) -> tuple[time, time]:
    begin, end = profile.working_hours[str(day.weekday())]
    return time.fromisoformat(begin), time.fromisoformat(end)


def _outside(profile: TechnicianProfile, span: Span) -> Message:
    return message(
        "outside-working-hours", start=at(span.start), end=at(span.end), time_zone=profile.time_zone
    )
