"""Readings of the site's own meter, recorded with a survey."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from surveys.core.errors import ServiceError
from surveys.models import SiteMeterReading, Survey, User
from surveys.services.records import required_reason
from surveys.services.surveys.logs import lock_survey


@dataclass(frozen=True, slots=True)
class SiteMeterStatement:
    """A reading of a site meter: flows in m³/s, expanded uncertainty for k = 2."""

    meter: str
    reading_type: str
    volume_flow_m3_s: float
    expanded_uncertainty_m3_s: float | None
    note: str
    as_entered: Mapping[str, str]


@transaction.atomic
def site_meter_record(
    *, survey: Survey, statement: SiteMeterStatement, reason: str, by: User, now: datetime
) -> SiteMeterReading:
    """Record a reading of the site meter, or correct it with a reason; the earlier record stays.

    Raises ServiceError without the name of a meter, for an uncertainty not above zero, or for a correction without a reason.
    """
    if not statement.meter.strip():
        raise ServiceError("required", field="meter")
    expanded = statement.expanded_uncertainty_m3_s
    if expanded is not None and not expanded > 0:
        raise ServiceError("uncertainty-invalid/site-meter", field="expanded_uncertainty")
    lock_survey(survey)
    in_force = SiteMeterReading.objects.filter(survey=survey, replaced_at__isnull=True)
    if in_force.update(replaced_at=now):
        reason = required_reason(reason)
    return SiteMeterReading.objects.create(
        survey=survey,
        meter=statement.meter.strip(),
        reading_type=statement.reading_type,
        volume_flow_m3_s=statement.volume_flow_m3_s,
        expanded_uncertainty_m3_s=expanded,
        note=statement.note,
        reason=reason,
        recorded_at=now,
        recorded_by=by,
        as_entered=dict(statement.as_entered),
    )
