"""Recalculations: started, extended, retried, and sent to the workers."""

from __future__ import annotations

import logging
import math
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from uuid import UUID

from django.conf import settings
from django.db import transaction

from compute.base.errors import ComputeError
from compute.results import survey as method
from surveys.core.errors import Conflict
from surveys.core.messages import error_text
from surveys.models import Pipe, Recomputation, RecomputationItem, Record, Result, User
from surveys.models.reasons import Reason
from surveys.models.result import Cause
from surveys.results.inputs_in_force import inputs_in_force, survey_with_inputs
from surveys.results.reduction import exceeds, relative_change, survey_reduce
from surveys.services.records import required_reason

logger = logging.getLogger(__name__)

# Sends after the response, so that a slow broker does not delay a request.
_sender = ThreadPoolExecutor(max_workers=1, thread_name_prefix="nudge")


@dataclass(frozen=True, slots=True)
class Change:
    """A change with its author and reason; `of` gives the new record by its field of the recomputation."""

    cause: str
    reason: Reason
    by: User
    now: datetime
    of: Mapping[str, Record]
    pipe: Pipe | None = None


def recomputation_start(change: Change, moved: Sequence[Result]) -> Recomputation:
    """Record the recalculations a change requires, in the caller's transaction; send them after commit."""
    recomputation = Recomputation.objects.create(
        **change.of,
        pipe=change.pipe,
        cause=change.cause,
        reason=change.reason,
        requested_at=change.now,
        requested_by=change.by,
        state=Recomputation.State.WAITING if moved else Recomputation.State.FINISHED,
        finished_at=None if moved else change.now,
    )
    RecomputationItem.objects.bulk_create(
        [
            RecomputationItem(
                recomputation=recomputation, survey_id=result.survey_id, before=result, run_after=change.now
            )
            for result in moved
        ],
        batch_size=500,
    )
    if moved:
        transaction.on_commit(partial(workers_notify, recomputation, len(moved)), robust=True)
    return recomputation


def recomputation_extend(recomputation: Recomputation, results: Sequence[Result], now: datetime) -> None:
    """Add surveys to a recalculation that may be finished, in the caller's transaction."""
    # Locked, so that it cannot be closed at the same time.
    Recomputation.objects.select_for_update().get(pk=recomputation.pk)
    RecomputationItem.objects.bulk_create(
        [
            RecomputationItem(
                recomputation=recomputation, survey_id=result.survey_id, before=result, run_after=now
            )
            for result in results
        ]
    )
    Recomputation.objects.filter(pk=recomputation.pk).update(
        state=Recomputation.State.RUNNING, finished_at=None
    )
    transaction.on_commit(partial(workers_notify, recomputation, len(results)), robust=True)


@dataclass(frozen=True, slots=True)
class Preview:
    """The result of the current method for a survey; `error` where no result is possible."""

    before: Result
    volume_flow_m3_s: float = math.nan
    relative_change: float | None = None
    exceeds_threshold: bool = False
    error: str = ""


def method_preview(since: datetime) -> Iterator[Preview]:
    """Yield the result of the current method for each result of an earlier one, of surveys from a time on. Writes nothing."""
    for result in _of_earlier_methods(since):
        inputs = inputs_in_force(survey_with_inputs(result.survey_id))
        try:
            flow = survey_reduce(inputs).reduction.volume_flow
        except ComputeError as error:
            yield Preview(result, error=error_text(error))
            continue
        change = relative_change(result.volume_flow_m3_s, flow)
        threshold = inputs.survey.measuring_point.pipe.site.client.notice_threshold
        yield Preview(result, flow, change, exceeds(change, threshold))


@transaction.atomic
def recompute_by_method(*, since: datetime, reason: str, by: User, now: datetime) -> Recomputation:
    """Recalculate by the current method all results of earlier ones, of surveys from a time on.

    Raises ServiceError without a reason.
    """
    change = Change(Cause.METHOD, required_reason(reason), by, now, {})
    return recomputation_start(change, list(_of_earlier_methods(since)))


def _of_earlier_methods(since: datetime) -> Iterator[Result]:
    current = Result.objects.filter(replaced_at__isnull=True, survey__started_at__gte=since)
    return current.exclude(method_version=method.METHOD_VERSION).order_by("survey_id").iterator(1000)


@transaction.atomic
def recomputation_retry(*, recomputation: Recomputation, now: datetime) -> int:
    """Retry the failed surveys of a recalculation, and return their number.

    Raises Conflict if none has failed.
    """
    # Locked, so that it cannot be closed at the same time.
    Recomputation.objects.select_for_update().get(pk=recomputation.pk)
    failed = RecomputationItem.objects.filter(
        recomputation=recomputation, state=RecomputationItem.State.FAILED
    )
    count = failed.update(state=RecomputationItem.State.WAITING, attempts=0, run_after=now, finished_at=None)
    if not count:
        raise Conflict("nothing-failed")
    Recomputation.objects.filter(pk=recomputation.pk).update(
        state=Recomputation.State.RUNNING, finished_at=None
    )
    transaction.on_commit(partial(workers_notify, recomputation, count), robust=True)
    return count


def workers_notify(recomputation: Recomputation, items: int) -> None:
    """Notify the workers in the background.

    A broker that is down costs time, not work: the sweep sends again.
    """
    if settings.CELERY_BROKER_URL:
        # With the request's context, so that the task's log lines have the request's id.
        _sender.submit(copy_context().run, _send, recomputation.pk, items)


def _send(recomputation_id: UUID, items: int) -> None:
    try:
        # Imported here: Celery takes as long to load as Django, and without a broker nothing is sent.
        from surveys.operations import tasks

        tasks.send(recomputation_id, items)
    except Exception as error:  # no caller waits for this thread, so the error is logged here
        logger.warning(
            "broker not reached (%s); the sweep will send recomputation %s again", error, recomputation_id
        )
