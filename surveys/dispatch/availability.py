"""Availability of technicians and instruments for a span: reasons against, for many at once in a constant number of queries.

Days are in the office's time zone, as due dates are. Spans are half open. A meter, a gauge or a thermometer without calibration
cannot be booked; a transducer pair without a certificate can, as pairs are checked with their meter (common practice).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import Q

from compute.base.messages import Message, at, day, message, record, term
from surveys.calibration.due_list import due_rows, office_today
from surveys.models import Absence, Booking, Instrument, Job, Qualification, User, VisibleQuerySet
from surveys.models.booking import Handover
from surveys.models.instrument import Kind, State
from surveys.pipes.selectors import Viewer


@dataclass(frozen=True, slots=True)
class Span:
    """A half-open span from `start` to `end`."""

    start: datetime
    end: datetime

    @property
    def days(self) -> tuple[date, date]:
        """First and last day in the office's time zone."""
        return office_today(self.start), office_today(self.end - timedelta(microseconds=1))

    def meets(self, start: datetime, end: datetime) -> bool:
        """Return whether another span overlaps."""
        return start < self.end and end > self.start


def instrument_unsuitable_reasons(
    instruments: Iterable[Instrument],
    start: datetime,
    end: datetime,
    *,
    viewer: Viewer,
    now: datetime,
    without: Booking | None = None,
    job: Job | None = None,
) -> dict[UUID, list[Message]]:
    """Return by instrument id the reasons against booking it for the span. Bookings of `job` itself do not count."""
    ones, span = list(instruments), Span(start, end)
    due = {row.instrument.pk: row.due_on for row in due_rows(ones, office_today(now))}
    live = _current_bookings(span).exclude(pk=without and without.pk).exclude(job=job)
    held = _held("instrument_id", [one.pk for one in ones], live, viewer)
    return {one.pk: instrument_reasons(one, due.get(one.pk), span) + held[one.pk] for one in ones}


def technician_unsuitable_reasons(
    technicians: Iterable[User],
    start: datetime,
    end: datetime,
    required: Sequence[str],
    *,
    viewer: Viewer,
    without: Booking | None = None,
    job: Job | None = None,
) -> dict[UUID, list[Message]]:
    """Return by technician id the reasons against booking them for the span with those qualifications. Bookings of `job` do not count."""
    ones, span = [one.pk for one in technicians], Span(start, end)
    away, qualified = _absences(ones), _qualifications(ones)
    live = _current_bookings(span).exclude(pk=without and without.pk).exclude(job=job)
    held = _held("technician_id", ones, live, viewer)
    return {
        one: _absence_reasons(away[one], span) + _unqualified(qualified[one], required, span) + held[one]
        for one in ones
    }


def conflicts_of(bookings: Iterable[Booking], now: datetime, viewer: Viewer) -> dict[UUID, list[Message]]:
    """Return by booking id its conflicts at this time; only bookings with conflicts."""
    rows = [one for one in bookings if one.cancelled_at is None and one.ends_at > now]
    instruments = {one.instrument.pk: one.instrument for one in rows if one.instrument}
    people = [one.technician_id for one in rows if one.technician_id]
    due = {row.instrument.pk: row.due_on for row in due_rows(list(instruments.values()), office_today(now))}
    away, qualified, late = (
        _absences(people),
        _qualifications(people),
        _overdue_bookings(list(instruments), now, viewer),
    )
    found: dict[UUID, list[Message]] = {}
    for one in rows:
        span, job = Span(one.starts_at, one.ends_at), one.job
        reasons = _moved(job, span)
        if one.instrument:
            reasons += instrument_reasons(one.instrument, due.get(one.instrument.pk), span)
            reasons += _not_back(one, late[one.instrument.pk])
        elif one.technician_id:
            reasons += _absence_reasons(away[one.technician_id], span)
            reasons += _unqualified(qualified[one.technician_id], job.required_qualifications, span)
        if reasons:
            found[one.pk] = reasons
    return found


def _current_bookings(span: Span) -> VisibleQuerySet:
    return Booking.objects.filter(cancelled_at__isnull=True, starts_at__lt=span.end, ends_at__gt=span.start)


