"""Reviews of instruments found out of tolerance: the affected surveys and the decision on each."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.db.models import Count, Prefetch, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from compute.base.units import System
from surveys.core.errors import ServiceError
from surveys.core.messages import Reader, error_text, render
from surveys.core.messages.numbers import percent_text
from surveys.documents.formatting import flow_with_uncertainty, moment
from surveys.inputs.fleet import DECISION_CHOICES
from surveys.models import CombinationPart, OutOfToleranceReview, ReviewedSurvey
from surveys.pages.calibration.access import fleet_page, user_of, visible
from surveys.pages.calibration.wording import office_zone
from surveys.pages.frame import page, units_of
from surveys.services.fleet.out_of_tolerance_reviews import DECISIONS, Decision, review_decide

State = ReviewedSurvey.State
PAGE_SIZE = 50


@fleet_page
@require_safe
def review_list(request: HttpRequest) -> HttpResponse:
    """List the reviews, those with surveys to decide first."""
    rows = OutOfToleranceReview.objects.visible_to(request.user).select_related("instrument", "calibration")
    rows = rows.annotate(
        total=Count("surveys"), undecided=Count("surveys", filter=Q(surveys__state=State.UNDER_REVIEW))
    )
    shown = Paginator(rows.order_by("-undecided", "-opened_at", "-id"), PAGE_SIZE)
    return page(
        request,
        "calibration/out_of_tolerance_reviews.html",
        {"reviews": shown.get_page(request.GET.get("page"))},
    )


@fleet_page
@require_safe
def review_detail(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show a review with its surveys: the result, and the result corrected for the as-found error."""
    return _shown(request, _review(request, pk))


@fleet_page
@require_POST
def review_decision(request: HttpRequest, pk: UUID, survey: UUID) -> HttpResponse:
    """Save the decision on one survey of a review, with its reason."""
    review = _review(request, pk)
    item = get_object_or_404(ReviewedSurvey.objects.visible_to(request.user), review=review, survey=survey)
    chosen, reason = request.POST.get("decision", ""), request.POST.get("reason", "")
    try:
        if chosen not in DECISIONS:
            raise ServiceError("required/review-decision", field="decision")
        decision = Decision(item, State(chosen), reason)
        review_decide(review=review, decisions=[decision], by=user_of(request), now=timezone.now())
    except ServiceError as error:
        # An error about the decision as a whole is shown at the field of the decision.
        field = "reason" if error.field == "reason" else "decision"
        rejected = {"pk": item.pk, "decision": chosen, "reason": reason, f"{field}_wrong": error_text(error)}
        return _shown(request, review, rejected, error.status)
    return redirect("fleet-out-of-tolerance-review", pk=review.pk)


def _review(request: HttpRequest, pk: UUID) -> OutOfToleranceReview:
    found: OutOfToleranceReview = visible(
        request, OutOfToleranceReview, pk, "instrument", "calibration", "opened_by"
    )
    return found


def _shown(
    request: HttpRequest,
    review: OutOfToleranceReview,
    rejected: dict[str, Any] | None = None,
    status: int = 200,
) -> HttpResponse:
    units = units_of(request)
    related = ("result", "decided_by", "survey__measuring_point__pipe__site__client")
    parts = CombinationPart.objects.filter(combination__retired_at__isnull=True).select_related("combination")
    rows = review.surveys.select_related(*related).order_by("survey__started_at", "id")
    rows = rows.prefetch_related(Prefetch("survey__combination_parts", parts))
    shown = Paginator(rows, PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "review": review,
        "reasoning": [render(one, Reader(units)).detail for one in review.reasoning],
        "surveys": shown,
        "rows": [_row(one, units, rejected) for one in shown],
        "choices": DECISION_CHOICES,
        "zone": office_zone(),
    }
    return page(request, "calibration/out_of_tolerance_review.html", context, status=status)


def _row(one: ReviewedSurvey, units: System, rejected: dict[str, Any] | None) -> dict[str, Any]:
    point, before = one.survey.measuring_point, one.result
    figure, relative = "", ""
    if one.volume_flow_m3_s is not None and one.expanded_uncertainty_m3_s is not None:
        figure = flow_with_uncertainty(one.volume_flow_m3_s, one.expanded_uncertainty_m3_s, units)
        if before.volume_flow_m3_s:
            relative = percent_text(one.volume_flow_m3_s / before.volume_flow_m3_s - 1, sign=True)
    return {
        "of": one,
        "point": point,
        "started": moment(one.survey.started_at, point.pipe.site.zone),
        "flow": flow_with_uncertainty(before.volume_flow_m3_s, before.expanded_uncertainty_m3_s, units),
        "figure": figure,
        "relative": relative,
        "rests_on_it": [part.combination for part in one.survey.combination_parts.all()],
        "undecided": one.state == State.UNDER_REVIEW,
        "rejected": rejected if rejected and rejected["pk"] == one.pk else None,
    }
