"""Which policy holds for an instrument: its own before its type's, its type's before its kind's; of several the latest."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

from django.db.models import Q

from surveys.models import AcceptancePolicy, Instrument, IntervalPolicy
from surveys.models.calibration import LimitsFrom, Policy

P = TypeVar("P", bound=Policy)


def policy_closest(policies: Iterable[P], instrument: Instrument) -> P | None:
    """The policy that holds for an instrument among these; None if none is about it."""
    about = [policy for policy in policies if policy.closeness(instrument)]
    return max(about, key=lambda one: (one.closeness(instrument), one.recorded_at, one.id), default=None)


def interval_policy_of(instrument: Instrument) -> IntervalPolicy | None:
    """The interval policy that holds for an instrument."""
    return policy_closest(IntervalPolicy.objects.filter(_perhaps_about(instrument)), instrument)


def acceptance_policy_of(instrument: Instrument) -> AcceptancePolicy | None:
    """The acceptance policy that holds for an instrument."""
    return policy_closest(AcceptancePolicy.objects.filter(_perhaps_about(instrument)), instrument)


def limits_from(policy: AcceptancePolicy) -> LimitsFrom:
    """Where a calibration that is judged by this policy has its limits from."""
    return LimitsFrom.INSTRUMENT if policy.instrument_id else LimitsFrom.TYPE


def _perhaps_about(instrument: Instrument) -> Q:
    return Q(instrument=instrument) | Q(instrument__isnull=True, kind=instrument.kind)
