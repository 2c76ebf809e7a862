"""Entry of the site meter reading of a survey by technicians and the office."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from surveys.inputs.problems import problem_of
from surveys.inputs.surveys import SiteMeterReadingIn, site_meter_of_request
from surveys.models import Role, SiteMeterReading, Survey, User
from surveys.models.role import OFFICE
from surveys.pages.frame import framed_for, page, units_of
from surveys.services.surveys.site_meters import site_meter_record

ENTRIES = ("meter", "reading_type", "volume_flow", "uncertainty", "note", "reason")


@framed_for(OFFICE | {Role.TECHNICIAN})
@require_http_methods(["GET", "POST"])
def site_meter(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the form and record its reading; keep the entered texts on errors."""
    rows = Survey.objects.visible_to(request.user).select_related("measuring_point__pipe__site")
    survey = get_object_or_404(rows, pk=pk)
    entered = {name: request.POST.get(name, "") for name in ENTRIES}
    problem: dict[str, Any] | None = None
    if request.method == "POST":
        try:
            _state(request, survey, entered)
        except Exception as error:
            problem = problem_of(error, units_of(request))
            if problem is None:
                raise
        else:
            return redirect("portal-survey", pk=survey.pk)
    context = {
        "survey": survey,
        "zone": survey.measuring_point.pipe.site.zone,
        "entered": entered,
        "again": survey.site_meter_readings.exists(),
        "choices": SiteMeterReading.ReadingType.choices,
        "wrong": _wrong(problem),
    }
    return page(request, "office/site_meter.html", context, problem["status"] if problem else 200)


def _state(request: HttpRequest, survey: Survey, entered: dict[str, str]) -> None:
    """Record the reading as the API does for a request."""
    given: dict[str, Any] = {name: text for name, text in entered.items() if text.strip()}
    given |= _uncertainty(given.pop("uncertainty", ""))
    requested = SiteMeterReadingIn(data=given, context={"request": request})
    requested.is_valid(raise_exception=True)
    site_meter_record(
        survey=survey,
        statement=site_meter_of_request(requested.validated_data),
        reason=requested.validated_data["reason"],
        by=cast(User, request.user),
        now=timezone.now(),
    )


def _uncertainty(text: str) -> dict[str, Any]:
    """Return the field for an entered uncertainty: a flow with its unit, or per cent of the flow."""
    number, sign, rest = text.strip().partition("%")
    if not sign or rest:
        return {"expanded_uncertainty": text} if text else {}
    try:
        return {"relative_expanded_uncertainty": float(number) / 100}
    except ValueError:
        return {"expanded_uncertainty": text}


def _wrong(problem: dict[str, Any] | None) -> dict[str, str]:
    """Return the errors by field."""
    errors = problem["errors"] if problem else []
    details = {error["field"]: error["detail"] for error in errors}
    of_uncertainty = [details.pop(name) for name in list(details) if name.endswith("expanded_uncertainty")]
    return details | ({"uncertainty": " ".join(of_uncertainty)} if of_uncertainty else {})
