"""Recalculation of results after a change of their inputs.

The result of a survey is based on its inputs in force (`surveys.results.inputs_in_force`): survey data, pipe data valid on the day of the
survey, transducer data, calibrations, method. If an input changes, each survey with other inputs gets a new result; the old
result is kept and marked as replaced. A worker claims items with a conditional UPDATE and a lease (`surveys.results.claims`).
It calculates outside any transaction and stores each result in a short transaction, only if the lease is still valid and the
inputs are unchanged. So a worker may be killed, a task may be sent twice, and two corrections may run at the same time: each
survey ends with one current result, based on the latest inputs. Combinations of surveys are items too, created when a
part gets a new result (`surveys.results.combining`).
"""

from __future__ import annotations

import logging
import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any, TypeVar
from uuid import UUID

from django.db import InterfaceError, OperationalError, connection, transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from surveys.core.stored_quantities import findings_json
from surveys.models import (
    ErrorCorrectionPolicy,
    Notice,
    Recomputation,
    RecomputationItem,
    Result,
    ReviewedSurvey,
    Survey,
)
from surveys.models.reasons import Reason
from surveys.models.result import Cause
from surveys.results import claims
from surveys.results.change_breakdown import result_change_breakdown
from surveys.results.combining import (
    CombinationOccasion,
    CombinedDraft,
    combinations_schedule,
    combined_draft,
    combined_store,
    draft_is_current,
)
from surveys.results.dependencies import result_key
from surveys.results.inputs_in_force import (
    ResultInputs,
    batched,
    error_correction_policies,
    inputs_in_force,
    surveys_with_inputs,
)
from surveys.results.reduction import Draft, exceeds, result_store, survey_reduce
from surveys.results.staleness import current_results, inputs_unchanged

logger = logging.getLogger(__name__)

T = TypeVar("T")
# Surveys read with one set of queries, of those claimed together.
READ_BATCH = 50
# A database that restarts is back within seconds; an item whose statement itself is at fault fails after these.
PAUSES_SECONDS = (0.1, 0.2, 0.5, 1, 2, 4, 8)

ItemState = RecomputationItem.State
State = Recomputation.State


def recomputations_due() -> list[UUID]:
    """Recomputations with an item for a worker to take, or with nothing left but to be closed."""
    items = RecomputationItem.objects.filter(recomputation=OuterRef("pk"))
    unfinished = Recomputation.objects.filter(state__in=[State.WAITING, State.RUNNING])
    something = Exists(items.filter(claims.due(timezone.now()))) | ~Exists(_open(items))
    return list(unfinished.filter(something).order_by("requested_at").values_list("pk", flat=True))


def recomputation_pending() -> bool:
    """Whether there may be work at all: the look of a worker that has none, many times a second."""
    with connection.cursor() as cursor:
        # Plainly, for the query builder takes ten times as long as the answer.
        cursor.execute("SELECT 1 FROM surveys_recomputation WHERE state IN ('waiting', 'running') LIMIT 1")
        return cursor.fetchone() is not None


def items_due(recomputation_id: UUID) -> int:
    """How many items of a recomputation wait for a worker to take them."""
    return RecomputationItem.objects.filter(
        claims.due(timezone.now()), recomputation=recomputation_id
    ).count()


def recomputation_run(recomputation_id: UUID, *, for_seconds: float = math.inf) -> bool:
    """Process the due items of one recomputation, claim by claim.

    With `for_seconds`, stop after the claim in which the time is over. Return whether items may remain.
    """
    over = time.monotonic() + for_seconds
    recomputation = _patiently(partial(_start, recomputation_id))
    while claim := _patiently(partial(claims.claim, recomputation_id)):
        _process_claims(claim, recomputation)
        if time.monotonic() > over:
            return True
    _patiently(partial(finish_if_complete, recomputation_id))
    return False


@transaction.atomic
def finish_if_complete(recomputation_id: UUID) -> None:
    """Close a recomputation of which every item is done or failed."""
    # Locked, so that whoever sets failed items to work again comes before or after.
    run = Recomputation.objects.select_for_update().get(pk=recomputation_id)
    items = RecomputationItem.objects.filter(recomputation=run)
    if run.state not in {State.WAITING, State.RUNNING} or _open(items).exists():
        return
    failed = items.filter(state=ItemState.FAILED).exists()
    run.state = State.FINISHED_WITH_FAILURES if failed else State.FINISHED
    run.finished_at = timezone.now()
    run.save(update_fields=["state", "finished_at"])


def _open(items: QuerySet[RecomputationItem]) -> QuerySet[RecomputationItem]:
    return items.filter(state__in=[ItemState.WAITING, ItemState.RUNNING])


