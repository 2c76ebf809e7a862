"""Instruments found out of tolerance: reviews opened, and decided survey by survey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from compute.base.messages import Message, day, message, record, term
from surveys.calibration.affected_results import affected_period_of, affected_results
from surveys.core.errors import Conflict, ServiceError
from surveys.models import (
    Calibration,
    CombinedResult,
    Notice,
    OutOfToleranceReview,
    Recomputation,
    Result,
    ReviewedSurvey,
    User,
)
from surveys.models.notice import NoticeKind
from surveys.models.reasons import SystemReason, system_reason
from surveys.models.result import Cause
from surveys.pipes.selectors import survey_date
from surveys.results.inputs_in_force import results_outdated
from surveys.services.records import required_reason
from surveys.services.results.recomputations import Change, recomputation_extend, recomputation_start

State = ReviewedSurvey.State
DECISIONS = (State.CONFIRMED, State.CORRECTED, State.WITHDRAWN)


@dataclass(frozen=True, slots=True)
class Decision:
    """The decision on one survey, with its reason."""

    reviewed: ReviewedSurvey
    state: State
    reason: str


def review_open(calibration: Calibration, *, by: User, now: datetime) -> OutOfToleranceReview | None:
    """Open a review of every result a calibration affects, in the caller's transaction; None without affected results.

    Its recalculation gives each result with the as-found error; it replaces no result.
    """
    period = affected_period_of(calibration)
    if period is None:
        return None
    results = affected_results(calibration.instrument, period.after, period.until)
    reason = _found_out_of_tolerance(calibration, period.until)
    change = Change(Cause.OUT_OF_TOLERANCE, reason, by, now, {"calibration": calibration})
    review = OutOfToleranceReview.objects.create(
        calibration=calibration,
        instrument=calibration.instrument,
        last_in_tolerance_on=period.after,
        found_on=period.until,
        reasoning=[one.stored() for one in period.reasoning],
        recomputation=recomputation_start(change, results) if results else None,
        opened_at=now,
        opened_by=by,
    )
    ReviewedSurvey.objects.bulk_create(
        [ReviewedSurvey(review=review, survey_id=result.survey_id, result=result) for result in results],
        batch_size=500,
    )
    return review


def review_void(corrected: Calibration, *, by: User, now: datetime) -> None:
    """Void the undecided part of a review after its certificate was corrected. Decisions stay recorded, without effect."""
    ReviewedSurvey.objects.filter(review__calibration=corrected, state=State.UNDER_REVIEW).update(
        state=State.VOID,
        reason=system_reason(message("certificate-corrected")),
        decided_at=now,
        decided_by=by,
    )


@transaction.atomic
def review_decide(
    *, review: OutOfToleranceReview, decisions: Sequence[Decision], by: User, now: datetime
) -> Recomputation | None:
    """Decide surveys of a review, all or none. Surveys to correct are recalculated; clients are notified of withdrawn ones and of
    the combinations they are part of.

    Raises Conflict where one is already decided, ServiceError without a reason.
    """
    requested = {decision.reviewed.pk: decision for decision in decisions}
    held = ReviewedSurvey.objects.select_for_update(of=("self",)).filter(review=review, pk__in=requested)
    rows = list(held.select_related("survey__measuring_point__pipe__site__client").order_by("pk"))
    if len(requested) < len(decisions):
        raise ServiceError("duplicate-decision", field="decisions")
    for row in rows:
        _decide(row, requested[row.pk], by, now)
    _notify_of_combined([row for row in rows if row.state == State.WITHDRAWN], now)
    to_correct = [row.survey_id for row in rows if row.state == State.CORRECTED]
    if not to_correct:
        return None
    moved = results_outdated(Result.objects.filter(survey__in=to_correct))
    # Each client reads the reason given for their own survey (`surveys.results.recalculation`).
    reason = system_reason(message("as-found-corrected", certificate=review.calibration.certificate))
    change = Change(Cause.AS_FOUND, reason, by, now, {"calibration": review.calibration})
    return recomputation_start(change, moved)


def reviews_extend(result: Result, *, now: datetime) -> None:
    """Add the first result of a survey to the reviews of its period, in the caller's transaction."""
    survey, stated = result.survey, result.survey_data
    surveyed_on = survey_date(survey)
    reviews = OutOfToleranceReview.objects.filter(
        Q(last_in_tolerance_on__isnull=True) | Q(last_in_tolerance_on__lte=surveyed_on),
        found_on__gt=surveyed_on,
        instrument__in=stated.instruments.all(),
        calibration__corrected_by__isnull=True,
    )
    for review in reviews.select_related("recomputation", "calibration__instrument", "opened_by"):
        ReviewedSurvey.objects.create(review=review, survey=survey, result=result)
        if review.recomputation is None:
            reason = _found_out_of_tolerance(review.calibration, review.found_on)
            change = Change(
                Cause.OUT_OF_TOLERANCE, reason, review.opened_by, now, {"calibration": review.calibration}
            )
            run = recomputation_start(change, [result])
            OutOfToleranceReview.objects.filter(pk=review.pk).update(recomputation=run)
        else:
            recomputation_extend(review.recomputation, [result], now)


