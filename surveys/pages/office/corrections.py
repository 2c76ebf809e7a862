"""Correction of pipe data with a preview of the changed results."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any, cast
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from surveys.core.errors import ServiceError
from surveys.core.messages import error_text
from surveys.inputs.pipes import CorrectionIn, ModificationIn, changed_statement
from surveys.models import Pipe, PipeData, Recomputation, User
from surveys.pages.frame import page
from surveys.pages.office.access import office_page
from surveys.pages.office.correction_form import PipeSheet
from surveys.pages.office.sheet_response import change_response, units_begun
from surveys.pages.pipe_form import choices
from surveys.pipes.selectors import pipe_data_at
from surveys.services.pipes.pipes import pipe_alter, pipe_correct, version_to_correct

MAX_WALL_MEASUREMENTS = 50
FORM = "office/correction.html"


@office_page
@require_http_methods(["GET", "POST"])
def correction(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the form; "show" shows a preview, "commit" saves the change."""
    pipe = get_object_or_404(Pipe.objects.visible_to(request.user).select_related("site__client"), pk=pk)
    versions = _in_force(pipe)
    try:
        base = _version(request, pipe)
    except ServiceError as error:
        context = {"pipe": pipe, "detail": error_text(error)}
        return page(request, "office/nothing_to_correct.html", context, error.status)
    sheet = _sheet(request, pipe, base)
    around = {"pipe": pipe, "versions": versions, "sheet": sheet}
    if request.method != "POST":
        return page(request, FORM, around)
    if request.POST.get("do") == "more-linings":
        sheet.add_lining()
        answer = page(request, FORM, around)
        # The page does not scroll.
        answer["HX-Reswap"] = "outerHTML show:none"
        return answer
    return change_response(request, sheet, lambda: _changed(request, pipe, sheet), FORM, around)


def _in_force(pipe: Pipe) -> list[PipeData]:
    """Return the versions in force, the latest first."""
    rows = pipe.data.filter(corrected_by__isnull=True).select_related("recorded_by")
    return sorted(rows, key=lambda one: (one.valid_from or date.min, one.recorded_at), reverse=True)


def _version(request: HttpRequest, pipe: Pipe) -> PipeData:
    """Return the named version, else the one in force; raise Conflict if there is none."""
    named = request.POST.get("corrects") or request.GET.get("version")
    if not named:
        return version_to_correct(pipe, timezone.localdate(timezone=pipe.site.zone))
    try:
        return pipe.data.get(pk=named)
    except (PipeData.DoesNotExist, ValidationError):
        raise Http404 from None


def _sheet(request: HttpRequest, pipe: Pipe, base: PipeData) -> PipeSheet:
    wall_measurements = pipe.wall_measurements.all()[:MAX_WALL_MEASUREMENTS]
    offers = choices(cast(User, request.user))
    return PipeSheet(base, units_begun(request), request.POST.dict(), offers, wall_measurements)


def _changed(request: HttpRequest, pipe: Pipe, sheet: PipeSheet) -> Recomputation:
    """Save the correction or modification as the API does for a request."""
    kind = ModificationIn if sheet.altered else CorrectionIn
    requested = kind(data=sheet.stated(), context={"request": request})
    requested.is_valid(raise_exception=True)
    given, by, now = dict(requested.validated_data), cast(User, request.user), timezone.now()
    common: dict[str, Any] = {
        "pipe": pipe,
        "reason": given["reason"],
        "valid_from": given["valid_from"],
        "wall_measurement": given["wall_measurement"],
        "by": by,
        "now": now,
    }
    before = (pipe_data_at(pipe, given["valid_from"]) if sheet.altered else None) or sheet.base
    statement = changed_statement(before, given)
    common["statement"] = replace(
        statement, as_entered=sheet.typed_of(statement.as_entered, before.as_entered)
    )
    if sheet.altered:
        return pipe_alter(**common)[1]
    return pipe_correct(corrects=sheet.base, **common)[1]
