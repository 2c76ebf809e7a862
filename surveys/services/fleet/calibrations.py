"""Certificates with their points and limits, and policies for certificates without them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from compute.base.messages import day, message
from compute.calibration.decision_rules import DecisionRule, PermissibleError
from compute.calibration.due_dates import due_date
from compute.calibration.points import Point
from surveys.calibration.affected_results import ANY_ZONE
from surveys.calibration.conformity import judged
from surveys.calibration.due_list import office_today
from surveys.calibration.policies import (
    acceptance_policy_of,
    instruments_of_policy,
    interval_policy_of,
    limits_from,
)
from surveys.core.errors import Conflict, ServiceError
from surveys.models import (
    AcceptancePolicy,
    Calibration,
    CalibrationPoint,
    ErrorCorrectionPolicy,
    Instrument,
    IntervalPolicy,
    Recomputation,
    Result,
    SurveyData,
    User,
)
from surveys.models.calibration import LimitsFrom, Moment
from surveys.models.reasons import system_reason
from surveys.models.result import Cause
from surveys.results.inputs_in_force import results_outdated
from surveys.services.fleet.out_of_tolerance_reviews import review_open, review_void
from surveys.services.records import record_create, required_reason
from surveys.services.results.recomputations import Change, recomputation_start


@dataclass(frozen=True, slots=True)
class Limits:
    """Permissible error and decision rule."""

    permissible: PermissibleError
    rule: DecisionRule


@dataclass(frozen=True, slots=True)
class CertificatePoint:
    """A point of the certificate, with its text as entered."""

    moment: Moment
    point: Point
    as_entered: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CertificateContent:
    """The points of a certificate, and its limits if any."""

    points: Sequence[CertificatePoint] = ()
    limits: Limits | None = None


@transaction.atomic
def calibration_record(
    *,
    calibration: Calibration,
    by: User,
    now: datetime,
    reason: str = "",
    content: CertificateContent | None = None,
) -> tuple[Calibration, Recomputation | None]:
    """Record a certificate or correct one; the surveys it applies to are recalculated.

    If the instrument was found out of tolerance, a review of the results since it was last in tolerance is opened.

    Without `due_on` the interval policy gives the due date; without limits the acceptance policy applies. Raises Conflict if
    the corrected certificate is already corrected, ServiceError if that certificate is of another instrument, a correction has no
    reason, no policy gives the due date or the date is in the future, ComputeError for points that do not fit the limits.
    """
    instrument = instrument_lock(calibration.instrument_id)
    if calibration.calibrated_on > office_today(now):
        raise ServiceError(
            "date-in-future/calibration", field="calibrated_on", on=day(calibration.calibrated_on)
        )
    reason = _reason_of_correction(calibration, reason)
    _set_due_date(calibration, instrument)
    content = content or CertificateContent()
    _set_limits(calibration, instrument, content)
    calibration.recorded_by, calibration.recorded_at = by, now
    record_create(calibration)
    _store_points(calibration, content.points)
    why = reason or system_reason(
        message(
            "certificate-recorded", certificate=calibration.certificate, on=day(calibration.calibrated_on)
        )
    )
    change = Change(Cause.CALIBRATION, why, by, now, {"calibration": calibration})
    # A certificate does not apply to the time before it, nor before the certificate it corrects.
    since = min(one.calibrated_on for one in (calibration, calibration.corrects) if one is not None)
    moved = results_outdated_by_instruments([instrument], since)
    if calibration.corrects is not None:
        review_void(calibration.corrects, by=by, now=now)
    review_open(calibration, by=by, now=now)
    return calibration, recomputation_start(change, moved) if moved else None


@transaction.atomic
def policy_record(
    policy: AcceptancePolicy | IntervalPolicy, *, by: User, now: datetime
) -> AcceptancePolicy | IntervalPolicy:
    """Record a policy; it applies to certificates recorded from now on, and earlier certificates keep their limits.

    Raises ComputeError for an impossible interval.
    """
    if isinstance(policy, IntervalPolicy):
        policy.interval()
    policy.recorded_by, policy.recorded_at = by, now
    return record_create(policy)


@transaction.atomic
def error_correction_policy_record(
    *, policy: ErrorCorrectionPolicy, by: User, now: datetime
) -> tuple[ErrorCorrectionPolicy, Recomputation | None]:
    """Decide whether results are corrected by error curves; results based on another decision are recalculated."""
    # Locked until the end, so that a concurrent log import sees the policy or is seen by it.
    instruments = list(instruments_of_policy(policy).select_for_update(no_key=True).order_by("pk"))
    policy.recorded_by, policy.recorded_at = by, now
    record_create(policy)
    key = "error-curves-applied" if policy.applied else "error-curves-applied/not"
    reason = policy.reason or system_reason(message(key, on=day(policy.valid_from)))
    change = Change(Cause.CURVES, reason, by, now, {"error_correction_policy": policy})
    moved = results_outdated_by_instruments(instruments)
    return policy, recomputation_start(change, moved) if moved else None


def instrument_lock(instrument_id: UUID) -> Instrument:
    """Return the instrument, locked until the transaction ends."""
    # A concurrent log import takes the same lock, and so sees the correction or is seen by it.
    return Instrument.objects.select_for_update(no_key=True).get(pk=instrument_id)


def instruments_lock(instrument_ids: Iterable[UUID]) -> None:
    """Return several instruments, locked by key until the transaction ends; one common order prevents deadlocks."""
    held = Instrument.objects.select_for_update(no_key=True).filter(pk__in=instrument_ids)
    list(held.order_by("pk"))


def results_outdated_by_instruments(
    instruments: Sequence[Instrument], since: date | None = None
) -> list[Result]:
    """Return results of surveys with given instruments, from a day on, whose inputs in force have changed."""
    used = SurveyData.objects.filter(instruments__in=instruments)
    # Also surveys corrected to use it since: their result may still be based on the earlier version.
    stated = used.filter(replaced_at__isnull=True).values("survey")
    results = Result.objects.filter(Q(survey_data__in=used) | Q(survey__in=stated))
    if since is not None:
        # By the site's time zone, which may differ by a day; unchanged results are excluded.
        results = results.filter(survey__started_at__gte=datetime.combine(since - ANY_ZONE, time(0), UTC))
    return results_outdated(results)


def _reason_of_correction(calibration: Calibration, reason: str) -> str:
    corrects = calibration.corrects
    if corrects is None:
        return reason
    if corrects.instrument_id != calibration.instrument_id:
        raise ServiceError("other-instrument/certificate", field="corrects")
    if Calibration.objects.filter(corrects=corrects).exists():
        raise Conflict("already-corrected/certificate", field="corrects")
    return required_reason(reason)


def _set_due_date(calibration: Calibration, instrument: Instrument) -> None:
    if calibration.due_on is not None:
        return
    policy = interval_policy_of(instrument)
    if policy is None:
        raise ServiceError("due-missing", field="due_on")
    calibration.due_on = due_date(calibration.calibrated_on, policy.interval()).on
    calibration.interval_policy = policy


def _set_limits(calibration: Calibration, instrument: Instrument, content: CertificateContent) -> None:
    """Copy the limits into the calibration, and check that they apply to its points."""
    limits, source = content.limits, LimitsFrom.CERTIFICATE
    if limits is None and content.points and (policy := acceptance_policy_of(instrument)):
        limits, source = Limits(policy.limit(), policy.rule()), limits_from(policy)
    if limits is None:
        return
    calibration.set_acceptance(limits.permissible, limits.rule)
    calibration.limits_from = source
    for moment in Moment:
        points = [stated.point for stated in content.points if stated.moment == moment]
        if points:
            judged(points, limits.permissible, limits.rule, instrument.kind)


def _store_points(calibration: Calibration, points: Sequence[CertificatePoint]) -> None:
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
