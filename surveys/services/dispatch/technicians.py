"""Technicians: home base and working hours, withdrawn qualifications, cancelled absences."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from surveys.core.errors import Conflict
from surveys.models import Absence, Qualification, TechnicianProfile, User
from surveys.services.records import record_change


@transaction.atomic
def profile_change(*, technician: User, changes: Mapping[str, Any]) -> TechnicianProfile:
    """Change home base and working hours; the profile has its technician's id."""
    profile, _ = TechnicianProfile.objects.get_or_create(id=technician.pk, technician=technician)
    return record_change(TechnicianProfile.objects.select_for_update().get(pk=profile.pk), changes)


@transaction.atomic
def absence_cancel(*, absence: Absence, now: datetime) -> Absence:
    """Cancel an absence. Raises Conflict if it is already cancelled."""
    absence = Absence.objects.select_for_update().get(pk=absence.pk)
    if absence.cancelled_at is not None:
        raise Conflict("cancelled/absence")
    return record_change(absence, {"cancelled_at": now})


@transaction.atomic
def qualification_withdraw(*, qualification: Qualification, now: datetime) -> Qualification:
    """Withdraw a qualification. Raises Conflict if it is already withdrawn."""
    qualification = Qualification.objects.select_for_update().get(pk=qualification.pk)
    if qualification.withdrawn_at is not None:
        raise Conflict("withdrawn/qualification")
    return record_change(qualification, {"withdrawn_at": now})
