"""Parts of the pages that are calculated while the user types; nothing is stored."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from compute.measuring.wall import WALL_CHECKS
from surveys.core.request_limits import limits_of, wait_for
from surveys.core.stored_quantities import findings_json
from surveys.documents.formatting import finding_texts, format_quantity
from surveys.inputs.fields import si_of
from surveys.inputs.problems import problem_of
from surveys.inputs.worksheets import WallIn, WorksheetIn, sheet_checked
from surveys.pages.frame import units_of
from surveys.pages.pipe_form import PLAIN_NUMBERS
from surveys.pages.technician.access import field_page, visible_point
from surveys.pages.technician.worksheet import calculated_sheet, sheet_shown
from surveys.services.pipes.pipes import measured_wall

# The minimum of `wall-measurements/` of the API.
MIN_WALL_READINGS = 2


@field_page
@require_POST
def answer(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Calculate the mounting for the entries so far."""
    point, now, units = visible_point(request, pk), timezone.now(), units_of(request)

    def answer() -> dict[str, Any]:
        sheet = calculated_sheet(point, sheet_checked(WorksheetIn, request), now)
        return {"shown": sheet_shown(sheet, units)}

    return _fragment(request, "technician/answer.html", answer)


@field_page
@require_POST
def wall_answer(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Calculate the wall thickness from the readings so far."""
    point, units = visible_point(request, pk), units_of(request)

    def answer() -> dict[str, Any]:
        requested = sheet_checked(WallIn, request)
        readings = [one.si for one in requested["readings"]]
        if len(readings) < MIN_WALL_READINGS:
            return {"count": len(readings), "fewest": MIN_WALL_READINGS}
        wall = measured_wall(
            point.pipe, requested["gauge"], readings, si_of(requested.get("gauge_velocity_setting"))
        )
        figures = [
            (_("Mean wall thickness"), wall.mean),
            (_("Standard deviation"), wall.standard_deviation),
            (_("Standard uncertainty of the mean"), wall.standard_uncertainty),
            (_("Minimum"), wall.minimum),
            (_("Maximum"), wall.maximum),
        ]
        return {
            "count": len(readings),
            "figures": [(name, format_quantity(value, "length", units, 2)) for name, value in figures],
            "findings": finding_texts(findings_json(WALL_CHECKS.findings(wall)), units),
        }

    return _fragment(request, "technician/wall_answer.html", answer)


def _fragment(request: HttpRequest, template: str, answer: Callable[[], dict[str, Any]]) -> HttpResponse:
    """Render a fragment, or the errors by field as in the API; requests are limited as the API's calculations are."""
    seconds = wait_for(limits_of("compute", request))
    if seconds is not None:
        return HttpResponse(status=429, headers={"Retry-After": str(math.ceil(seconds))})
    try:
        return render(request, template, answer())
    except Exception as error:
        document = problem_of(error, units_of(request))
        if document is None:
            raise
        for one in document["errors"]:
            if one["code"] == "number-invalid":
                one["detail"] = str(PLAIN_NUMBERS.get(one["field"], one["detail"]))
        return render(
            request, "technician/calculation_errors.html", {"problem": document}, status=document["status"]
        )
