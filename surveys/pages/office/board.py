"""The jobs of a week by status, the days of technicians and instruments, and status changes of jobs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from surveys.calibration.due_list import office_today
from surveys.core.errors import ServiceError
from surveys.core.messages import Reader, error_text, render
from surveys.dispatch.availability import conflicts_of
from surveys.documents.formatting import hours
from surveys.inputs.dispatch import HandoverIn
from surveys.inputs.problems import problem_of
from surveys.models import Booking, Instrument, Job, Role, User
from surveys.models.job import JobState
from surveys.pages.frame import page, units_of
from surveys.pages.office.access import office_page
from surveys.pages.office.week import Week, stays
from surveys.services.dispatch.bookings import HandoverNote, booking_check_in, booking_check_out
from surveys.services.dispatch.jobs import MOVES, job_move


@office_page
@require_safe
def board(request: HttpRequest) -> HttpResponse:
    """Show the named week, else the current week."""
    return _shown(request, _week(request.GET.get("week", "")))


@office_page
@require_POST
def move(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Change the status of a job, with the reason; show errors at the job."""
    job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    week = _week(request.POST.get("week", ""))
    state, reason = (request.POST.get(name, "") for name in ("state", "reason"))
    try:
        job_move(
            job=job,
            state=state,
            reason=reason,
            by=cast(User, request.user),
            now=timezone.now(),
        )
    except ServiceError as error:
        rejected = {"job": job.pk, "state": state, "reason": reason, "detail": error_text(error)}
        return _shown(request, week, rejected, error.status)
    return redirect(f"{reverse('office-board')}?week={week.name}")


@office_page
@require_POST
def check_out(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Check out a booked instrument with its condition; show errors at the booking."""
    return _hand_over(request, pk, booking_check_out)


@office_page
@require_POST
def check_in(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Check in a booked instrument with its condition."""
    return _hand_over(request, pk, booking_check_in)


def _hand_over(request: HttpRequest, pk: UUID, do: Callable[..., Any]) -> HttpResponse:
    booking = get_object_or_404(Booking.objects.visible_to(request.user), pk=pk)
    week, now, condition = (
        _week(request.POST.get("week", "")),
        timezone.now(),
        request.POST.get("condition", ""),
    )
    try:
        requested = HandoverIn(data={"condition": condition})
        requested.is_valid(raise_exception=True)
        note = HandoverNote(at=now, condition=requested.validated_data["condition"])
        do(booking=booking, note=note, by=cast(User, request.user), now=now)
    except Exception as error:
        problem = problem_of(error, units_of(request))
        if problem is None:
            raise
        rejected = {"booking": booking.pk, "condition": condition, "detail": problem["detail"]}
        return _shown(request, week, rejected, problem["status"])
    return redirect(f"{reverse('office-board')}?week={week.name}#job-{booking.job_id}")


def _week(name: str) -> Week:
    found = Week.named(name) if name else Week.of(office_today(timezone.now()))
    if found is None:
        raise Http404
    return found


def _shown(
    request: HttpRequest, week: Week, rejected: dict[str, Any] | None = None, status: int = 200
) -> HttpResponse:
    user, now, (begin, end) = cast(User, request.user), timezone.now(), week.span
    rows = Job.objects.visible_to(user).filter(starts_at__lt=end, ends_at__gt=begin)
    jobs = list(
        rows.select_related("site__client", "technician")
        .prefetch_related("kit", "measuring_points__pipe")
        .order_by("starts_at", "id")
    )
    held = Booking.objects.visible_to(user).filter(cancelled_at__isnull=True)
    held = held.filter(starts_at__lt=end, ends_at__gt=begin).exclude(job__state=JobState.CANCELLED)
    bookings = list(held.select_related("job__site", "instrument", "technician").prefetch_related("events"))
    conflicts = conflicts_of(bookings, now, user)
    cards = [_card(job, bookings, conflicts, rejected or {}) for job in jobs]
    context = {
        "week": week,
        "any": bool(cards),
        "columns": [
            {"label": label, "cards": [card for card in cards if card["job"].state == state]}
            for state, label in JobState.choices
        ],
        "timelines": _timelines(week, jobs, bookings),
    }
    return page(request, "office/board.html", context, status)


def _card(
    job: Job, bookings: list[Booking], conflicts: dict[UUID, list[Any]], rejected: dict[str, Any]
) -> dict[str, Any]:
    mine = [one for one in bookings if one.job_id == job.pk]
    return {
        "job": job,
        "when": f"{job.starts_at.astimezone(job.site.zone):%Y-%m-%d}, {hours(job.starts_at, job.ends_at, job.site.zone)}",
        "people": [str(one.technician) for one in mine if one.technician],
        "kit": [
            {"booking": one, "rejected": rejected if rejected.get("booking") == one.pk else None}
            for one in mine
            if one.instrument
        ],
        "conflicts": [
            render(reason, Reader(zone=job.site.zone)).detail
            for one in mine
            for reason in conflicts.get(one.pk, [])
        ],
        "moves": [(state, JobState(state).label) for state in sorted(MOVES[job.state], key=_onward(job))],
        "rejected": rejected if rejected.get("job") == job.pk else None,
    }


def _onward(job: Job) -> Callable[[str], tuple[bool, int]]:
    """Sort key of status changes: forward before backward, cancellation last of those forward."""
    order = list(JobState.values)
    return lambda state: (order.index(state) < order.index(job.state), order.index(state))


def _timelines(week: Week, jobs: list[Job], bookings: list[Booking]) -> list[dict[str, Any]]:
    """Return the days of the technicians, then of the instruments in use in the week."""
    at_work = stays((job for job in jobs if job.state != JobState.CANCELLED), bookings)
    people = User.objects.filter(role=Role.TECHNICIAN, is_active=True).order_by("username")
    things = Instrument.objects.filter(pk__in=at_work).order_by("kind", "serial")
    return [
        {
            "heading": heading,
            "column": column,
            "empty": empty,
            "lanes": [
                {
                    "name": str(one),
                    "days": [
                        ([stay.job for stay in at_work.get(one.pk, []) if stay.on(day)], day)
                        for day in week.days
                    ],
                }
                for one in ones
            ],
        }
        for heading, column, empty, ones in (
            (_("Technicians this week"), _("Technician"), _("No technicians."), people),
            (_("Kit this week"), _("Instrument"), _("No kit scheduled this week."), things),
        )
    ]
