"""Policies in force: the instrument's policy before its type's, its type's before its kind's; of several the latest."""

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
    """Return the policy that applies to an instrument among these; None if no policy applies."""
    about = [policy for policy in policies if policy.closeness(instrument)]
    return max(about, key=lambda one: (one.closeness(instrument), one.recorded_at, one.id), default=None)


def instruments_of_policy(policy: Policy) -> VisibleQuerySet:
    """Return the instruments in the scope of a policy, also those with a more specific policy."""
    about: dict[str, Any] = {"pk": policy.instrument_id} if policy.instrument_id else {"kind": policy.kind}
    if policy.type_name:
        about["type_name"] = policy.type_name
    return Instrument.objects.filter(**about)


def interval_policy_of(instrument: Instrument) -> IntervalPolicy | None:
    """Return the interval policy that applies to an instrument."""
    return policy_closest(IntervalPolicy.objects.filter(_optional_scope(instrument)), instrument)


def acceptance_policy_of(instrument: Instrument) -> AcceptancePolicy | None:
    """Return the acceptance policy that applies to an instrument."""
    return policy_closest(AcceptancePolicy.objects.filter(_optional_scope(instrument)), instrument)


def error_correction_policy_of(
    policies: Iterable[ErrorCorrectionPolicy], instrument: Instrument, day: date
) -> ErrorCorrectionPolicy | None:
    """Return the policy that decides for surveys of a day whether the instrument's error curve is applied."""
    return policy_closest((one for one in policies if one.valid_from <= day), instrument)


def error_curve_applied(policies: Iterable[ErrorCorrectionPolicy], instrument: Instrument, day: date) -> bool:
    """Return whether results of surveys of a day are corrected by the instrument's error curve; only if a policy requires it."""
    policy = error_correction_policy_of(policies, instrument, day)
    return policy is not None and policy.applied


def limits_from(policy: AcceptancePolicy) -> LimitsFrom:
    """Return the origin of the limits of a calibration judged by this policy."""
    return LimitsFrom.INSTRUMENT if policy.instrument_id else LimitsFrom.TYPE


def _optional_scope(instrument: Instrument) -> Q:
    return Q(instrument=instrument) | Q(instrument__isnull=True, kind=instrument.kind)
