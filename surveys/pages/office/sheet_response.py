"""Changes that recalculate surveys: preview, saving, and progress of the recalculation."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from compute.base.units import System
from surveys.core.errors import ServiceError
from surveys.core.messages.numbers import percent_text
from surveys.documents.formatting import flow_with_uncertainty, moment
from surveys.inputs.problems import problem_of
from surveys.models import Recomputation, RecomputationItem, Result
from surveys.pages.frame import page, units_of
from surveys.pages.office.access import form_for_correctors
from surveys.pages.office.sheet import Sheet
from surveys.results.inputs_in_force import inputs_in_force, survey_with_inputs
from surveys.results.reduction import survey_reduce

# Number of surveys calculated for a preview; the others are counted.
MAX_SHOWN = 20
OPEN = (Recomputation.State.WAITING, Recomputation.State.RUNNING)


def change_response(
    request: HttpRequest,
    sheet: Sheet,
    change: Callable[[], Recomputation | None],
    template: str,
    around: dict[str, Any],
) -> HttpResponse:
    """Respond to the form of a change: "show" shows a preview and saves nothing, "commit" saves the change.

    `change` saves it and returns the recalculation that it starts; errors are shown at their fields of the form.
    """
    command = request.POST.get("do", "show")
    # A change that differs from its last preview is shown again first.
    showing = command != "commit" or request.POST.get("seen", "") != sheet.seal
    try:
        with transaction.atomic():
            run = change()
            if sheet.nothing_changed:
                raise ServiceError("nothing-changed/form")
            preview = _preview(run, units_of(request)) if showing else None
            # A preview saves the change and rolls back, so that it shows what saving gives.
            transaction.set_rollback(showing)
    except Exception as error:
        problem = problem_of(error, units_of(request))
        if problem is None:
            raise
        sheet.rejected(problem["errors"])
        return page(request, template, around, problem["status"])
    if preview is None:
        return _sent_to(request, run)
    return page(request, template, around | {"preview": preview, "unseen": command == "commit"})


def units_begun(request: HttpRequest) -> System:
    """Return the units of a form: entered texts are compared with its initial texts, in the units of that time."""
    if "units" in request.POST:
        return "us" if request.POST["units"] == "us" else "metric"
    return units_of(request)


@form_for_correctors
@require_safe
def recomputation(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the progress of a recalculation and the changed results; the progress reloads itself until the end."""
    rows = Recomputation.objects.visible_to(request.user).select_related(
        "pipe__site", "transducer_data__instrument", "requested_by"
    )
    run = get_object_or_404(rows, pk=pk)
    items = run.items.filter(survey__isnull=False)
    done = items.filter(state=RecomputationItem.State.DONE).select_related(
        "before", "after", "survey__measuring_point__pipe__site"
    )
    units = units_of(request)
    context = {
        "run": run,
        "over": run.state not in OPEN,
        "zone": run.pipe.site.zone if run.pipe else settings.OFFICE_TIME_ZONE,
        "total": items.count(),
        "done": done.count(),
        "failed": items.filter(state=RecomputationItem.State.FAILED).count(),
        "rows": [
            _moved(one.before, one.after or one.before, units) for one in done[:MAX_SHOWN] if one.before
        ],
    }
    if "HX-Request" in request.headers:
        return render(request, "office/progress.html", context)
    return page(request, "office/recomputation.html", context)


def _sent_to(request: HttpRequest, run: Recomputation | None) -> HttpResponse:
    """Redirect to the recalculation of a change, or to the form if the change started none."""
    to = redirect("office-recomputation", pk=run.pk) if run else redirect(request.path)
    if "HX-Request" in request.headers:
        # The script would follow a redirect and show the page within the form.
        return HttpResponse(headers={"HX-Redirect": to.url})
    return to


def _preview(run: Recomputation | None, units: System) -> dict[str, Any]:
    """Return the results of a recalculation that is not saved."""
    if run is None:
        return {"rows": [], "total": 0, "more": 0}
    surveys = list(run.items.filter(survey__isnull=False).order_by("pk").values_list("survey", flat=True))
    rows = []
    for survey in surveys[:MAX_SHOWN]:
        before = Result.objects.select_related("survey__measuring_point__pipe__site").get(
            survey=survey, replaced_at__isnull=True
        )
        after = survey_reduce(inputs_in_force(survey_with_inputs(survey))).reduction
        flow = flow_with_uncertainty(after.volume_flow, after.uncertainty.expanded_uncertainty, units)
        rows.append(_row(before, flow, after.volume_flow, units))
    return {"rows": rows, "total": len(surveys), "more": max(0, len(surveys) - MAX_SHOWN)}


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
        "relative": percent_text(flow_m3_s / before.volume_flow_m3_s - 1, sign=True)
        if before.volume_flow_m3_s
        else "",
    }
