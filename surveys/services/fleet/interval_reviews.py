"""Calibration intervals reviewed by ILAC-G24 / OIML D 10, and decided by a person."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import Q

from compute.base.errors import NotEnough
from compute.base.messages import day, message, term
from compute.calibration.control_chart import Calibrated, control_chart
from compute.calibration.intervals import AsFoundResult, Bounds, Proposal, in_use, staircase
from compute.calibration.reliability import Observed, reliability_interval
from compute.calibration.settled_rates import with_settled_rate
from surveys.calibration.conformity import conformity_of, error_kind, points_of
from surveys.calibration.due_list import hours_of_use, office_today
from surveys.core.errors import Conflict
from surveys.core.stored_quantities import findings_json
from surveys.models import Calibration, Instrument, IntervalPolicy, IntervalReview, User
from surveys.models.calibration import Moment
from surveys.models.instrument import Kind
from surveys.models.reasons import system_reason
from surveys.services.fleet.calibrations import policy_record
from surveys.services.records import required_reason

Method = IntervalReview.Method
Decision = IntervalReview.Decision


@dataclass(frozen=True, slots=True)
class MethodSettings:
    """Method and bounds of a review; hours and target for the methods that use them."""

    method: Method
    min_days: float
    max_days: float
    min_hours: float
    max_hours: float
    target: float


def interval_review_calculate(
    *, instrument: Instrument, settings: MethodSettings, by: User, now: datetime
) -> IntervalReview:
    """Calculate the next interval from the calibration history, and store the proposal for a person to decide on.

    Raises NotEnough where the history is too short for the method, OutOfRange for impossible bounds.
    """
    history = _history(instrument, office_today(now))
    latest = history[-1]
    current = (latest.due_on - latest.calibrated_on).days
    proposal = with_settled_rate(_proposed(instrument, settings, history, current), settings.target)
    return IntervalReview.objects.create(
        instrument=instrument,
        method=settings.method,
        current_days=current,
        proposed_days=proposal.days or int(settings.max_days),
        proposed_hours=proposal.hours,
        reasoning=[one.stored() for one in proposal.reasoning],
        inputs=[list(one) for one in proposal.inputs],
        findings=findings_json(proposal.findings),
        chart=asdict(proposal.chart),
        history_from=history[0].calibrated_on,
        calculated_at=now,
        calculated_by=by,
    )


@transaction.atomic
def interval_review_decide(
    *, review: IntervalReview, decision: Decision, reason: str, by: User, now: datetime
) -> IntervalReview:
    """Accept or reject a proposal. Accepted, it becomes the instrument's own interval policy for certificates recorded from now on.

    Raises Conflict if it is already decided, ServiceError without a reason.
    """
    review = IntervalReview.objects.select_for_update(of=("self",)).get(pk=review.pk)
    if review.decision:
        raise Conflict("already-decided/interval-review", decision=term(review.decision))
    review.decision, review.reason = decision, required_reason(reason)
    review.decided_at, review.decided_by = now, by
    if decision == Decision.ACCEPTED:
        policy = IntervalPolicy(
            instrument=review.instrument,
            days=review.proposed_days,
            hours=review.proposed_hours,
            reason=system_reason(
                message("interval-review-accepted", on=day(review.calculated_at.date()), reason=review.reason)
            ),
        )
        policy_record(policy, by=by, now=now)
        review.interval_policy = policy
    review.save(update_fields=["decision", "reason", "decided_at", "decided_by", "interval_policy"])
    return review


def _history(instrument: Instrument, today: date) -> list[Calibration]:
    """Return the instrument's calibrations in force by day; of two on one day the later record."""
    rows = Calibration.objects.filter(
        instrument=instrument, corrected_by__isnull=True, calibrated_on__lte=today
    )
    rows = (
        rows.select_related("instrument").prefetch_related("points").order_by("calibrated_on", "recorded_at")
    )
    by_day = {one.calibrated_on: one for one in rows}
    if not by_day:
        raise NotEnough(field="instrument", variant="no-calibration")
    return list(by_day.values())


