"""Pipe data corrected: what that would change is seen before it is done, and the recomputation is followed to its end."""

from __future__ import annotations

from datetime import date
from typing import Any, cast
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from compute.units import System
from surveys.api.problems import problem_of
from surveys.api.records.pipes import AlterationIn, CorrectionIn, changed_statement
from surveys.basis import basis_in_force, survey_with_basis
from surveys.errors import ServiceError
from surveys.models import Pipe, PipeData, Recomputation, RecomputationItem, Result, User
from surveys.office.access import for_the_office
from surveys.office.correction_form import Sheet
from surveys.papers.wording import flow_with_uncertainty, moment
from surveys.pipe_form import choices
from surveys.portal.frame import page, units_of
from surveys.reduction import survey_reduce
from surveys.selectors import pipe_data_at
from surveys.services.pipes import pipe_alter, pipe_correct, version_to_correct

# So many surveys are worked out beforehand; the others are counted.
MOST_SHOWN = 20
MOST_GAUGINGS = 50
OPEN = (Recomputation.State.WAITING, Recomputation.State.RUNNING)
NOTHING = "Nothing is changed yet; write what it should be."


@for_the_office
@require_http_methods(["GET", "POST"])
def correction(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The form; "show" tells what would change and keeps nothing, "commit" does it."""
    pipe = get_object_or_404(Pipe.objects.visible_to(request.user).select_related("site__client"), pk=pk)
    versions = _in_force(pipe)
    try:
        base = _version(request, pipe)
    except ServiceError as error:
        told = {"pipe": pipe, "detail": error.detail}
        return page(request, "office/nothing_to_correct.html", told, error.status)
    sheet = _sheet(request, pipe, base)
    around = {"pipe": pipe, "versions": versions, "sheet": sheet, "preview": None, "unseen": False}
    wish = request.POST.get("do", "show")
    if request.method != "POST":
        return page(request, "office/correction.html", around)
    # What was not looked at as it stands now is shown first.
    seen = request.POST.get("seen", "")
    showing = wish != "commit" or seen != sheet.seal
    try:
        with transaction.atomic():
            recomputation = _changed(request, pipe, sheet)
            shown = _preview(recomputation, units_of(request)) if showing else None
            # To show it is to do it and to take that back: what is seen beforehand is what is done afterwards.
            transaction.set_rollback(showing)
    except Exception as error:
        problem = problem_of(error, units_of(request))
        if problem is None:
            raise
        sheet.refused(problem["errors"])
        return page(request, "office/correction.html", around, problem["status"])
    if shown is None:
        return _sent_to(request, recomputation)
    return page(request, "office/correction.html", around | {"preview": shown, "unseen": wish == "commit"})


@for_the_office
@require_safe
def recomputation(request: HttpRequest, pk: UUID) -> HttpResponse:
    """How far a recomputation is, and what it moved; the part that changes asks for itself again until it is over."""
    rows = Recomputation.objects.visible_to(request.user).select_related("pipe__site", "asked_by")
    run = get_object_or_404(rows, pk=pk)
    items = run.items.filter(survey__isnull=False)
    done = items.filter(state=RecomputationItem.State.DONE).select_related(
        "before", "after", "survey__measuring_point__pipe__site"
    )
    units = units_of(request)
    context = {
        "run": run,
        "over": run.state not in OPEN,
        "total": items.count(),
        "done": done.count(),
        "parked": items.filter(state=RecomputationItem.State.PARKED).count(),
        "rows": [
            _moved(one.before, one.after or one.before, units) for one in done[:MOST_SHOWN] if one.before
        ],
    }
    if "HX-Request" in request.headers:
        return render(request, "office/progress.html", context)
    return page(request, "office/recomputation.html", context)


def _in_force(pipe: Pipe) -> list[PipeData]:
    """Versions that no other corrects, the one true from latest first."""
    rows = pipe.data.filter(corrected_by__isnull=True).select_related("recorded_by")
    return sorted(rows, key=lambda one: (one.holds_from or date.min, one.recorded_at), reverse=True)


def _version(request: HttpRequest, pipe: Pipe) -> PipeData:
    """The version the form is about: the one it names, else the one in force. Raises Conflict where there is none."""
    named = request.POST.get("corrects") or request.GET.get("version")
    if not named:
        return version_to_correct(pipe, timezone.localdate(timezone=pipe.site.zone))
    try:
        return pipe.data.get(pk=named)
    except (PipeData.DoesNotExist, ValidationError):
        raise Http404 from None


def _sheet(request: HttpRequest, pipe: Pipe, base: PipeData) -> Sheet:
    # Compared with the texts the form began with, in the units it had then.
    units: System = (
        ("us" if request.POST["units"] == "us" else "metric")
        if "units" in request.POST
        else units_of(request)
    )
    gaugings = pipe.gaugings.all()[:MOST_GAUGINGS]
    return Sheet(base, units, request.POST.dict(), choices(cast(User, request.user)), gaugings)


def _changed(request: HttpRequest, pipe: Pipe, sheet: Sheet) -> Recomputation:
    """Correct or alter by the form as the API would by a request."""
    kind = AlterationIn if sheet.altered else CorrectionIn
    asked = kind(data=sheet.stated(), context={"request": request})
    asked.is_valid(raise_exception=True)
    if sheet.nothing_changed:
        raise ServiceError(NOTHING, code="nothing-changed")
    given, by, now = dict(asked.validated_data), cast(User, request.user), timezone.now()
    common = {
        "pipe": pipe,
        "reason": given["reason"],
        "holds_from": given["holds_from"],
        "gauging": given["gauging"],
        "by": by,
        "now": now,
    }
    if sheet.altered:
        before = pipe_data_at(pipe, given["holds_from"]) or sheet.base
        return pipe_alter(statement=changed_statement(before, given), **common)[1]
    return pipe_correct(corrects=sheet.base, statement=changed_statement(sheet.base, given), **common)[1]


def _sent_to(request: HttpRequest, run: Recomputation) -> HttpResponse:
    to = redirect("office-recomputation", pk=run.pk)
    if "HX-Request" in request.headers:
        # The script would follow a redirect itself and show the page within the form.
        return HttpResponse(headers={"HX-Redirect": to.url})
    return to


def _preview(run: Recomputation, units: System) -> dict[str, Any]:
    """What a recomputation that is not kept would come to."""
    surveys = list(run.items.filter(survey__isnull=False).order_by("pk").values_list("survey", flat=True))
    rows = []
    for survey in surveys[:MOST_SHOWN]:
        before = Result.objects.select_related("survey__measuring_point__pipe__site").get(
            survey=survey, replaced_at__isnull=True
        )
        after = survey_reduce(basis_in_force(survey_with_basis(survey))).reduction
        flow = flow_with_uncertainty(after.volume_flow, after.uncertainty.expanded_uncertainty, units)
        rows.append(_row(before, flow, after.volume_flow, units))
    return {"rows": rows, "total": len(surveys), "more": max(0, len(surveys) - MOST_SHOWN)}


def _moved(before: Result, after: Result, units: System) -> dict[str, Any]:
    flow = flow_with_uncertainty(after.volume_flow_m3_s, after.expanded_uncertainty_m3_s, units)
    return _row(before, flow, after.volume_flow_m3_s, units)


def _row(before: Result, flow: str, flow_m3_s: float, units: System) -> dict[str, Any]:
    point = before.survey.measuring_point
    return {
        "survey": before.survey,
        "point": point,
        "started": moment(before.survey.started_at, point.pipe.site.zone),
        "before": flow_with_uncertainty(before.volume_flow_m3_s, before.expanded_uncertainty_m3_s, units),
        "after": flow,
        "relative": f"{flow_m3_s / before.volume_flow_m3_s - 1:+.1%}" if before.volume_flow_m3_s else "",
    }
