"""Sites, pipes, and the survey results of a measuring point."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from typing import Any, cast
from uuid import UUID

from django.core.paginator import Paginator
from django.db.models import Count, Prefetch, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_safe

from compute.base.units import System, express
from surveys.documents.changes import change_text, history_svg
from surveys.documents.formatting import flow_with_uncertainty
from surveys.documents.site_plan import Place, site_plan
from surveys.logfiles.times import iso_time
from surveys.models import MeasuringPoint, Pipe, Site, User
from surveys.models.role import OFFICE
from surveys.pages.frame import framed, page, units_of
from surveys.pipes.selectors import microseconds
from surveys.results.history import Found, point_history

# Surveys of a point, and sites, on one page.
SHOWN, SITES_SHOWN = 100, 60


@framed
@require_safe
def sites(request: HttpRequest) -> HttpResponse:
    """List the sites a user may see, by client, with a map of the sites on the page."""
    sought = request.GET.get("q", "").strip()[:200]
    in_use = Q(pipes__retired_at__isnull=True)
    rows = Site.objects.visible_to(request.user).filter(retired_at__isnull=True).select_related("client")
    if sought:
        rows = rows.filter(
            Q(name__icontains=sought) | Q(address__icontains=sought) | Q(client__name__icontains=sought)
        )
    rows = rows.annotate(pipe_count=Count("pipes", in_use)).order_by("client__name", "name", "id")
    shown = Paginator(rows, SITES_SHOWN).get_page(request.GET.get("page"))
    plan = _plan(list(shown), shown.start_index(), units_of(request))
    return page(request, "client/sites.html", {"sites": shown, "sought": sought, "plan": plan})


def _plan(rows: Sequence[Site], first: int, units: System) -> str:
    """The map of the sites that have coordinates; empty for fewer than two."""
    places = [
        Place(number, one.name, reverse("portal-site", args=[one.pk]), one.latitude_deg, one.longitude_deg)
        for number, one in enumerate(rows, start=first)
        if one.latitude_deg is not None and one.longitude_deg is not None
    ]
    # Generated here; names and addresses are escaped in `site_plan`.
    return mark_safe(site_plan(places, units)) if len(places) > 1 else ""  # noqa: S308


@framed
@require_safe
def site(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the pipes of a site with their measuring points."""
    found = get_object_or_404(Site.objects.visible_to(request.user).select_related("client"), pk=pk)
    points = MeasuringPoint.objects.visible_to(request.user).filter(retired_at__isnull=True)
    points = points.annotate(survey_count=Count("surveys", Q(surveys__primary_survey__isnull=True)))
    pipes = Pipe.objects.visible_to(request.user).filter(site=found, retired_at__isnull=True)
    pipes = pipes.prefetch_related(Prefetch("measuring_points", points))
    return page(
        request,
        "client/site.html",
        {"site": found, "pipes": pipes, "corrects": cast(User, request.user).role in OFFICE},
    )


@framed
@require_safe
def point(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the history of a measuring point: chart, table, and the change since the previous survey."""
    rows = MeasuringPoint.objects.visible_to(request.user).select_related("pipe__site__client")
    found = get_object_or_404(rows, pk=pk)
    units, zone = units_of(request), found.pipe.site.zone
    number = _page_number(request)
    history = point_history(found, request.user, newest=SHOWN + 1, skipped=(number - 1) * SHOWN)
    history, older = history[-SHOWN:], len(history) > SHOWN
    compared = [one for one in history if one.change is not None]
    context = {
        "point": found,
        "zone": zone,
        # Generated from numbers and dates; no user's text is in the chart.
        "chart": mark_safe(history_svg(history, units, zone)) if history else "",  # noqa: S308
        "rows": [_row(one, units) for one in reversed(history)],
        "latest": change_text(compared[-1].change, units) if compared and number == 1 else None,
        "older": number + 1 if older else None,
        "newer": number - 1 if number > 1 else None,
    }
    return page(request, "client/point.html", context)


@framed
@require_safe
def point_table(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Answer the complete history as CSV, oldest first: times in UTC, values with all digits, no cell that reads as a formula."""
    found = get_object_or_404(MeasuringPoint.objects.visible_to(request.user), pk=pk)
    units = units_of(request)
    shown = express(1.0, "volume_flow", units)
    scale, unit = float(shown["value"]), shown["unit"]
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="history-{found.pk}.csv"'
    table = csv.writer(answer)
    flows = ("volume_flow", "expanded_uncertainty", "change", "change_expanded_uncertainty")
    table.writerow(["survey", "started_at", *(f"{name} [{unit}]" for name in flows), "paths", "withdrawn"])
    for one in point_history(found, request.user):
        change = one.change
        flow = [one.volume_flow_m3_s, one.expanded_uncertainty_m3_s]
        flow += [change.difference_m3_s, change.explained_m3_s] if change else []
        cells = [repr(value * scale) for value in flow] + [""] * (len(flows) - len(flow))
        survey = one.result.survey
        table.writerow(
            [
                survey.pk,
                iso_time(microseconds(survey.started_at)),
                *cells,
                one.paths,
                str(one.withdrawn).lower(),
            ]
        )
    return answer


def _page_number(request: HttpRequest) -> int:
    """The page requested; the first one if the text is not a page number."""
    text = request.GET.get("page", "1")
    return max(int(text), 1) if text.isascii() and text.isdigit() and len(text) < 7 else 1


def _row(one: Found, units: System) -> dict[str, Any]:
    return {
        "survey": one.result.survey,
        "flow": flow_with_uncertainty(one.volume_flow_m3_s, one.expanded_uncertainty_m3_s, units),
        "paths": one.paths,
        "change": change_text(one.change, units),
        "notices": one.notices,
    }
