"""Certificates recorded with their points and limits, and the policies for those that state none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from compute.calibration import Point
from compute.decision import DecisionRule, PermissibleError
from compute.due_dates import due_date
from surveys.basis import results_moved
from surveys.errors import Conflict, ServiceError
from surveys.models import (
    AcceptancePolicy,
    Calibration,
    CalibrationPoint,
    Instrument,
    IntervalPolicy,
    Recomputation,
    Result,
    SurveyData,
    User,
)
from surveys.models.calibration import LimitsFrom, Moment
from surveys.models.result import Cause
from surveys.policies import acceptance_policy_of, interval_policy_of, limits_from
from surveys.services.recomputations import Change, recomputation_start
from surveys.services.records import record_create, said
from surveys.verdicts import judged


@dataclass(frozen=True, slots=True)
class Limits:
    """What errors are judged by."""

    permissible: PermissibleError
    rule: DecisionRule


@dataclass(frozen=True, slots=True)
class StatedPoint:
    """A point as the certificate states it, with the text that was typed."""

    moment: Moment
    point: Point
    as_entered: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Figures:
    """The points of a certificate, and the limits if it states them."""

    points: Sequence[StatedPoint] = ()
    limits: Limits | None = None


@transaction.atomic
def calibration_record(
    *,
    calibration: Calibration,
    by: User,
    now: datetime,
    reason: str = "",
    figures: Figures | None = None,
) -> tuple[Calibration, Recomputation | None]:
    """Record a certificate, or correct one entered wrongly; surveys it is in force for are recomputed, if there are any.

    Without `due_on` it is due by the interval policy; without limits it is judged by the acceptance policy. Raises Conflict if
    the certificate it corrects was corrected already, ServiceError if that one is another instrument's, a correction gives no
    reason or no policy sets the due date, ComputeError for points that cannot be judged by the limits.
    """
    instrument = instrument_lock(calibration.instrument_id)
    reason = _reason_of_correction(calibration, reason)
    _set_due_date(calibration, instrument)
    figures = figures or Figures()
    _set_limits(calibration, instrument, figures)
    calibration.recorded_by, calibration.recorded_at = by, now
    record_create(calibration)
    _store_points(calibration, figures.points)
    why = reason or f"certificate {calibration.certificate} of {calibration.calibrated_on} recorded"
    change = Change(Cause.CALIBRATION, why, by, now, {"calibration": calibration})
    moved = results_moved_with(instrument)
    return calibration, recomputation_start(change, moved) if moved else None


@transaction.atomic
def policy_record(
    policy: AcceptancePolicy | IntervalPolicy, *, by: User, now: datetime
) -> AcceptancePolicy | IntervalPolicy:
    """Record a policy; it holds for certificates recorded from now on, and those before keep what they were judged by.

    Raises ComputeError for an interval that cannot be.
    """
    if isinstance(policy, IntervalPolicy):
        policy.interval()
    policy.recorded_by, policy.recorded_at = by, now
    return record_create(policy)


def instrument_lock(instrument_id: UUID) -> Instrument:
    """The instrument, held until the transaction ends."""
    # A log taken in at the same time takes this lock too, and so sees the correction or is seen by it.
    return Instrument.objects.select_for_update().get(pk=instrument_id)


def results_moved_with(instrument: Instrument) -> list[Result]:
    """Results of surveys with an instrument that now rest on something else."""
    used = SurveyData.objects.filter(instruments=instrument)
    # Also those stated to have used it since: their result may still rest on the statement before.
    stated = used.filter(replaced_at__isnull=True).values("survey")
    return results_moved(Result.objects.filter(Q(survey_data__in=used) | Q(survey__in=stated)))


def _reason_of_correction(calibration: Calibration, reason: str) -> str:
    corrects = calibration.corrects
    if corrects is None:
        return reason
    if corrects.instrument_id != calibration.instrument_id:
        raise ServiceError(
            "That certificate is of another instrument.", code="other-instrument", field="corrects"
        )
    if Calibration.objects.filter(corrects=corrects).exists():
        raise Conflict(
            "That certificate was corrected already; correct the one that took its place.",
            code="corrected-already",
            field="corrects",
        )
    return said(reason)


def _set_due_date(calibration: Calibration, instrument: Instrument) -> None:
    if calibration.due_on is not None:
        return
    policy = interval_policy_of(instrument)
    if policy is None:
        raise ServiceError(
            "Say when it is due: no interval policy of this instrument or its type does.",
            code="due-missing",
            field="due_on",
        )
    calibration.due_on = due_date(calibration.calibrated_on, policy.interval()).on
    calibration.interval_policy = policy


def _set_limits(calibration: Calibration, instrument: Instrument, figures: Figures) -> None:
    """Copy what it is judged by into the calibration, and see that it can be judged."""
    limits, source = figures.limits, LimitsFrom.CERTIFICATE
    if limits is None and figures.points and (policy := acceptance_policy_of(instrument)):
        limits, source = Limits(policy.limit(), policy.rule()), limits_from(policy)
    if limits is None:
        return
    calibration.set_acceptance(limits.permissible, limits.rule)
    calibration.limits_from = source
    for moment in Moment:
        points = [stated.point for stated in figures.points if stated.moment == moment]
        if points:
            judged(points, limits.permissible, limits.rule, instrument.kind)


def _store_points(calibration: Calibration, points: Sequence[StatedPoint]) -> None:
    rows, counts = [], dict.fromkeys(Moment, 0)
    for stated in points:
        point, sequence = stated.point, counts[stated.moment]
        counts[stated.moment] += 1
        rows.append(
            CalibrationPoint(
                calibration=calibration,
                moment=stated.moment,
                sequence=sequence,
                reference_si=point.reference,
                indicated_si=point.indicated,
                expanded_uncertainty_si=point.expanded_uncertainty,
                coverage_factor=point.coverage_factor,
                as_entered=dict(stated.as_entered),
            )
        )
    CalibrationPoint.objects.bulk_create(rows)
