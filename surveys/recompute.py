"""Records to physics to new results.

A survey's result rests on what is in force for it (`surveys.basis`): what was stated of it, the pipe data valid on its day,
the data of the transducers, the calibrations, the method. When any of it changes, every survey that now should rest on
something else gets a new result; the old one stays, marked as replaced. Work is claimed by one filtered update and held by
a lease; the physics runs outside any transaction, and a short one stores the result only if the claim still holds and
nothing moved meanwhile. So a worker may die, a task may be sent twice, and two corrections may race: each survey ends with
one current result, on the latest. Combinations of surveys are items too, set to work where a part gets a new result
(`surveys.combining`).
"""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.conf import settings
from django.db import models, transaction
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from surveys.basis import basis_in_force, result_key, survey_with_basis
from surveys.combining import (
    Making,
    combinations_set_going,
    combined_draft,
    combined_store,
    draft_holds,
    parts_at_rest,
)
from surveys.models import Notice, Recomputation, RecomputationItem, Result, Survey
from surveys.reduction import Draft, exceeds, result_account, result_store, survey_reduce

logger = logging.getLogger(__name__)

CHUNK = 20
MOST_ATTEMPTS = 5
FIRST_BACKOFF = timedelta(seconds=2)

ItemState = RecomputationItem.State
State = Recomputation.State


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
    late = Q(state=ItemState.WAITING, run_after__lte=now) | Q(state=ItemState.RUNNING, lease_until__lt=now)
    return late & parts_at_rest()


def _claim(recomputation_id: UUID) -> list[RecomputationItem]:
    """Take up to a chunk of due items; the update's own condition decides between rivals."""
    now, token = timezone.now(), uuid4()
    due = RecomputationItem.objects.filter(_due(now), recomputation=recomputation_id)
    # An item that took its worker down with it so often is set aside for a person to look at.
    due.filter(state=ItemState.RUNNING, attempts__gte=MOST_ATTEMPTS).update(
        state=ItemState.PARKED,
        error="The worker stopped while working on this, again and again.",
        settled_at=now,
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
        if item.combination_id is not None:
            _recombine(item, item.combination_id)
        elif item.survey_id is not None:
            _recompute(item, item.survey_id)
    except Exception as error:  # whatever it was, the run goes on and the item says what stopped it
        logger.exception(
            "recomputation %s, survey %s, combination %s",
            item.recomputation_id,
            item.survey_id,
            item.combination_id,
        )
        _set_back(item, error)


def _recompute(item: RecomputationItem, survey_id: UUID) -> None:
    basis = basis_in_force(survey_with_basis(survey_id))
    current = current_result(basis.survey)
    draft = None if result_key(current) == basis.key else survey_reduce(basis)
    with transaction.atomic():
        if not _still_ours(item):
            return
        Survey.objects.select_for_update().get(pk=basis.survey.pk)
        now_in_force = basis_in_force(survey_with_basis(basis.survey.pk))
        if now_in_force.key != basis.key or current_result(basis.survey).pk != current.pk:
            # What it rests on or the result moved on meanwhile: look again at once.
            _owned(item).update(state=ItemState.WAITING, claimed_by=None, lease_until=None)
            return
        after = _replace(current, draft, item.recomputation) if draft else current
        _owned(item).update(
            state=ItemState.DONE,
            after=after,
            error="",
            claimed_by=None,
            lease_until=None,
            settled_at=timezone.now(),
        )


def _recombine(item: RecomputationItem, combination_id: UUID) -> None:
    draft = combined_draft(combination_id)
    with transaction.atomic():
        if not _still_ours(item):
            return
        if not draft_holds(draft):
            _owned(item).update(state=ItemState.WAITING, claimed_by=None, lease_until=None)
            return
        run = item.recomputation
        _owned(item).update(
            state=ItemState.DONE,
            after_combined=combined_store(draft, Making(run.cause, run.reason, timezone.now(), run)),
            error="",
            claimed_by=None,
            lease_until=None,
            settled_at=timezone.now(),
        )


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
    combinations_set_going(recomputation, [result.survey_id], now)
    return result


def _tell_client(before: Result, after: Result, change: float | None, reason: str, now: datetime) -> None:
    """A notice, if the figure moved by more than the client wants to be told of."""
    client = after.survey.measuring_point.pipe.site.client
    if not exceeds(change, client.notice_threshold):
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
        _owned(item).update(
            state=ItemState.PARKED, error=text, claimed_by=None, lease_until=None, settled_at=timezone.now()
        )
        return
    later = timezone.now() + FIRST_BACKOFF * 2 ** (item.attempts - 1)
    _owned(item).update(
        state=ItemState.WAITING, error=text, run_after=later, claimed_by=None, lease_until=None
    )


def _owned(item: RecomputationItem) -> models.QuerySet[RecomputationItem]:
    return RecomputationItem.objects.filter(pk=item.pk, claimed_by=item.claimed_by, state=ItemState.RUNNING)


def _still_ours(item: RecomputationItem) -> bool:
    return bool(_owned(item).update(lease_until=timezone.now() + _lease()))


def current_result(survey: Survey) -> Result:
    """The result of a survey that nothing has replaced, with what it rests on."""
    related = ("survey_data__setup", "pipe_data", "transducer_data")
    rows = Result.objects.select_related(*related).prefetch_related("calibrations")
    return rows.get(survey=survey, replaced_at__isnull=True)