def _start(recomputation_id: UUID) -> Recomputation:
    Recomputation.objects.filter(pk=recomputation_id, state=State.WAITING).update(
        state=State.RUNNING, started_at=timezone.now()
    )
    related = "out_of_tolerance_review__calibration__instrument"
    run = Recomputation.objects.select_related(related)
    return run.prefetch_related("out_of_tolerance_review__calibration__points").get(pk=recomputation_id)


def _process_claims(claim: claims.Claim, recomputation: Recomputation) -> None:
    for items in batched(claim.items, READ_BATCH):
        _patiently(partial(claims.renew, claim))
        found = _patiently(
            partial(_read, [item.survey_id for item in items if item.survey_id and item.pk in claim.held])
        )
        for item in items:
            _patiently(partial(claims.renew, claim))
            if item.pk not in claim.held:
                continue
            try:
                _process_item(item, found, recomputation)
            except Exception as error:  # the run continues, and the item records the error
                of = "combination" if item.combination_id else "survey"
                logger.exception(
                    "recomputation %s, %s %s", recomputation.pk, of, item.combination_id or item.survey_id
                )
                _patiently(partial(claims.item_retry_later, item, error))


def _process_item(item: RecomputationItem, found: dict[UUID, _Found], recomputation: Recomputation) -> None:
    if item.combination_id is not None:
        draft = _patiently(partial(combined_draft, item.combination_id))
        _patiently(partial(_store_combined, item, draft, recomputation))
    elif recomputation.cause == Cause.OUT_OF_TOLERANCE and item.survey_id is not None:
        shown = _patiently(partial(_as_found, found[item.survey_id], recomputation))
        _patiently(partial(_store_as_found, item, shown, recomputation))
    elif item.survey_id is not None:
        work = _patiently(partial(_compute, found[item.survey_id]))
        _patiently(partial(_store, item, work, recomputation))


def _patiently(do: Callable[[], T]) -> T:
    """Do something with the database, and again if its connection fails under it: the server may be restarting.

    What is done either happened as a whole or not at all, and done twice it finds the claim settled. If the database stays
    away the error goes up, the task ends, and what was claimed is taken by whoever comes when the lease is over.
    """
    for pause in PAUSES_SECONDS:
        try:
            return do()
        except (OperationalError, InterfaceError) as error:
            logger.warning("database: %s; trying again in %s s", str(error).strip(), pause)
            connection.close()
            time.sleep(pause)
    return do()


@dataclass(frozen=True, slots=True)
class _Work:
    """Inputs in force of a survey, its current result and the new draft; no draft if the result has these inputs already."""

    inputs: ResultInputs
    current: Result
    draft: Draft | None
    change_breakdown: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class _Found:
    """A survey as read, its current result, and the policies on error curves at that time."""

    survey: Survey
    current: Result
    policies: Sequence[ErrorCorrectionPolicy]


def _read(survey_ids: Iterable[UUID]) -> dict[UUID, _Found]:
    """Surveys and their current results, in as many queries for fifty as for one."""
    ids = list(survey_ids)
    results = {result.survey_id: result for result in current_results().filter(survey__in=ids)}
    surveys = surveys_with_inputs().filter(pk__in=ids)
    policies = error_correction_policies()
    return {
        survey.pk: _Found(survey, results[survey.pk], policies) for survey in surveys if survey.pk in results
    }


def _compute(found: _Found) -> _Work:
    survey, current = found.survey, found.current
    inputs = inputs_in_force(survey, found.policies)
    if result_key(current) == inputs.key:
        return _Work(inputs, current, None, None)
    draft = survey_reduce(inputs)
    return _Work(inputs, current, draft, result_change_breakdown(current, draft))


def _as_found(found: _Found, recomputation: Recomputation) -> _Work:
    """What a survey's result would be, corrected for the error that was found."""
    inputs = inputs_in_force(found.survey, found.policies)
    with_error = replace(
        inputs,
        as_found_corrections=(
            *inputs.as_found_corrections,
            recomputation.out_of_tolerance_review.calibration,
        ),
    )
    return _Work(inputs, found.current, survey_reduce(with_error), None)


class _ClaimLost(Exception):
    """Another worker has the item: what was about to be stored is undone."""


def _store(item: RecomputationItem, work: _Work, recomputation: Recomputation) -> None:
    """Put the new result in the place of the old and note the item as done, in one transaction, or do neither.

    Two that would settle a survey at once do it one after the other, for both lock it first; only then is looked whether
    anything moved. A change that commits after that look has made an item for this survey, since it found this one unsettled
    or its result (`results_outdated`), and whoever works on that item locks the survey after this. So the last to settle a survey
    has seen every change to it.
    """
    try:
        with transaction.atomic():
            Survey.objects.select_for_update(no_key=True).values_list("pk").get(pk=work.inputs.survey.pk)
            if not inputs_unchanged(work.inputs, work.current):
                claims.item_release(item)
                return
            if not claims.settle(item, **_outcome(work, recomputation)):
                raise _ClaimLost
    except _ClaimLost:
        logger.info("recomputation %s, survey %s: another has it", recomputation.pk, item.survey_id)


