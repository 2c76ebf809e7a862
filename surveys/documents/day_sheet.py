"""Day sheet of a technician: sites, contacts, safety notes, equipment and set-ups of the jobs of a day.

The sheet does not depend on the clock: certificates are those in force on its day, and its time is that of the latest change
of its records, so that the same records give the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Max, Q
from django.utils.formats import date_format
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from compute.base.sources import Source
from compute.base.units import System
from compute.measuring.location import safety_notes
from surveys.calibration.due_list import DueRow, due_rows, office_today
from surveys.core.stored_quantities import safety_note_json
from surveys.dispatch.technician_jobs import jobs_of_day
from surveys.documents.formatting import finding_texts, full_name, moment
from surveys.documents.pdf import PdfDocument
from surveys.documents.setup_sheet import DEFERS, safety_note_text, setup_blocks
from surveys.models import AuditEntry, Booking, Instrument, Job, MeasuringPoint, Setup, User
from surveys.models.audit import Action
from surveys.pipes.selectors import Viewer, pipe_data_at

NOT_RECORDED = _("not recorded; ask before you go")


@dataclass(frozen=True, slots=True)
class Day:
    """A day of a technician, and who views its sheet."""

    technician: User
    on: date
    viewer: Viewer


def day_sheet(day: Day, units: System, address: str) -> PdfDocument:
    """Return the document of a day; the number of queries does not grow with its jobs."""
    jobs = list(
        jobs_of_day(day.technician, day.viewer, day.on).prefetch_related(
            "measuring_points__pipe__data", "kit"
        )
    )
    kits, setups = kits_of(jobs), latest_setups(jobs)
    fleet = {one.pk: one for kit in kits.values() for one in kit}
    due = {row.instrument.pk: row for row in due_rows(list(fleet.values()), day.on)}
    name = full_name(day.technician)
    latest = _latest_change(day, jobs, kits, setups, due)
    zone = jobs[0].site.zone if jobs else ZoneInfo(settings.OFFICE_TIME_ZONE)
    count = ngettext("{count} job", "{count} jobs", len(jobs)).format(count=len(jobs))
    footer = gettext("Day sheet of {name} for {day}").format(name=name, day=day.on)
    as_of = latest and gettext("{footer} · records as of {time}").format(
        footer=footer, time=moment(latest, zone)
    )
    pdf = PdfDocument(
        title=gettext("Day sheet: {day}").format(day=date_format(day.on, "l j F Y")),
        subtitle=f"{name} · {count}",
        footer=as_of or footer,
        stamp=latest or datetime.combine(day.on, time(), UTC),
        address=address,
    )
    if not jobs:
        pdf.text(gettext("No jobs planned for this day."))
    for job in jobs:
        _job_blocks(pdf, job, kits[job.pk], due, units)
    for job in jobs:
        for point in job.measuring_points.all():
            _setup_pages(pdf, job, point, setups.get(point.pk), units)
    return pdf


def _latest_change(
    day: Day,
    jobs: Sequence[Job],
    kits: Mapping[UUID, Sequence[Instrument]],
    setups: Mapping[UUID, Setup],
    due: Mapping[UUID, DueRow],
) -> datetime | None:
    """Return the time of the latest change of the records of the sheet; None if there is no change."""
    points = [point for job in jobs for point in job.measuring_points.all()]
    kit = [one for ones in kits.values() for one in ones]
    shown = {day.technician.pk, *(one.holder_id for one in kit), *(one.pk for one in (*jobs, *points, *kit))}
    shown |= {job.site_id for job in jobs} | {job.site.client_id for job in jobs}
    shown |= {point.pipe_id for point in points}
    shown |= set(Booking.objects.filter(job__in=jobs).values_list("pk", flat=True))
    changes = AuditEntry.objects.filter(
        record__in=shown - {None}, action__in=(Action.CREATED, Action.CHANGED)
    )
    stamps = [
        changes.aggregate(latest=Max("at"))["latest"],
        *(setup.calculated_at for setup in setups.values()),
        *(data.recorded_at for point in points for data in point.pipe.data.all()),
        *(row.calibration.recorded_at for row in due.values() if row.calibration),
    ]
    return max((one for one in stamps if one), default=None)


def _job_blocks(
    pdf: PdfDocument, job: Job, kit: Sequence[Instrument], due: dict[UUID, DueRow], units: System
) -> None:
    site, zone = job.site, job.site.zone
    pdf.heading(f"{job.starts_at.astimezone(zone):%H:%M} {job.title}")
    points = ", ".join(f"{point.name} ({point.pipe.name})" for point in job.measuring_points.all())
    period = gettext("{start} to {end}").format(
        start=moment(job.starts_at, zone), end=moment(job.ends_at, zone)
    )
    pdf.facts(
        [
            (gettext("Time"), period),
            (gettext("Site"), f"{site.name} · {site.client.name}"),
            (gettext("Address"), site.address or str(NOT_RECORDED)),
            (gettext("Contacts"), site.contacts or site.client.contact or str(NOT_RECORDED)),
            (gettext("Access, permits"), site.access_notes or str(NOT_RECORDED)),
            (gettext("Measuring points"), points or gettext("none")),
            *([(gettext("Note"), job.note)] if job.note else []),
        ]
    )
    pdf.safety_notes(hazard_texts(job, units), str(DEFERS))
    if not kit:
        pdf.callout("", gettext("No kit is booked or planned for this job."), "warning")
        return
    rows = [kit_row(one, due[one.pk], job) for one in kit]
    pdf.table(
        [
            gettext("Instrument"),
            gettext("Type"),
            gettext("Serial number"),
            gettext("Calibration"),
            gettext("Location, holder"),
        ],
        rows,
    )


def hazard_texts(job: Job, units: System) -> list[str]:
    """Return the hazards of a job from the records of its site, points and pipes; never empty."""
    points = job.measuring_points.all()
    where: dict[str, list[str]] = {}
    for point in points:
        for note in _safety_notes_at(point, job, units):
            where.setdefault(note, []).append(point.name)
    notes = [f"{', '.join(names)}: {note}" for note, names in where.items()]
    if job.site.hazards:
        return [gettext("On site: {hazards}").format(hazards=job.site.hazards), *notes]
    if any(point.hazards for point in points):
        return notes
    return [*notes, gettext("No hazards are recorded for this site. Unrecorded hazards may exist.")]


def _safety_notes_at(point: MeasuringPoint, job: Job, units: System) -> list[str]:
    """Return the safety notes of a point for its hazards and the pipe data in force that day."""
    data = pipe_data_at(point.pipe, job.starts_at.astimezone(job.site.zone).date())
    temperature, material, pressure = (
        (data.medium_temperature_k, data.material, data.medium_pressure_pa) if data else (None, "", None)
    )
    found = safety_notes(temperature, material, tuple(point.hazards), pressure)
    stored = [safety_note_json(one) for one in found if one.code != "general"]
    return [safety_note_text(one["text"], Source(**one["source"])) for one in finding_texts(stored, units)]


def kit_row(one: Instrument, row: DueRow, job: Job) -> list[str]:
    """Return kind, type, serial number, calibration and location of an instrument of a job."""
    where = full_name(one.holder) if one.holder else one.location or gettext("not recorded")
    state = "" if one.state == "in-service" else f"{one.get_state_display().upper()}; "
    return [one.get_kind_display(), one.type_name, one.serial, state + _calibration(row, job), where]


def _calibration(row: DueRow, job: Job) -> str:
    if row.due_on is None or row.calibration is None:
        return gettext("no certificate")
    text = (
        gettext("{certificate}, due on {day}")
        if row.due_on >= office_today(job.ends_at)
        else gettext("{certificate}, OVERDUE on the day: due on {day}")
    )
    return text.format(certificate=row.calibration.certificate, day=row.due_on)


def _setup_pages(
    pdf: PdfDocument, job: Job, point: MeasuringPoint, setup: Setup | None, units: System
) -> None:
    pdf.new_page()
    pdf.heading(
        gettext("Set-up: {point}, {pipe} ({job})").format(
            point=point.name, pipe=point.pipe.name, job=job.title
        )
    )
    if setup is None:
        pdf.callout("", gettext("No set-up has been calculated for this measuring point yet."), "warning")
    else:
        pdf.text(
            gettext("Set-up calculated at {time}.").format(time=moment(setup.calculated_at, job.site.zone))
        )
        setup_blocks(pdf, setup, units)


def kits_of(jobs: Sequence[Job]) -> dict[UUID, list[Instrument]]:
    """Return the instruments planned or booked for each job, each once."""
    wanted: dict[UUID, set[UUID]] = {job.pk: {one.pk for one in job.kit.all()} for job in jobs}
    live = Q(bookings__job__in=jobs, bookings__cancelled_at__isnull=True)
    for one, job in Instrument.objects.filter(live).values_list("pk", "bookings__job"):
        wanted[job].add(one)
    every = {pk for pks in wanted.values() for pk in pks}
    rows = list(Instrument.objects.filter(pk__in=every).select_related("holder"))
    return {job: [row for row in rows if row.pk in pks] for job, pks in wanted.items()}


def latest_setups(jobs: Sequence[Job]) -> dict[UUID, Setup]:
    """Return the latest set-up of each measuring point of the jobs."""
    points = {point.pk for job in jobs for point in job.measuring_points.all()}
    rows = Setup.objects.filter(measuring_point__in=points).select_related(
        "measuring_point__pipe__site__client", "pipe_data__wall_measurement__gauge", "pipe_data__recorded_by",
        "pipe_data__custom_material_data__material", "pipe_data__custom_lining_data__material", "pipe_data__custom_medium_data__medium",
        "transducer_data__instrument", "calculated_by",
    )  # fmt: skip
    return {row.measuring_point_id: row for row in rows.order_by("calculated_at", "id")}