def _held(field: str, ids: list[UUID], live: VisibleQuerySet, viewer: Viewer) -> dict[UUID, list[Message]]:
    """Return reasons by earlier bookings; the job is named to users who may see it."""
    rows = list(live.filter(**{f"{field}__in": ids}).select_related("job"))
    visible = _visible_jobs(rows, viewer)
    found = defaultdict(list)
    for one in rows:
        named = one.job_id in visible
        found[getattr(one, field)].append(
            message(
                "already-booked",
                job=record("job", one.job_id, one.job.title) if named else None,
                start=at(one.starts_at) if named else None,
                end=at(one.ends_at) if named else None,
            )
        )
    return found


def _visible_jobs(rows: Iterable[Booking], viewer: Viewer) -> set[UUID]:
    jobs = {one.job_id for one in rows}
    return set(Job.objects.visible_to(viewer).filter(pk__in=jobs).values_list("pk", flat=True))


def instrument_reasons(one: Instrument, due_on: date | None, span: Span) -> list[Message]:
    """Return the reasons against an instrument itself, with its due date, for a span."""
    if one.state != State.IN_SERVICE:
        return [message(one.state, instrument=_named(one))]
    if due_on is None and one.kind != Kind.TRANSDUCER_PAIR:
        return [message("never-calibrated", instrument=_named(one))]
    if due_on is not None and due_on < span.days[1]:
        return [message("overdue", instrument=_named(one), due_on=day(due_on), ends_on=day(span.days[1]))]
    return []


def _named(one: Instrument) -> dict[str, str]:
    return record("instrument", one.pk, str(one))


def _moved(job: Job, span: Span) -> list[Message]:
    """Return a reason if the booking neither covers its job nor lies within it."""
    covers = span.start <= job.starts_at and job.ends_at <= span.end
    if covers or (job.starts_at <= span.start and span.end <= job.ends_at):
        return []
    return [message("job-outside", start=at(job.starts_at), end=at(job.ends_at))]


def _absences(people: list[UUID]) -> dict[UUID, list[Absence]]:
    found = defaultdict(list)
    for one in Absence.objects.filter(technician__in=people, cancelled_at__isnull=True):
        found[one.technician_id].append(one)
    return found


def _absence_reasons(absences: list[Absence], span: Span) -> list[Message]:
    return [
        message("absent", start=at(one.starts_at), end=at(one.ends_at))
        for one in absences
        if span.meets(one.starts_at, one.ends_at)
    ]


def _qualifications(people: list[UUID]) -> dict[UUID, list[Qualification]]:
    found = defaultdict(list)
    for one in Qualification.objects.filter(technician__in=people, withdrawn_at__isnull=True):
        found[one.technician_id].append(one)
    return found


def _unqualified(held: list[Qualification], required: Sequence[str], span: Span) -> list[Message]:
    first, last = span.days
    return [
        message("not-qualified", qualification=term(slug), first=day(first), last=day(last))
        for slug in required
        if not _covered([one for one in held if one.slug == slug], first, last)
    ]


def _covered(held: list[Qualification], first: date, last: date) -> bool:
    """Whether certificates, one after the other, are valid on every day."""
    day = first
    for one in sorted(held, key=lambda one: one.issued_on):
        if one.issued_on > day:
            break
        if one.expires_on is None or one.expires_on >= last:
            return True
        day = max(day, one.expires_on + timedelta(days=1))
    return False


Late = tuple[Booking, datetime, bool]


def _overdue_bookings(instruments: list[UUID], now: datetime, viewer: Viewer) -> dict[UUID, list[Late]]:
    """Bookings of instruments that return late: the booking, the earliest return, whether the job may be named."""
    rows = Booking.objects.filter(
        Q(ends_at__lte=now) | Q(expected_back__isnull=False),
        instrument__in=instruments,
        cancelled_at__isnull=True,
        events__what=Handover.CHECK_OUT,
    ).exclude(events__what=Handover.CHECK_IN)
    found: dict[UUID, list[Late]] = defaultdict(list)
    ones = list(rows.select_related("job"))
    visible = _visible_jobs(ones, viewer)
    for one in ones:
        if one.instrument_id:
            back = max(now, one.expected_back or now)
            found[one.instrument_id].append((one, back, one.job_id in visible))
    return found


def _not_back(one: Booking, late: list[Late]) -> list[Message]:
    return [
        message(
            "late-return",
            job=record("job", before.job_id, before.job.title) if named else None,
            back=at(back),
        )
        for before, back, named in late
        if before.pk != one.pk and before.starts_at < one.starts_at < back
    ]
