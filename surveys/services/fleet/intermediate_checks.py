"""Intermediate checks: calculated and stored; an instrument out of limits is quarantined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

import numpy as np
from django.db import transaction

from compute.base.errors import NotEnough
from compute.base.messages import day, message, record, term
from compute.calibration.check_trend import Checked, Trend, check_trend
from compute.calibration.intermediate_checks import (
    CheckLimits,
    CheckResult,
    Measured,
    Step,
    reference_check,
    step_block_check,
    zero_flow_check,
)
from compute.calibration.meter_comparison import two_meters_check
from surveys.core.errors import Conflict, ServiceError
from surveys.core.stored_quantities import findings_json, quantity
from surveys.models import Instrument, IntermediateCheck, User
from surveys.models.instrument import Kind, State
from surveys.models.reasons import system_reason
from surveys.services.fleet.calibrations import instrument_lock
from surveys.services.fleet.instruments import InstrumentLocation, instrument_state_change
from surveys.services.records import required_reason

CheckKind = IntermediateCheck.Kind
# Kinds of instrument that each check is for.
KINDS_OF: dict[str, tuple[str, ...]] = {
    CheckKind.ZERO_FLOW: (Kind.METER,),
    CheckKind.STEP_BLOCK: (Kind.THICKNESS_GAUGE,),
    CheckKind.REFERENCE: (Kind.THERMOMETER,),
    CheckKind.TWO_METERS: (Kind.METER,),
}
IN_DATE_STATES = (State.IN_SERVICE,)


@dataclass(frozen=True, slots=True)
class Statement:
    """The readings of a check in SI; only those of its kind."""

    readings: Sequence[float] = ()
    steps: Sequence[Step] = ()
    reference: Measured | None = None
    resolution: float = 0.0
    limits: CheckLimits | None = None
    reading: Measured | None = None
    other_reading: Measured | None = None
    shared_uncertainty: float = 0.0
    as_entered: dict[str, Any] = field(default_factory=dict)


@transaction.atomic
def check_record(
    *, check: IntermediateCheck, statement: Statement, reason: str, by: User, now: datetime
) -> IntermediateCheck:
    """Calculate a check and store it; an instrument out of limits is quarantined, of two meters both.

    Of two meters that disagree, the faulty one is not known. Raises ServiceError for a check of another kind of instrument or
    in the future, Conflict where the corrected check is already corrected, ComputeError for impossible values.
    """
    for instrument in sorted(_of(check), key=lambda one: one.pk):
        instrument_lock(instrument.pk)
    _reject_impossible(check, now)
    if check.corrects is not None:
        check.note = f"{check.note} {required_reason(reason)}".strip()
    result = _calculated(CheckKind(check.kind), statement)
    check.outcome, check.deviation_si = result.outcome, result.deviation
    check.expanded_uncertainty_si, check.quantity = result.expanded_uncertainty, result.kind
    check.warning_limit_si, check.action_limit_si = result.limits.warning, result.limits.action
    check.figures = [[name, _figure(value, kind)] for name, value, kind in result.figures]
    check.sentences = [one.stored() for one in result.sentences]
    check.findings = findings_json(result.findings)
    check.as_entered = statement.as_entered
    check.recorded_at, check.recorded_by = now, by
    check.save(force_insert=True)
    if result.outcome == "out":
        _quarantine(check, by, now)
    return check


def check_history(instrument: Instrument, kind: str) -> list[IntermediateCheck]:
    """Return the checks of one kind of an instrument in order of time, without corrected checks."""
    rows = IntermediateCheck.objects.filter(instrument=instrument, kind=kind, corrected_by__isnull=True)
    return list(rows.order_by("performed_at", "id"))


def check_trend_of(instrument: Instrument, kind: str) -> Trend | None:
    """Return the trend of the checks of a kind against the limits of the latest; None for too few checks."""
    history = check_history(instrument, kind)
    by_moment = {one.performed_at: one for one in history}
    if not by_moment:
        return None
    start, latest = history[0].performed_at, history[-1]
    checked = [
        Checked((at - start).total_seconds() / 86_400, one.deviation_si)
        for at, one in sorted(by_moment.items())
    ]
    try:
        return check_trend(
            checked, CheckLimits(latest.warning_limit_si, latest.action_limit_si), latest.quantity
        )
    except NotEnough:
        return None


def trend_json(trend: Trend) -> dict[str, Any]:
    """Return a trend as a document of SI quantities."""
    return {
        "significant": trend.significant,
        "days_to_action": trend.days_to_action,
        "runs": [asdict(run) for run in trend.runs],
        "sentences": [one.stored() for one in trend.sentences],
        "findings": findings_json(trend.findings),
    }


def _of(check: IntermediateCheck) -> list[Instrument]:
    return [check.instrument, *([check.other_instrument] if check.other_instrument else [])]


def _reject_impossible(check: IntermediateCheck, now: datetime) -> None:
    wanted = KINDS_OF[check.kind]
    for name, instrument in (("kind", check.instrument), ("other_instrument", check.other_instrument)):
        if instrument is not None and instrument.kind not in wanted:
            raise ServiceError(
                "wrong-instrument/check",
                field=name,
                instrument=record("instrument", instrument.pk, str(instrument)),
                kinds=[term(str(kind)) for kind in wanted],
            )
    if check.performed_at > now:
        raise ServiceError("date-in-future/time", field="performed_at")
    if check.corrects is None:
        return
    if (check.corrects.instrument_id, check.corrects.kind) != (check.instrument_id, check.kind):
        raise ServiceError("other-instrument/check", field="corrects")
    if IntermediateCheck.objects.filter(corrects=check.corrects).exists():
        raise Conflict("already-corrected/check", field="corrects")


def _calculated(kind: CheckKind, stated: Statement) -> CheckResult:
    if kind == CheckKind.TWO_METERS:
        first, second = _needed(stated.reading, "reading"), _needed(stated.other_reading, "other_reading")
        return two_meters_check(first, second, stated.shared_uncertainty, "volume_flow")
    limits = _needed(stated.limits, "limits")
    if kind == CheckKind.ZERO_FLOW:
        return zero_flow_check(np.array(stated.readings), limits)
    if kind == CheckKind.STEP_BLOCK:
        return step_block_check(stated.steps, limits, stated.resolution)
    reference = _needed(stated.reference, "reference")
    return reference_check(stated.readings, reference, limits, stated.resolution, "temperature")


def _needed(value: Any, name: str) -> Any:
    if value is None:
        raise ServiceError("required/check", field=name)
    return value


def _quarantine(check: IntermediateCheck, by: User, now: datetime) -> None:
    """Quarantine the instruments that are in service."""
    both = _of(check)
    reason = system_reason(
        message(
            "quarantined-by-check/two-meters" if len(both) > 1 else "quarantined-by-check",
            on=day(check.performed_at.date()),
            outcome=dict(check.sentences[-1]),
        )
    )
    for instrument in Instrument.objects.filter(pk__in=[one.pk for one in both], state__in=IN_DATE_STATES):
        to = InstrumentLocation(State.QUARANTINED, instrument.location, instrument.holder)
        instrument_state_change(instrument=instrument, to=to, reason=reason, by=by, now=now)


def _figure(value: float, kind: str) -> Any:
    return value if kind == "number" else quantity(value, kind)