def _decide(row: ReviewedSurvey, decision: Decision, by: User, now: datetime) -> None:
    if row.state != State.UNDER_REVIEW:
        raise Conflict(
            "already-decided/survey", field="decisions", survey=_named(row), state=term(f"review-{row.state}")
        )
    if decision.state == State.CORRECTED:
        _correctable(row)
    row.state, row.reason = decision.state, required_reason(decision.reason)
    row.decided_at, row.decided_by = now, by
    row.save(update_fields=["state", "reason", "decided_at", "decided_by"])
    if row.state == State.WITHDRAWN:
        _notify_of_withdrawal(row, now)


def _correctable(row: ReviewedSurvey) -> None:
    """Reject a correction before the corrected flow is calculated, or without an error curve."""
    if row.calculated_at is None:
        raise Conflict("not-calculated/as-found", field="decisions", survey=_named(row))
    if not any(finding["code"] == "calibration-error-corrected" for finding in row.findings):
        raise Conflict("no-curve", field="decisions", survey=_named(row))


def _named(row: ReviewedSurvey) -> dict[str, str]:
    """The survey as a message names it."""
    return record("survey", row.survey_id, _name(row))


def _name(row: ReviewedSurvey) -> str:
    point = row.survey.measuring_point
    return f"{survey_date(row.survey)}, {point.pipe.name}, {point.name}"


def _notify_of_combined(withdrawn: Sequence[ReviewedSurvey], now: datetime) -> None:
    """Notify once of each combined result with a part that is withdrawn."""
    reasons = {row.survey_id: _reason_of_part(row) for row in withdrawn}
    notified = Notice.objects.filter(kind=NoticeKind.WITHDRAWN, before_combined=OuterRef("pk"))
    rows = CombinedResult.objects.filter(
        ~Exists(notified),
        combination__parts__survey__in=reasons,
        combination__retired_at__isnull=True,
        replaced_at__isnull=True,
    ).distinct()
    for combined in rows.select_related("combination__site__client").prefetch_related("combination__parts"):
        client = combined.combination.site.client
        parts = combined.combination.parts.all()
        Notice.objects.create(
            kind=NoticeKind.WITHDRAWN,
            client=client,
            before_combined=combined,
            threshold=client.notice_threshold,
            reason=system_reason(
                message(
                    "parts-withdrawn",
                    parts=[reasons[part.survey_id] for part in parts if part.survey_id in reasons],
                )
            ),
            created_at=now,
        )


def _reason_of_part(row: ReviewedSurvey) -> Message:
    return message("part-withdrawn", survey=_name(row), reason=row.reason)


def _found_out_of_tolerance(calibration: Calibration, on: date) -> SystemReason:
    return system_reason(
        message(
            "instrument-out-of-tolerance",
            instrument=record("instrument", calibration.instrument_id, str(calibration.instrument)),
            on=day(on),
            certificate=calibration.certificate,
        )
    )


def _notify_of_withdrawal(row: ReviewedSurvey, now: datetime) -> None:
    client = row.survey.measuring_point.pipe.site.client
    Notice.objects.create(
        kind=NoticeKind.WITHDRAWN,
        client=client,
        before=Result.objects.get(survey=row.survey_id, replaced_at__isnull=True),
        threshold=client.notice_threshold,
        reason=row.reason,
        created_at=now,
    )