def _store_as_found(item: RecomputationItem, work: _Work, recomputation: Recomputation) -> None:
    """Store the corrected flow with the result under review; the office decides whether it replaces the result."""
    draft = work.draft
    if draft is None:  # not for this cause
        return
    try:
        with transaction.atomic():
            Survey.objects.select_for_update(no_key=True).values_list("pk").get(pk=work.inputs.survey.pk)
            if not inputs_unchanged(work.inputs, work.current):
                claims.item_release(item)
                return
            if not claims.settle(item, before=work.current):
                raise _ClaimLost
            uncertainty = draft.reduction.uncertainty
            _open_reviews(work.inputs.survey).filter(review=recomputation.out_of_tolerance_review).update(
                result=work.current,
                volume_flow_m3_s=draft.reduction.volume_flow,
                expanded_uncertainty_m3_s=uncertainty.expanded_uncertainty,
                coverage_factor=uncertainty.coverage_factor,
                findings=[*findings_json(draft.reduction.findings), *draft.log_findings],
                calculated_at=timezone.now(),
            )
    except _ClaimLost:
        logger.info("recomputation %s, survey %s: another has it", recomputation.pk, item.survey_id)


def _open_reviews(survey: Survey) -> QuerySet[ReviewedSurvey]:
    return ReviewedSurvey.objects.filter(survey=survey, state=ReviewedSurvey.State.UNDER_REVIEW)


def _reviews_schedule(survey: Survey, now: datetime) -> None:
    """Calculate the result with the error found again, because a result under review was replaced."""
    runs = list(_open_reviews(survey).values_list("review__recomputation", flat=True))
    if not runs:
        return
    Recomputation.objects.filter(pk__in=runs).update(state=State.RUNNING, finished_at=None)
    RecomputationItem.objects.filter(recomputation__in=runs, survey=survey).exclude(
        state__in=[ItemState.WAITING, ItemState.RUNNING]
    ).update(state=ItemState.WAITING, attempts=0, run_after=now, finished_at=None)


def _store_combined(item: RecomputationItem, draft: CombinedDraft, recomputation: Recomputation) -> None:
    """As `_store`, of a combination. A part that moves later sets the item to work again."""
    try:
        with transaction.atomic():
            if not draft_is_current(draft):
                claims.item_release(item)
                return
            making = CombinationOccasion(
                recomputation.cause, recomputation.reason, timezone.now(), recomputation
            )
            if not claims.settle(item, after_combined=combined_store(draft, making)):
                raise _ClaimLost
    except _ClaimLost:
        logger.info("recomputation %s, combination %s: another has it", recomputation.pk, item.combination_id)


def _outcome(work: _Work, recomputation: Recomputation) -> dict[str, Result]:
    """Store the new result, if there is one, and return the values of the item."""
    if work.draft is None or work.change_breakdown is None:
        return {"after": work.current}
    now = timezone.now()
    Result.objects.filter(pk=work.current.pk).update(replaced_at=now)
    result = result_store(
        work.draft,
        cause=recomputation.cause,
        recomputation=recomputation,
        replaces=work.current,
        change_breakdown=work.change_breakdown,
        now=now,
    )
    _tell_client(result, work, _reason_for(work.inputs.survey, recomputation))
    _reviews_schedule(work.inputs.survey, now)
    combinations_schedule(recomputation, [result.survey_id], now)
    return {"before": work.current, "after": result}


def _reason_for(survey: Survey, recomputation: Recomputation) -> Reason:
    """Return why a client's result changed: of an error that was decided to be corrected, the reason given for this survey."""
    if recomputation.cause != Cause.AS_FOUND:
        return recomputation.reason
    decided = ReviewedSurvey.objects.filter(review__calibration=recomputation.calibration_id, survey=survey)
    return decided.values_list("reason", flat=True).first() or recomputation.reason


def _tell_client(result: Result, work: _Work, reason: Reason) -> None:
    """Notify the client of a change above their notice threshold."""
    client = work.inputs.survey.measuring_point.pipe.site.client
    change = work.change_breakdown["relative_change"] if work.change_breakdown else 0.0
    # The client is notified of every correction of a calibration error, however small.
    if not exceeds(change, 0.0 if result.cause == Cause.AS_FOUND else client.notice_threshold):
        return
    Notice.objects.create(
        client=client,
        before=work.current,
        after=result,
        relative_change=change,
        threshold=client.notice_threshold,
        reason=reason,
        created_at=result.computed_at,
    )
