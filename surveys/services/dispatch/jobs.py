"""Jobs and their status changes."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from compute.base.messages import record, term
from surveys.core.errors import Conflict, ServiceError
from surveys.models import Job, JobStatusChange, MeasuringPoint, PipeData, User
from surveys.models.job import JobState
from surveys.models.reasons import Reason
from surveys.services.records import change_reason, record_change

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
def job_move(*, job: Job, state: str, reason: Reason, by: User, now: datetime) -> JobStatusChange:
    """Change the status of a job. Raises Conflict for a change that is not allowed; a cancelled job releases its bookings."""
    reason, job = change_reason(reason), Job.objects.select_for_update().get(pk=job.pk)
    if state not in MOVES[job.state]:
        raise Conflict(
            "move-not-allowed",
            field="state",
            state=term(job.state),
            allowed=[term(str(one)) for one in MOVES[job.state]],
        )
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


def plannable(
    points: Iterable[MeasuringPoint], field: str = "measuring_points", job: Job | None = None
) -> None:
    """Reject a job without points, or with a point on a pipe without data; errors name the job if given."""
    ones = list(points)
    if not ones:
        raise ServiceError(
            "no-points", field=field, job=None if job is None else record("job", job.pk, job.title)
        )
    known = set(
        PipeData.objects.filter(pipe__in={one.pipe_id for one in ones}).values_list("pipe", flat=True)
    )
    for one in ones:
        if one.pipe_id not in known:
            raise ServiceError("pipe-without-data", field=field, point=one.name)
