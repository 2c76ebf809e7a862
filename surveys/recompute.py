"""Records to physics to new results.

A survey's result rests on the pipe data valid on its day. When pipe data changes, every survey that now
rests on another version gets a new result; the old one stays, marked as replaced. Work is claimed by one
filtered update and held by a lease; the physics runs outside any transaction, and a short one stores the
result only if the claim still holds and the pipe data is still the valid one. So a worker may die, a task
may be sent twice, and two corrections may race: each survey ends with one current result, on the latest.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.conf import settings
from django.db import models, transaction
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from surveys.models import Notice, Pipe, PipeData, Recomputation, RecomputationItem, Result, Survey
from surveys.reduction import Draft, result_account, result_store, survey_reduce
from surveys.selectors import pipe_data_valid, survey_date

logger = logging.getLogger(__name__)

CHUNK = 20
MOST_ATTEMPTS = 5
FIRST_BACKOFF = timedelta(seconds=2)

ItemState = RecomputationItem.State
State = Recomputation.State


def surveys_to_recompute(pipe: Pipe) -> list[tuple[Survey, Result]]:
    """The surveys of a pipe whose current result rests on another version than is valid on their day."""
    # Not `pipe.data.all()`: what somebody prefetched before the change would hide it.
    versions = list(PipeData.objects.filter(pipe=pipe))
    current = Result.objects.filter(survey__measuring_point__pipe=pipe, replaced_at__isnull=True)
    moved = []
    for result in current.select_related("survey__measuring_point__pipe__site").order_by("survey_id"):
        valid = pipe_data_valid(versions, survey_date(result.survey))
        if valid is not None and valid.id != result.pipe_data_id:
            moved.append((result.survey, result))
    return moved


def recomputations_due() -> list[UUID]:
    """Recomputations that have an item waiting for a worker, or one whose worker let its lease run out."""
    due = RecomputationItem.objects.filter(_due(timezone.now()), recomputation=OuterRef("pk"))
    unfinished = Recomputation.objects.filter(state__in=[State.WAITING, State.RUNNING])
    return list(unfinished.filter(Exists(due)).order_by("asked_at").values_list("pk", flat=True))


def work_off(recomputation_id: UUID) -> None:
    """Do what is due of one recomputation, chunk by chunk, until nothing is left to claim."""
    Recomputation.objects.filter(pk=recomputation_id, state=State.WAITING).update(
        state=State.RUNNING, started_at=timezone.now()
    )
    while items := _claim(recomputation_id):
        for item in items:
            _work_on(item)
    finish_if_complete(recomputation_id)


def finish_if_complete(recomputation_id: UUID) -> None:
    """Close a recomputation of which every item is done or parked."""
    items = RecomputationItem.objects.filter(recomputation=OuterRef("pk"))
    complete = Recomputation.objects.filter(
        ~Exists(items.filter(state__in=[ItemState.WAITING, ItemState.RUNNING])),
        pk=recomputation_id,
        state__in=[State.WAITING, State.RUNNING],
    )
    parked = RecomputationItem.objects.filter(recomputation=recomputation_id, state=ItemState.PARKED).exists()
    complete.update(
        state=State.FINISHED_WITH_FAILURES if parked else State.FINISHED, finished_at=timezone.now()
    )


def _lease() -> timedelta:
    return timedelta(seconds=settings.RECOMPUTATION_LEASE_SECONDS)


def _due(now: datetime) -> Q:
    return Q(state=ItemState.WAITING, run_after__lte=now) | Q(state=ItemState.RUNNING, lease_until__lt=now)


def _claim(recomputation_id: UUID) -> list[RecomputationItem]:
    """Take up to a chunk of due items; the update's own condition decides between rivals."""
    now, token = timezone.now(), uuid4()
    due = RecomputationItem.objects.filter(_due(now), recomputation=recomputation_id)
    # An item that took its worker down with it so often is set aside for a person to look at.
    due.filter(state=ItemState.RUNNING, attempts__gte=MOST_ATTEMPTS).update(
        state=ItemState.PARKED, error="The worker stopped while working on this, again and again."
    )
    some = list(due.order_by("pk").values_list("pk", flat=True)[:CHUNK])
    if not some:
        return []
    due.filter(pk__in=some).update(
        state=ItemState.RUNNING, claimed_by=token, lease_until=now + _lease(), attempts=F("attempts") + 1
    )
    claimed = RecomputationItem.objects.filter(claimed_by=token, state=ItemState.RUNNING)
    # Empty though some were due: a rival was faster. It will come back for the rest.
    return list(claimed.select_related("recomputation").order_by("pk"))