def _proposed(
    instrument: Instrument, settings: MethodSettings, history: Sequence[Calibration], current: int
) -> Proposal:
    bounds = Bounds(settings.min_days, settings.max_days)
    if settings.method == Method.CONTROL_CHART:
        return _by_drift(instrument, history, bounds)
    if settings.method == Method.IN_USE_TIME:
        return _by_use(instrument, settings, history, bounds)
    if settings.method == Method.RELIABILITY:
        return _by_type(instrument, settings, bounds)
    start = history[0].calibrated_on
    found = [AsFoundResult(float((day - start).days), share) for day, share in _shares(history)]
    return staircase(found, current, bounds)


def _shares(history: Sequence[Calibration]) -> list[tuple[date, float]]:
    """Return the largest fraction of the permissible error of each calibration with as-found points and limits."""
    found = ((one.calibrated_on, conformity_of(one, Moment.AS_FOUND)) for one in history)
    return [
        (day, conformity.largest_fraction_of_limit) for day, conformity in found if conformity is not None
    ]


def _by_drift(instrument: Instrument, history: Sequence[Calibration], bounds: Bounds) -> Proposal:
    """Propose by the control chart of the most common reference value; of several the one with the largest fraction of its limit."""
    form = "relative" if instrument.kind == Kind.METER else "absolute"
    judged = [one for one in history if one.maximum_permissible_error() is not None]
    common = Counter(
        round(row.reference_si, 12)
        for one in judged
        for row in points_of(one, Moment.AS_FOUND)
        if row.reference_si or form == "absolute"
    )
    if not common:
        raise NotEnough(field="method", variant="as-found-result")
    most = max(common.values())
    start = history[0].calibrated_on
    charts = [
        _points_at(judged, reference, form, start) for reference, count in common.items() if count == most
    ]
    points, limit = max(charts, key=lambda chart: abs(chart[0][-1].found) / chart[1])
    kind = "number" if form == "relative" else error_kind(instrument.kind)
    return control_chart(points, limit, bounds, kind)


def _points_at(
    judged: Sequence[Calibration], reference: float, form: str, start: date
) -> tuple[list[Calibrated], float]:
    points, limit = [], 0.0
    for one in judged:
        found, left = (
            next(
                (row.point() for row in points_of(one, moment) if round(row.reference_si, 12) == reference),
                None,
            )
            for moment in (Moment.AS_FOUND, Moment.AS_LEFT)
        )
        if found is None:
            continue
        scale = abs(reference) if form == "relative" else 1.0
        limit = one.limit().at(reference) / scale
        at = float((one.calibrated_on - start).days)
        after = left.error / scale if left else None
        points.append(Calibrated(at, found.error / scale, after, found.standard_uncertainty / scale))
    return points, limit


def _by_use(
    instrument: Instrument, settings: MethodSettings, history: Sequence[Calibration], bounds: Bounds
) -> Proposal:
    """Propose by the staircase over hours of use, with a limit in days."""
    use = hours_of_use(instrument, history[0].calibrated_on)
    hours = [(sum(count for at, count in use if at < day), share) for day, share in _shares(history)]
    found = [AsFoundResult(at, share) for at, share in hours if at > 0]
    if not found:
        raise NotEnough(field="method", variant="hours-of-use")
    last = [at for at, _ in hours]
    current = last[-1] - last[-2] if len(last) > 1 else last[-1]
    if current <= 0:
        raise NotEnough(field="method", variant="not-used")
    by_hours = staircase(found, current, Bounds(settings.min_hours, settings.max_hours, "hours"))
    days = max((history[-1].calibrated_on - history[0].calibrated_on).days, 1)
    return in_use(by_hours, min(last[-1] / days, 24.0), bounds)


def _by_type(instrument: Instrument, settings: MethodSettings, bounds: Bounds) -> Proposal:
    """Propose by the fraction of the type found in tolerance, after its usual interval."""
    rows = (
        Calibration.objects.filter(
            Q(instrument__kind=instrument.kind, instrument__type_name=instrument.type_name),
            corrected_by__isnull=True,
        )
        .select_related("instrument")
        .prefetch_related("points")
    )
    conformities = [(one, conformity) for one in rows if (conformity := conformity_of(one, Moment.AS_FOUND))]
    within = sum(conformity.conforms for _, conformity in conformities)
    if not conformities:
        raise NotEnough(field="method", variant="as-found-result")
    interval = statistics.median((one.due_on - one.calibrated_on).days for one, _ in conformities)
    return reliability_interval(Observed(within, len(conformities)), float(interval), settings.target, bounds)
