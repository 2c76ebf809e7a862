"""What the site's own meter said, written down beside a survey."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from surveys.core.errors import ServiceError
from surveys.models import SiteMeterReading, Survey, User
from surveys.services.records import said
from surveys.services.surveys.logs import lock_survey


@dataclass(frozen=True, slots=True)
class SiteMeterStatement:
    """A site meter reading as it is stated; flows in m3/s, the uncertainty expanded (k = 2)."""

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
    """State what the site's meter said, or state it anew with a reason; what was stated before stays.

    Raises ServiceError without a name of the meter, for an uncertainty that is not above zero, or for no reason where one was stated.
    """
    if not statement.meter.strip():
        raise ServiceError("Say which meter of the site it is.", code="required", field="meter")
    expanded = statement.expanded_uncertainty_m3_s
    if expanded is not None and not expanded > 0:
        raise ServiceError(
            "The uncertainty is above zero; leave it out if the site states none.",
            code="uncertainty-invalid",
            field="expanded_uncertainty",
        )
    lock_survey(survey)
    in_force = SiteMeterReading.objects.filter(survey=survey, replaced_at__isnull=True)
    if in_force.update(replaced_at=now):
        reason = said(reason)
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
