"""Jobs and their moves from state to state."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from surveys.core.errors import Conflict, ServiceError
from surveys.models import Job, JobStatusChange, MeasuringPoint, PipeData, User
from surveys.models.job import JobState
from surveys.services.records import record_change, said

MOVES: dict[str, tuple[JobState, ...]] = {
    JobState.DRAFT: (JobState.PLANNED, JobState.CANCELLED),
    JobState.PLANNED: (JobState.DRAFT, JobState.ON_SITE, JobState.CANCELLED),
    JobState.ON_SITE: (JobState.PLANNED, JobState.IN_REVIEW, JobState.CANCELLED),
    JobState.IN_REVIEW: (JobState.ON_SITE, JobState.ISSUED),
    JobState.ISSUED: (JobState.IN_REVIEW,),
    JobState.CANCELLED: (JobState.DRAFT,),
}


# States in which a job need not have measuring points.
POINTLESS = frozenset({JobState.DRAFT, JobState.CANCELLED})


@transaction.atomic
def job_move(*, job: Job, state: str, reason: str, by: User, now: datetime) -> JobStatusChange:
    """Move a job on. Raises Conflict, naming the moves there are, for another; a cancelled job lets go of what it held."""
    reason, job = said(reason), Job.objects.select_for_update().get(pk=job.pk)
    if state not in MOVES[job.state]:
        allowed = ", ".join(MOVES[job.state])
        raise Conflict(f"From {job.state} a job moves to: {allowed}.", code="move-not-allowed", field="state")
    if state == JobState.PLANNED:
        plannable(job.measuring_points.all())
    if state == JobState.CANCELLED:
        for booking in job.bookings.filter(cancelled_at__isnull=True, events__isnull=True):
            record_change(booking, {"cancelled_at": now})
    before, job.state = job.state, state
    job.save(update_fields=["state"])
    return JobStatusChange.objects.create(
        job=job, before=before, state=state, reason=reason, changed_by=by, changed_at=now
    )


def plannable(points: Iterable[MeasuringPoint]) -> None:
    """Refuse to plan a job without points, or with a point on a pipe nothing is known of."""
    ones = list(points)
    if not ones:
        raise ServiceError("A planned job has measuring points.", code="no-points", field="measuring_points")
    known = set(
        PipeData.objects.filter(pipe__in={one.pipe_id for one in ones}).values_list("pipe", flat=True)
    )
    for one in ones:
        if one.pipe_id not in known:
            raise ServiceError(
                f"Nothing is known of the pipe of {one.name}; state its data first.",
                code="pipe-without-data",
                field="measuring_points",
            )
