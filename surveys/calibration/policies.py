"""Which policy holds for an instrument: its own before its type's, its type's before its kind's; of several the latest."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, TypeVar

from django.db.models import Q

from surveys.models import (
    AcceptancePolicy,
    ErrorCorrectionPolicy,
    Instrument,
    IntervalPolicy,
    VisibleQuerySet,
)
from surveys.models.calibration import LimitsFrom, Policy

P = TypeVar("P", bound=Policy)


def policy_closest(policies: Iterable[P], instrument: Instrument) -> P | None:
    """The policy that holds for an instrument among these; None if none is about it."""
    about = [policy for policy in policies if policy.closeness(instrument)]
    return max(about, key=lambda one: (one.closeness(instrument), one.recorded_at, one.id), default=None)


def instruments_of_policy(policy: Policy) -> VisibleQuerySet:
    """The instruments a policy is about, whether or not a closer one holds for them."""
    about: dict[str, Any] = {"pk": policy.instrument_id} if policy.instrument_id else {"kind": policy.kind}
    if policy.type_name:
        about["type_name"] = policy.type_name
    return Instrument.objects.filter(**about)


def interval_policy_of(instrument: Instrument) -> IntervalPolicy | None:
    """The interval policy that holds for an instrument."""
    return policy_closest(IntervalPolicy.objects.filter(_optional_scope(instrument)), instrument)


def acceptance_policy_of(instrument: Instrument) -> AcceptancePolicy | None:
    """The acceptance policy that holds for an instrument."""
    return policy_closest(AcceptancePolicy.objects.filter(_optional_scope(instrument)), instrument)


def error_correction_policy_of(
    policies: Iterable[ErrorCorrectionPolicy], instrument: Instrument, day: date
) -> ErrorCorrectionPolicy | None:
    """The policy that decides for surveys of a day whether the instrument's error curve is applied."""
    return policy_closest((one for one in policies if one.valid_from <= day), instrument)


def error_curve_applied(policies: Iterable[ErrorCorrectionPolicy], instrument: Instrument, day: date) -> bool:
    """Whether results of surveys of a day are corrected by the instrument's error curve; not unless a policy says so."""
    policy = error_correction_policy_of(policies, instrument, day)
    return policy is not None and policy.applied


def limits_from(policy: AcceptancePolicy) -> LimitsFrom:
    """Where a calibration that is judged by this policy has its limits from."""
    return LimitsFrom.INSTRUMENT if policy.instrument_id else LimitsFrom.TYPE


def _optional_scope(instrument: Instrument) -> Q:
    return Q(instrument=instrument) | Q(instrument__isnull=True, kind=instrument.kind)
