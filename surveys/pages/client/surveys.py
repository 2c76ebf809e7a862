"""The page of a survey: result, measurement uncertainty, findings and instruments."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from surveys.calibration.affected_results import notices_with_paths, with_outdated
from surveys.core.errors import ServiceError
from surveys.core.messages import Reader, error_text
from surveys.documents.change_causes import cause_texts
from surveys.documents.formatting import (
    correlation_text,
    finding_texts,
    flow_with_uncertainty,
    format_quantity,
    interval_text,
    moment,
)
from surveys.documents.paths_mean import mean_text
from surveys.documents.site_meter_comparison import comparison_text
from surveys.documents.survey_report import budget_lines
from surveys.models import Calibration, Report, Result, ReviewedSurvey, Role, Survey, User
from surveys.models.role import FLEET, OFFICE
from surveys.pages.client.readings import readings_chart, requested_window
from surveys.pages.frame import framed, page, units_of
from surveys.pipes.selectors import paths_result


@framed
@require_safe
def survey(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show a survey with its current result, its reports and its data to download."""
    rows = Survey.objects.visible_to(request.user)
    reviews = ReviewedSurvey.objects.select_related("review__instrument")
    rows = rows.prefetch_related(Prefetch("out_of_tolerance_reviews", reviews))
    found = get_object_or_404(rows.select_related("measuring_point__pipe__site__client", "log"), pk=pk)
    results = Result.objects.visible_to(request.user).filter(survey=found, replaced_at__isnull=True)
    certificates = Calibration.objects.select_related("instrument")
    results = results.select_related("transducer_data__instrument")
    result = results.prefetch_related(Prefetch("calibrations", certificates)).first()
    zone = found.measuring_point.pipe.site.zone
    reports = with_outdated(Report.objects.visible_to(request.user).filter(survey=found).defer("content"))
    together = paths_result(found)
    context = {
        "survey": found,
        "point": found.measuring_point,
        "zone": zone,
        "started": moment(found.started_at, zone),
        "result": result,
        "reports": reports,
        "notices": notices_with_paths(found, together),
        "log": getattr(found, "log", None),
        "corrects_transducers": cast(User, request.user).role in OFFICE | FLEET,
        "measures": cast(User, request.user).role in OFFICE | {Role.TECHNICIAN},
    }
    if result is None:
        return page(request, "client/survey.html", context)
    units = units_of(request)
    context["flow"] = flow_with_uncertainty(result.volume_flow_m3_s, result.expanded_uncertainty_m3_s, units)
    context["correlation"] = correlation_text(result, units)
    context["interval"] = interval_text(result, units)
    context["velocity"] = format_quantity(result.mean_velocity_m_s, "speed", units)
    context["findings"] = finding_texts(result.findings, units, zone)
    context["budget"] = budget_lines(result, units)
    context["causes"] = cause_texts(result.change_breakdown, units, zone)
    context["comparison"] = comparison_text(found, together or result, units)
    context["together"] = together and mean_text(together, units, zone)
    requested, wrong = _time_range(request, zone)
    context["chart"] = readings_chart(result, requested, units, zone)
    context["wrong"] = error_text(wrong, Reader(units, zone)) if wrong else ""
    answer = page(request, "client/survey.html", context, status=wrong.status if wrong else 200)
    if "HX-Request" in request.headers and not wrong:
        answer["HX-Push-Url"] = request.get_full_path()
    return answer


def _time_range(request: HttpRequest, zone: Any) -> tuple[tuple[int | None, int | None], ServiceError | None]:
    """The time range to show; the whole log and the error for an invalid request."""
    try:
        return requested_window(request.GET, zone), None
    except ServiceError as error:
        return (None, None), error
