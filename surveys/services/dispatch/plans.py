"""Dispatch plans: requested, and accepted in whole or in part."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from datetime import datetime
from functools import partial
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import transaction

from compute.base.messages import message, record, term
from surveys.core.errors import Conflict, ServiceError
from surveys.models import Booking, DispatchPlan, Instrument, Job, User
from surveys.models.job import JobState
from surveys.models.reasons import system_reason
from surveys.services.dispatch.bookings import booking_make
from surveys.services.dispatch.jobs import job_move, plannable
from surveys.services.fleet.calibrations import instruments_lock
from surveys.services.records import record_change

logger = logging.getLogger(__name__)
_sender = ThreadPoolExecutor(max_workers=1, thread_name_prefix="plan")
PLANNABLE = (JobState.DRAFT, JobState.PLANNED, JobState.ON_SITE)


@transaction.atomic
def plan_request(
    *, jobs: Sequence[Job], time_limit_seconds: int, keeps: DispatchPlan | None, by: User, now: datetime
) -> DispatchPlan:
    """Request a plan; it is calculated in the background. Raises ServiceError for a job that cannot be planned."""
    for number, job in enumerate(jobs):
        field = f"jobs.{number}"
        if job.state not in PLANNABLE:
            raise ServiceError(
                "job-closed/plan", field=field, job=record("job", job.pk, job.title), state=term(job.state)
            )
        plannable(job.measuring_points.all(), field, job)
    plan = DispatchPlan.objects.create(
        jobs=[str(job.pk) for job in jobs],
        time_limit_seconds=time_limit_seconds,
        keeps=keeps,
        requested_at=now,
        requested_by=by,
    )
    transaction.on_commit(partial(_nudge, plan.pk), robust=True)
    return plan


@transaction.atomic
def plan_accept(*, plan: DispatchPlan, jobs: Sequence[str] | None, by: User, now: datetime) -> DispatchPlan:
    """Book the assignments of a plan, for some of its jobs or all, and change these to planned; all or none.

    Raises Conflict for a plan that is not finished, a job without assignment or already accepted, or for a person or instrument that
    has been booked since the calculation.
    """
    plan = DispatchPlan.objects.select_for_update(of=("self",)).get(pk=plan.pk)
    if plan.state != DispatchPlan.State.FINISHED or plan.outcome is None:
        raise Conflict("not-finished/plan", state=term(plan.state))
    proposed = {one["job"]: one for one in plan.outcome["assignments"]}
    wanted = [job for job in proposed if job not in plan.accepted] if jobs is None else list(jobs)
    _hold([proposed[job] for job in wanted if job in proposed])
    for job in wanted:
        if job not in proposed:
            raise Conflict("not-in-plan", field="assignments", job=job)
        if job in plan.accepted:
            raise Conflict(
                "already-accepted", field="assignments", job=record("job", job, proposed[job]["title"])
            )
        _book(proposed[job], by, now)
    plan.accepted = [*plan.accepted, *wanted]
    plan.save(update_fields=["accepted"])
    return plan


def _hold(assignments: Sequence[dict[str, Any]]) -> None:
    """Lock the instruments and technicians by key, as a log import does; the order of the assignments could deadlock."""
    instruments = {pk for one in assignments for pk in one["instruments"]}
    instruments_lock(instruments)
    technicians = {one["technician"] for one in assignments}
    list(User.objects.select_for_update(no_key=True).filter(pk__in=technicians).order_by("pk"))


def _book(one: dict[str, object], by: User, now: datetime) -> None:
    job = Job.objects.select_for_update(of=("self",)).select_related("site").get(pk=str(one["job"]))
    start, end = (datetime.fromisoformat(str(one[name])) for name in ("starts_at", "ends_at"))
    technician = User.objects.get(pk=str(one["technician"]))
    instruments = list(Instrument.objects.filter(pk__in=one["instruments"]))  # type: ignore[misc]
    for held in job.bookings.filter(cancelled_at__isnull=True, events__isnull=True):
        record_change(held, {"cancelled_at": now})
    columns = {"starts_at": start, "ends_at": end, "technician": technician}
    record_change(job, columns, related={"kit": instruments})
    span = {"job": job, "starts_at": start, "ends_at": end}
    booking_make(booking=Booking(technician=technician, **span), by=by, now=now)
    for instrument in instruments:
        booking_make(booking=Booking(instrument=instrument, **span), by=by, now=now)
    if job.state == JobState.DRAFT:
        job_move(
            job=job, state=JobState.PLANNED, reason=system_reason(message("plan-accepted")), by=by, now=now
        )


def _nudge(plan_id: UUID) -> None:
    """Notify the workers in the background. If the broker is down, the sweep sends again later."""
    if settings.CELERY_BROKER_URL:
        _sender.submit(copy_context().run, _send, plan_id)


def _send(plan_id: UUID) -> None:
    try:
        # Imported here: Celery takes as long to load as Django, and without a broker nothing is sent.
        from surveys.operations import tasks

        tasks.make_plan.apply_async((str(plan_id),), retry=False)
    except Exception as error:  # no caller waits for this thread, so the error is logged here
        logger.warning("broker not reached (%s); the sweep will send plan %s again", error, plan_id)
