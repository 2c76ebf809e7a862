"""The result of a log for the technician at the pipe: flow, findings and next steps."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, cast
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from compute.base.units import System
from surveys.core.messages import Reader
from surveys.core.messages import render as message_render
from surveys.documents.formatting import finding_texts, flow_with_uncertainty, format_quantity, moment
from surveys.documents.paths_mean import mean_text
from surveys.models import Combination, MeasuringPoint, Result, Survey, User
from surveys.pages.frame import units_of
from surveys.pages.technician.access import field_page
from surveys.pipes.selectors import paths_result

# A technician is at the pipe at most this long after a survey is recorded.
FIELD_VISIT_DURATION = timedelta(hours=24)


@field_page
@require_safe
def result(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the result once the log is imported."""
    survey = get_object_or_404(Survey.objects.visible_to(request.user), pk=pk)
    return render(request, "technician/result.html", {"shown": result_context(survey, units_of(request))})


def latest_result_context(request: HttpRequest, point: MeasuringPoint) -> dict[str, Any] | None:
    """The result of the technician's latest log at a measuring point, if it is recent."""
    since = timezone.now() - FIELD_VISIT_DURATION
    rows = point.surveys.filter(
        technician=cast(User, request.user), log__isnull=False, recorded_at__gte=since
    )
    survey = rows.order_by("-recorded_at", "-id").first()
    return result_context(survey, units_of(request)) if survey else None


def result_context(survey: Survey, units: System) -> dict[str, Any]:
    """The current result of a survey in words; `of` is None without a result."""
    found = Result.objects.filter(survey=survey, replaced_at__isnull=True).first()
    point = survey.measuring_point
    if found is None:
        return {"of": None, "survey": survey, "point": point}
    together = paths_result(survey)
    mean = together and mean_text(together, units, point.pipe.site.zone)
    of_path = finding_texts(found.findings, units, point.pipe.site.zone)
    findings = [*(mean.findings if mean else []), *of_path]
    return {
        "of": found,
        "survey": survey,
        "started": moment(survey.started_at, point.pipe.site.zone),
        "point": point,
        "mean": mean,
        "mean_missing": None if mean else _mean_missing(survey, units),
        "flow": flow_with_uncertainty(found.volume_flow_m3_s, found.expanded_uncertainty_m3_s, units),
        "measured": format_quantity(found.measured_sound_speed_m_s, "speed", units, 1),
        "expected": format_quantity(found.expected_sound_speed_m_s, "speed", units, 1),
        "significant": [
            one for grade in ("error", "warning") for one in findings if one["severity"] == grade
        ],
        "mismatch": any(one["code"] == "sound-speed-inconsistent" for one in findings),
        "possible_causes": [one for one in findings if one["code"] == "suspect-entry"],
        "notes": [one for one in findings if one["severity"] == "info" and one["code"] != "suspect-entry"],
    }


def _mean_missing(survey: Survey, units: System) -> str | None:
    """Why the mean of several paths is missing: empty while it is not calculated yet, None for a single path."""
    first = survey.primary_survey_id or survey.pk
    joined = Combination.objects.filter(survey=first, retired_at__isnull=True).first()
    if joined is None:
        return None
    return message_render(joined.blocked_reason, Reader(units)).detail if joined.blocked_reason else ""
