"""Starting recomputations, and telling the workers there is something to do."""

from __future__ import annotations

import logging
from datetime import datetime
from functools import partial

from django.conf import settings
from django.db import transaction

from compute import tasks
from surveys.errors import Conflict
from surveys.models import Pipe, PipeData, Recomputation, RecomputationItem, User
from surveys.recompute import surveys_to_recompute

logger = logging.getLogger(__name__)


def recomputation_start(*, pipe: Pipe, data: PipeData, cause: str, by: User, now: datetime) -> Recomputation:
    """Write down the work new pipe data makes, in the caller's transaction; send it once that has committed."""
    surveys = surveys_to_recompute(pipe)
    recomputation = Recomputation.objects.create(
        pipe=pipe,
        pipe_data=data,
        cause=cause,
        reason=data.reason,
        asked_at=now,
        asked_by=by,
        state=Recomputation.State.WAITING if surveys else Recomputation.State.FINISHED,
        finished_at=None if surveys else now,
    )
    RecomputationItem.objects.bulk_create(
        [
            RecomputationItem(recomputation=recomputation, survey=survey, before=result, run_after=now)
            for survey, result in surveys
        ],
        batch_size=500,
    )
    if surveys:
        transaction.on_commit(partial(nudge, recomputation), robust=True)
    return recomputation


@transaction.atomic
def recomputation_retry(*, recomputation: Recomputation, now: datetime) -> int:
    """Set parked surveys of a recomputation to work again, and tell how many.

    Raises Conflict if none is parked.
    """
    parked = RecomputationItem.objects.filter(
        recomputation=recomputation, state=RecomputationItem.State.PARKED
    )
    count = parked.update(state=RecomputationItem.State.WAITING, attempts=0, run_after=now)
    if not count:
        raise Conflict("No survey of this recomputation is parked.", code="nothing-parked")
    Recomputation.objects.filter(pk=recomputation.pk).update(
        state=Recomputation.State.RUNNING, finished_at=None
    )
    transaction.on_commit(partial(nudge, recomputation), robust=True)
    return count


def nudge(recomputation: Recomputation) -> None:
    """Tell the workers. A broker that is down costs time, not work: the sweep sends again."""
    if not settings.CELERY_BROKER_URL:
        return
    try:
        tasks.recompute.apply_async((str(recomputation.pk),), retry=False)
    except tasks.recompute.OperationalError:
        logger.warning("broker not reached; the sweep will send recomputation %s again", recomputation.pk)
