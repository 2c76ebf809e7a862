"""Combined results: stored, and recalculated after a change of the results of their parts.

The code that stores a new result of a survey locks the row of the survey and schedules each combination of the survey in the
same transaction (`combinations_schedule`). Code that combines without such an item first locks the rows of the surveys in the
order of their keys, then the row of the combination. So each combination ends with the last results of its parts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef

from compute.base.errors import ComputeError
from compute.results import survey as method
from surveys.core.stored_quantities import findings_json, finite, quantity, shared_budget_json
from surveys.models import (
    Combination,
    CombinationPart,
    CombinedResult,
    Notice,
    Recomputation,
    RecomputationItem,
    Result,
    Survey,
)
from surveys.models.reasons import Reason
from surveys.models.result import Cause
from surveys.results.combined_flow import CombinedFlow, combined_flow
from surveys.results.dependencies import REPEATED_FROM
from surveys.results.reduction import exceeds, relative_change

ItemState = RecomputationItem.State
# Relations of a part's result that combining reads.
RELATED_OF_PART = (
    "survey__measuring_point__pipe__site__client",
    "survey__log",
    "survey_data__setup__pipe_data",
    "survey_data__setup__transducer_data",
    "pipe_data__custom_medium_data__medium",
    "pipe_data__custom_material_data__material",
    "pipe_data__custom_lining_data__material",
    "transducer_data",
    "wall_measurement",
)


@dataclass(frozen=True, slots=True)
class CombinationOccasion:
    """Why a combined result is made now, in words for the client too."""

    cause: str
    reason: Reason
    now: datetime
    recomputation: Recomputation | None = None


@dataclass(frozen=True, slots=True)
class CombinedDraft:
    """A combination with the results of its parts, in their order, and the combined flow, not stored yet.

    No results: a part has none yet. No flow: there is nothing to do.
    """

    combination: Combination
    results: tuple[Result, ...]
    current: CombinedResult | None
    flow: CombinedFlow | None = None


def results_of(surveys: Sequence[UUID]) -> tuple[Result, ...]:
    """The current results of surveys, in that order; none if one of them has none."""
    rows = Result.objects.filter(survey__in=surveys, replaced_at__isnull=True)
    rows = rows.select_related(*RELATED_OF_PART).prefetch_related(*REPEATED_FROM)
    found = {result.survey_id: result for result in rows}
    return tuple(found[survey] for survey in surveys) if len(found) == len(surveys) else ()


def combined_draft(combination_id: UUID) -> CombinedDraft:
    """Calculate a combination from current results, without storing it. Raises ComputeError if its parts cannot be combined."""
    draft = _current_combination(Combination.objects.get(pk=combination_id))
    if not _needs_result(draft):
        return draft
    flow = combined_flow(draft.combination.kind, draft.results)
    return CombinedDraft(draft.combination, draft.results, draft.current, flow)


def draft_is_current(draft: CombinedDraft) -> bool:
    """Return whether a draft is still current; lock the combination until the end of the transaction."""
    locked = Combination.objects.select_for_update(no_key=True).get(pk=draft.combination.pk)
    now = _current_combination(locked)
    return (_keys(now), locked.retired_at) == (_keys(draft), draft.combination.retired_at)


def combined_store(draft: CombinedDraft, making: CombinationOccasion) -> CombinedResult | None:
    """Store the result of a draft in place of the current result, notify the client, and return the result in force.

    The caller's transaction has locked the combination.
    """
    if draft.flow is None:
        return draft.current
    before = draft.current
    if before is not None:
        CombinedResult.objects.filter(pk=before.pk).update(replaced_at=making.now)
    columns = _columns(draft, draft.flow)
    change_breakdown = _change_breakdown(before, columns) if before is not None else None
    after = CombinedResult.objects.create(
        **columns, **_occasion(making), replaces=before, change_breakdown=change_breakdown
    )
    after.results.set(draft.results)
    blocked = Combination.objects.filter(pk=draft.combination.pk, blocked_reason__isnull=False)
    blocked.update(blocked_reason=None)
    if before is not None:
        _tell_client(before, after, making)
    return after


def surveys_lock(surveys: Sequence[UUID]) -> None:
    """Lock surveys until the end of the transaction, so that none of them gets a new result."""
    list(Survey.objects.select_for_update(no_key=True).filter(pk__in=surveys).order_by("pk"))


def combinations_settle(combinations: Sequence[Combination], making: CombinationOccasion) -> None:
    """Combine again each combination that is not based on the current results of its parts, in the caller's transaction.

    Parts that cannot be combined raise nothing here: the combination stores the reason as `blocked_reason`.
    """
    parts = CombinationPart.objects.filter(combination__in=combinations)
    surveys_lock(list(parts.values_list("survey", flat=True)))
    ids = [combination.pk for combination in combinations]
    list(Combination.objects.select_for_update(no_key=True).filter(pk__in=ids).order_by("pk"))
    for combination_id in ids:
        try:
            combined_store(combined_draft(combination_id), making)
        except ComputeError as error:
            Combination.objects.filter(pk=combination_id).update(blocked_reason=error.message.stored())


def combinations_schedule(recomputation: Recomputation, surveys: Sequence[UUID], now: datetime) -> None:
    """Set the combinations of surveys that got a new result to work in the same run, in the caller's transaction.

    The caller holds the surveys' rows. One that was worked off, or is being, starts again: a part moved since.
    """
    without = CombinationPart.objects.filter(
        ~Exists(Result.objects.filter(survey=OuterRef("survey"), replaced_at__isnull=True)),
        combination=OuterRef("pk"),
    )
    of_surveys = CombinationPart.objects.filter(survey__in=surveys).values("combination")
    touched = list(
        Combination.objects.filter(~Exists(without), pk__in=of_surveys, retired_at__isnull=True).order_by(
            "pk"
        )
    )
    if not touched:
        return
    current = CombinedResult.objects.filter(combination__in=touched, replaced_at__isnull=True)
    before = {result.combination_id: result for result in current}
    RecomputationItem.objects.bulk_create(
        [
            RecomputationItem(
                recomputation=recomputation,
                combination=one,
                before_combined=before.get(one.pk),
                run_after=now,
            )
            for one in touched
        ],
        ignore_conflicts=True,
    )
    RecomputationItem.objects.filter(recomputation=recomputation, combination__in=touched).update(
        state=ItemState.WAITING,
        attempts=0,
        run_after=now,
        claimed_by=None,
        lease_until=None,
        finished_at=None,
        error=None,
    )


def _current_combination(combination: Combination) -> CombinedDraft:
    surveys = combination.parts.order_by("sequence").values_list("survey", flat=True)
    current = combination.results.filter(replaced_at__isnull=True).prefetch_related("results").first()
    return CombinedDraft(combination, results_of(list(surveys)), current)


def _needs_result(draft: CombinedDraft) -> bool:
    if draft.combination.retired_at is not None or not draft.results:
        return False
    rests_on = {result.pk for result in draft.current.results.all()} if draft.current else set()
    return rests_on != {result.pk for result in draft.results}


def _keys(draft: CombinedDraft) -> tuple[object, ...]:
    return tuple(result.pk for result in draft.results), draft.current and draft.current.pk


def _occasion(making: CombinationOccasion) -> dict[str, Any]:
    return {
        "method_version": method.METHOD_VERSION,
        "cause": making.cause,
        "recomputation": making.recomputation,
        "computed_at": making.now,
    }


def _columns(draft: CombinedDraft, flow: CombinedFlow) -> dict[str, Any]:
    combined = flow.combined
    return {
        "combination": draft.combination,
        "volume_flow_m3_s": combined.value,
        "combined_standard_uncertainty_m3_s": combined.combined_standard_uncertainty,
        "expanded_uncertainty_m3_s": combined.expanded_uncertainty,
        "coverage_factor": combined.coverage_factor,
        "effective_degrees_of_freedom": finite(combined.effective_degrees_of_freedom),
        "averaged_from": flow.window[0],
        "averaged_to": flow.window[1],
        "steps": flow.steps,
        "shared_variance_fraction": combined.shared_variance_fraction,
        "range_m3_s": flow.spread,
        "parts": [
            {
                "survey": str(result.survey_id),
                "result": str(result.pk),
                "coefficient": coefficient,
                "volume_flow": quantity(part, "volume_flow"),
            }
            for result, coefficient, part in zip(draft.results, flow.coefficients, flow.flows, strict=True)
        ],
        "findings": findings_json(combined.findings),
        "budget": shared_budget_json(combined.budget, [str(result.survey_id) for result in draft.results]),
    }


def _change_breakdown(before: CombinedResult, after: dict[str, Any]) -> dict[str, Any]:
    """By how much a combined result differs from the one it replaces, and what each part did to it."""
    codes_before = {finding["code"] for finding in before.findings}
    codes_after = {finding["code"] for finding in after["findings"]}
    was = {part["survey"]: part for part in before.parts}
    return {
        "before": quantity(before.volume_flow_m3_s, "volume_flow"),
        "after": quantity(after["volume_flow_m3_s"], "volume_flow"),
        "change": quantity(after["volume_flow_m3_s"] - before.volume_flow_m3_s, "volume_flow"),
        "relative_change": relative_change(before.volume_flow_m3_s, after["volume_flow_m3_s"]),
        "parts": [_moved(was.get(part["survey"]), part) for part in after["parts"]],
        "method_before": before.method_version,
        "method_after": method.METHOD_VERSION,
        "new_findings": sorted(codes_after - codes_before),
        "settled_findings": sorted(codes_before - codes_after),
    }


def _moved(before: dict[str, Any] | None, after: dict[str, Any]) -> dict[str, Any]:
    """A part before and after; `effect` is what it did to the combined flow."""
    contributed = before["coefficient"] * before["volume_flow"]["si"] if before else 0.0
    return {
        "survey": after["survey"],
        "result_before": before and before["result"],
        "result_after": after["result"],
        "before": before and before["volume_flow"],
        "after": after["volume_flow"],
        "effect": quantity(after["coefficient"] * after["volume_flow"]["si"] - contributed, "volume_flow"),
    }


def _tell_client(before: CombinedResult, after: CombinedResult, making: CombinationOccasion) -> None:
    """Notify the client of a change of the combined flow above their notice threshold."""
    client = after.combination.site.client
    change = relative_change(before.volume_flow_m3_s, after.volume_flow_m3_s)
    # The client is notified of every correction of a calibration error, however small.
    if not exceeds(change, 0.0 if making.cause == Cause.AS_FOUND else client.notice_threshold):
        return
    Notice.objects.create(
        client=client,
        before_combined=before,
        after_combined=after,
        relative_change=change,
        threshold=client.notice_threshold,
        reason=making.reason,
        created_at=making.now,
    )
