"""Proposed calibration intervals with their basis, and their acceptance or rejection."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST, require_safe

from compute.calibration.settled_rates import settled_rate
from surveys.core.messages import Reader, render
from surveys.core.messages.numbers import percent_text
from surveys.documents.formatting import finding_texts
from surveys.documents.interval_chart import review_chart
from surveys.inputs.fleet import IntervalDecisionIn
from surveys.inputs.problems import problem_of
from surveys.models import Instrument, IntervalReview
from surveys.pages.calibration.access import fleet_page, user_of, visible
from surveys.pages.calibration.wording import office_zone
from surveys.pages.frame import page, units_of
from surveys.services.fleet.interval_reviews import (
    MethodSettings,
    interval_review_calculate,
    interval_review_decide,
)

Method = IntervalReview.Method
Decision = IntervalReview.Decision
# The defaults of the API.
BOUNDS = {
    "min_days": 30,
    "max_days": 1826,
    "min_hours": 50.0,
    "max_hours": 4000.0,
    "target": 0.9,
}


@fleet_page
def intervals(request: HttpRequest, pk: UUID) -> HttpResponse:
    """List the interval reviews of an instrument, and calculate a new one by a method."""
    instrument = visible(request, Instrument, pk)
    problem: dict[str, Any] | None = None
    if request.method == "POST":
        method = request.POST.get("method", "")
        if method not in Method.values:
            raise Http404
        settings = MethodSettings(method=Method(method), **BOUNDS)
        try:
            review = interval_review_calculate(
                instrument=instrument, settings=settings, by=user_of(request), now=timezone.now()
            )
        except Exception as error:
            problem = problem_of(error, units_of(request))
            if problem is None:
                raise
        else:
            return redirect("fleet-interval", pk=review.pk)
    rows = IntervalReview.objects.visible_to(request.user).filter(instrument=instrument)
    context = {
        "instrument": instrument,
        "methods": Method.choices,
        "rates": [
            (method.label, percent_text(settled_rate(method.value, target=BOUNDS["target"]), ".0f"))
            for method in Method
        ],
        "chosen": request.POST.get("method", Method.STAIRCASE),
        "reviews": rows.select_related("calculated_by"),
        "problem": problem,
        "zone": office_zone(),
    }
    return page(request, "calibration/intervals.html", context, status=problem["status"] if problem else 200)


@fleet_page
@require_safe
def interval(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show a proposal with its basis and chart."""
    return _shown(request, _review(request, pk))


@fleet_page
@require_POST
def interval_decide(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Accept or reject a proposal, with the reason."""
    review = _review(request, pk)
    requested = {name: request.POST.get(name, "") for name in ("decision", "reason")}
    form = IntervalDecisionIn(data=requested, context={"request": request})
    try:
        form.is_valid(raise_exception=True)
        with transaction.atomic():
            interval_review_decide(
                review=review,
                decision=Decision(form.validated_data["decision"]),
                reason=form.validated_data["reason"],
                by=user_of(request),
                now=timezone.now(),
            )
    except Exception as error:
        problem = problem_of(error, units_of(request))
        if problem is None:
            raise
        return _shown(request, review, problem)
    return redirect("fleet-interval", pk=review.pk)


def _review(request: HttpRequest, pk: UUID) -> IntervalReview:
    found: IntervalReview = visible(request, IntervalReview, pk, "instrument", "calculated_by", "decided_by")
    return found


def _shown(
    request: HttpRequest, review: IntervalReview, problem: dict[str, Any] | None = None
) -> HttpResponse:
    units = units_of(request)
    chart = review_chart(review.chart, review.history_from, review.proposed_days, units)
    context = {
        "review": review,
        "reasoning": [render(one, Reader(units)).detail for one in review.reasoning],
        "findings": finding_texts(review.findings, units),
        # Generated from numbers and dates: it contains no text entered by users.
        "chart": mark_safe(chart),  # noqa: S308
        "problem": problem,
        "errors": {one["field"]: one["detail"] for one in problem["errors"]} if problem else {},
        "typed": request.POST.get("reason", ""),
        "zone": office_zone(),
    }
    return page(request, "calibration/interval.html", context, status=problem["status"] if problem else 200)
