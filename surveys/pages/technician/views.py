"""The technician's pages; the script of the pages sends the entries to the API."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, cast
from uuid import UUID

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from surveys.calibration.due_list import due_rows, office_today
from surveys.dispatch.technician_jobs import jobs_of_day
from surveys.documents.day_sheet import hazard_texts, kit_row, kits_of
from surveys.documents.formatting import format_quantity, hours
from surveys.documents.setup_sheet import CHECKLIST
from surveys.models import Booking, Instrument, Job, MeasuringPoint, PipeData, User
from surveys.models.instrument import Kind, State
from surveys.pages.frame import page, units_of
from surveys.pages.pipe_form import COMPOSITION, Offer, choices, entries_by
from surveys.pages.technician.access import field_page, visible_point
from surveys.pages.technician.results import latest_result_context
from surveys.pages.technician.worksheet import further_linings, starting_values
from surveys.pipes.selectors import pipe_data_at

NOT_A_PERMIT = gettext_lazy(
    "This page is not a permit to work and does not confirm that the work is safe. The site's permit and local rules take precedence."
)
NOT_RECORDED = gettext_lazy("not recorded; ask before you go")
CLOCK = ("12", "1:30", "3", "4:30", "6", "7:30", "9", "10:30")


@field_page
@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """Show the jobs of the day in order of their start."""
    user, now = cast(User, request.user), timezone.now()
    day = office_today(now)
    jobs = list(jobs_of_day(user, user, day).prefetch_related("measuring_points__pipe__data", "kit"))
    kits = kits_of(jobs)
    held = _booked(jobs)
    due = {row.instrument.pk: row for row in due_rows([one for kit in kits.values() for one in kit], day)}
    shown = [
        {
            "job": job,
            "hours": hours(job.starts_at, job.ends_at, job.site.zone),
            "contacts": job.site.contacts or job.site.client.contact or NOT_RECORDED,
            "hazards": hazard_texts(job, units_of(request)),
            "kit": [
                {"row": kit_row(one, due[one.pk], job), "booking": held.get((job.pk, one.pk))}
                for one in kits[job.pk]
            ],
        }
        for job in jobs
    ]
    context = {"day": day, "jobs": shown, "not_recorded": NOT_RECORDED, "defers": NOT_A_PERMIT}
    return page(request, "technician/today.html", context)


def _unlisted_medium(data: PipeData, media: Iterable[Offer]) -> str:
    """Return the label of the choice that keeps the recorded medium."""
    if not data.medium:
        return _("defined by entered properties")
    return _("as recorded") if any(one.name == data.medium for one in media) else data.medium


@field_page
@require_safe
def worksheet(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the set-up of a measuring point: pipe data, medium and mounting."""
    point, now, units = visible_point(request, pk), timezone.now(), units_of(request)
    data = pipe_data_at(point.pipe, now.astimezone(point.pipe.site.zone).date())
    if data is None:
        return page(request, "technician/no_data.html", _of_point(request, point))
    wall_measurement = point.pipe.wall_measurements.select_related("gauge").first()
    start, offered = starting_values(data, units), choices(cast(User, request.user))
    context = {
        **_of_point(request, point),
        "data": data,
        "none_material": _("defined by sound speeds"),
        "none_medium": _unlisted_medium(data, offered["media"]),
        "start": start,
        "choices": offered,
        "further_linings": further_linings(data, units, offered["linings"]),
        "composition": [
            {"name": f"medium.{part}", "label": COMPOSITION[part], "value": start.get(part, ""), "when": when}
            for part, when in entries_by(offered["media"]).items()
        ],
        "wall_measurement": wall_measurement
        and {
            "id": wall_measurement.pk,
            "mean": format_quantity(wall_measurement.mean_m, "length", units, 2),
            "at": wall_measurement.taken_at,
        },
        "pairs": _instruments(request, Kind.TRANSDUCER_PAIR),
        "meters": _instruments(request, Kind.METER),
        "traverses": range(1, 5),
        "last": point.setups.select_related("transducer_data__instrument").first(),
    }  # fmt: skip
    return page(request, "technician/worksheet.html", context)


@field_page
@require_safe
def wall(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the form for wall thickness readings by clock position."""
    point = visible_point(request, pk)
    context = {
        **_of_point(request, point),
        "clock": CLOCK,
        "gauges": _instruments(request, Kind.THICKNESS_GAUGE),
    }
    return page(request, "technician/wall.html", context)


@field_page
@require_safe
def survey(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the mounting checklist and the form of the survey with its log."""
    point, units = visible_point(request, pk), units_of(request)
    last = point.setups.first()
    context = {
        **_of_point(request, point),
        "checklist": CHECKLIST,
        "meters": _instruments(request, Kind.METER),
        "last": last,
        "spacing": last and format_quantity(last.spacing_m, "length", units),
        "shown": latest_result_context(request, point),
    }
    return page(request, "technician/survey.html", context)


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """Serve the service worker of these pages; its address sets its scope."""
    file = finders.find("surveys/field-worker.js")
    return HttpResponse(Path(cast(str, file)).read_bytes(), content_type="text/javascript")


def _of_point(request: HttpRequest, point: MeasuringPoint) -> dict[str, Any]:
    """The context of every page of a measuring point, with the job in the address if the user has it."""
    text = request.GET.get("job", "")
    mine = Job.objects.visible_to(request.user).filter(measuring_points=point)
    job = next((one for one in mine if str(one.pk) == text), None)
    query = f"?job={job.pk}" if job else ""
    return {"point": point, "job": job, "query": query, "defers": NOT_A_PERMIT}


def _booked(jobs: Iterable[Job]) -> dict[tuple[UUID, UUID], Booking]:
    """Job and instrument -> the booking with its handovers."""
    rows = Booking.objects.filter(job__in=jobs, instrument__isnull=False, cancelled_at__isnull=True)
    rows = rows.prefetch_related("events").order_by("starts_at")
    return {(one.job_id, cast(UUID, one.instrument_id)): one for one in rows}


def _instruments(request: HttpRequest, kind: str) -> list[Instrument]:
    """Instruments of a kind in service, those held by the user first."""
    rows = Instrument.objects.visible_to(request.user).filter(kind=kind, state=State.IN_SERVICE)
    return sorted(rows, key=lambda one: (one.holder_id != request.user.pk, one.serial))
