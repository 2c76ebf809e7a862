"""Outliers of a log: list of the readings, and their inclusion or exclusion by technicians and the office."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, cast
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from surveys.documents.formatting import format_quantity, moment
from surveys.inputs.problems import problem_of
from surveys.inputs.surveys import OutliersIn
from surveys.models import Result, Role, Survey, User
from surveys.models.role import OFFICE
from surveys.pages.frame import framed_for, page, units_of
from surveys.pipes.selectors import EPOCH
from surveys.results.reduction import result_readings
from surveys.services.surveys.surveys import survey_include_outliers

# Readings listed on the page; the API lists all.
MAX_LISTED = 200


@framed_for(OFFICE | {Role.TECHNICIAN})
@require_http_methods(["GET", "POST"])
def outliers(request: HttpRequest, pk: UUID) -> HttpResponse:
    """List the outliers and record the choice; keep the reason on errors."""
    rows = Survey.objects.visible_to(request.user).select_related("measuring_point__pipe__site")
    survey = get_object_or_404(rows, pk=pk)
    problem: dict[str, Any] | None = None
    if request.method == "POST":
        try:
            _record(request, survey)
        except Exception as error:
            problem = problem_of(error, units_of(request))
            if problem is None:
                raise
        else:
            return redirect("portal-survey", pk=survey.pk)
    result = Result.objects.filter(survey=survey, replaced_at__isnull=True).first()
    context = {
        "survey": survey,
        "zone": survey.measuring_point.pipe.site.zone,
        "included": survey.stated.include_outliers,
        "listed": _listed(request, result) if result else [],
        "reason": request.POST.get("reason", ""),
        "wrong": [error["detail"] for error in problem["errors"]] or [problem["detail"]] if problem else [],
    }
    return page(request, "office/outliers.html", context, problem["status"] if problem else 200)


def _record(request: HttpRequest, survey: Survey) -> None:
    """Record the choice as the API does for a request."""
    given = {name: request.POST.get(name, "") for name in ("included", "reason")}
    requested = OutliersIn(data=given, context={"request": request})
    requested.is_valid(raise_exception=True)
    survey_include_outliers(
        survey=survey,
        included=requested.validated_data["included"],
        reason=requested.validated_data["reason"],
        by=cast(User, request.user),
        now=timezone.now(),
    )


def _listed(request: HttpRequest, result: Result) -> list[tuple[int, str, str]]:
    """Return the number of the reading, its time and its flow, of each outlier."""
    if not result.outliers:
        return []
    found, zone = result_readings(result, "the log")[1], result.survey.measuring_point.pipe.site.zone
    times = [] if found.times is None else found.times[:MAX_LISTED].tolist()
    rows = found.rows[:MAX_LISTED].tolist()
    flows = found.volume_flow[:MAX_LISTED].tolist()
    return [
        (
            row + 1,
            moment(EPOCH + timedelta(microseconds=at), zone),
            format_quantity(flow, "volume_flow", units_of(request)),
        )
        for row, at, flow in zip(rows, times, flows, strict=True)
    ]