def _work_on(item: RecomputationItem) -> None:
    try:
        _recompute(item)
    except Exception as error:  # whatever it was, the run goes on and the item says what stopped it
        logger.exception("recomputation %s, survey %s", item.recomputation_id, item.survey_id)
        _set_back(item, error)


def _recompute(item: RecomputationItem) -> None:
    survey = survey_with_all(item.survey_id)
    valid = valid_data(survey)
    current = current_result(survey)
    draft = None
    if current.pipe_data_id != valid.id:
        draft = survey_reduce(survey, valid)
    with transaction.atomic():
        if not _still_ours(item):
            return
        locked = Survey.objects.select_for_update().get(pk=survey.pk)
        if valid_data(locked).id != valid.id or current_result(locked).id != current.id:
            # Pipe data or result moved on meanwhile: look again at once.
            _owned(item).update(state=ItemState.WAITING, claimed_by=None, lease_until=None)
            return
        after = _replace(current, draft, item.recomputation) if draft else current
        _owned(item).update(state=ItemState.DONE, after=after, error="", claimed_by=None, lease_until=None)


def _replace(current: Result, draft: Draft, recomputation: Recomputation) -> Result:
    now = timezone.now()
    Result.objects.filter(pk=current.pk, replaced_at__isnull=True).update(replaced_at=now)
    account = result_account(current, draft)
    result = result_store(
        draft,
        cause=recomputation.cause,
        recomputation=recomputation,
        replaces=current,
        account=account,
        now=now,
    )
    _tell_client(current, result, account["relative_change"], recomputation.reason, now)
    return result


def _tell_client(before: Result, after: Result, change: float | None, reason: str, now: datetime) -> None:
    """A notice, if the figure moved by more than the client wants to be told of."""
    client = after.survey.measuring_point.pipe.site.client
    if change is not None and abs(change) <= client.notice_threshold:
        return
    Notice.objects.create(
        client=client,
        before=before,
        after=after,
        relative_change=change,
        threshold=client.notice_threshold,
        reason=reason,
        made_at=now,
    )


def _set_back(item: RecomputationItem, error: Exception) -> None:
    text = f"{type(error).__name__}: {error}"[:2000]
    if item.attempts >= MOST_ATTEMPTS:
        _owned(item).update(state=ItemState.PARKED, error=text, claimed_by=None, lease_until=None)
        return
    later = timezone.now() + FIRST_BACKOFF * 2 ** (item.attempts - 1)
    _owned(item).update(
        state=ItemState.WAITING, error=text, run_after=later, claimed_by=None, lease_until=None
    )


def _owned(item: RecomputationItem) -> models.QuerySet[RecomputationItem]:
    return RecomputationItem.objects.filter(pk=item.pk, claimed_by=item.claimed_by, state=ItemState.RUNNING)


def _still_ours(item: RecomputationItem) -> bool:
    return bool(_owned(item).update(lease_until=timezone.now() + _lease()))


def survey_with_all(survey_id: UUID) -> Survey:
    """A survey with what its reduction reads."""
    related = ("measuring_point__pipe__site__client", "setup__pipe_data", "setup__transducer_data", "log")
    return Survey.objects.select_related(*related).get(pk=survey_id)


def valid_data(survey: Survey) -> PipeData:
    """The pipe data valid on a survey's day as known now; there is always one, since a set-up needed it."""
    pipe = survey.measuring_point.pipe
    versions: Iterable[PipeData] = PipeData.objects.filter(pipe=pipe)
    valid = pipe_data_valid(versions, survey_date(survey))
    return valid if valid is not None else survey.setup.pipe_data


def current_result(survey: Survey) -> Result:
    """The result of a survey that nothing has replaced."""
    return Result.objects.get(survey=survey, replaced_at__isnull=True)
