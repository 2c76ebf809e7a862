"""The review of results and the issue of their reports."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.core.paginator import Paginator
from django.db.models import Prefetch, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from surveys.core.errors import ServiceError
from surveys.core.messages import Reader, error_text
from surveys.documents.formatting import finding_texts, flow_with_uncertainty, moment
from surveys.models import Report, Result, Survey, User
from surveys.models.job import JobState
from surveys.pages.frame import page, units_of
from surveys.pages.office.access import office_page
from surveys.services.results.reports import report_issue

PAGE_SIZE = 50
# Findings that a reviewer has to read.
SIGNIFICANT_SEVERITIES = ("error", "warning")


@office_page
@require_safe
def queue(request: HttpRequest) -> HttpResponse:
    """List the current results of jobs in review and those newer than their report, the latest first."""
    return _shown(request)


@office_page
@require_POST
def issue(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Issue the report of a survey, or reissue it with the reason; show errors at the result."""
    survey = get_object_or_404(Survey.objects.visible_to(request.user), pk=pk)
    reason = request.POST.get("reason", "")
    try:
        report_issue(
            survey=survey,
            units=units_of(request),
            reason=reason,
            address=request.build_absolute_uri("/"),
            by=cast(User, request.user),
            now=timezone.now(),
        )
    except ServiceError as error:
        return _shown(
            request,
            {"survey": pk, "reason": reason, "detail": error_text(error, Reader(units_of(request)))},
            error.status,
        )
    return redirect("office-review")


def _shown(request: HttpRequest, rejected: dict[str, Any] | None = None, status: int = 200) -> HttpResponse:
    reports = Report.objects.filter(replaced_at__isnull=True).defer("content").select_related("result")
    in_review = Q(survey__job__state=JobState.IN_REVIEW)
    # A report in force with a result that has been replaced.
    outdated = Q(
        survey__reports__replaced_at__isnull=True, survey__reports__result__replaced_at__isnull=False
    )
    rows = Result.objects.visible_to(request.user).filter(replaced_at__isnull=True)
    rows = rows.filter(in_review | outdated).distinct()
    rows = rows.select_related("survey__job", "survey__measuring_point__pipe__site__client")
    rows = rows.prefetch_related(Prefetch("survey__reports", reports, to_attr="in_force"))
    shown = Paginator(rows.order_by("-computed_at", "-id"), PAGE_SIZE).get_page(request.GET.get("page"))
    cards = [_card(request, one, rejected or {}) for one in shown]
    return page(request, "office/review.html", {"cards": cards, "results": shown}, status)


def _card(request: HttpRequest, result: Result, rejected: dict[str, Any]) -> dict[str, Any]:
    survey: Any = result.survey
    point = survey.measuring_point
    report = next(iter(survey.in_force), None)
    return {
        "result": result,
        "point": point,
        "started": moment(survey.started_at, point.pipe.site.zone),
        "flow": flow_with_uncertainty(
            result.volume_flow_m3_s, result.expanded_uncertainty_m3_s, units_of(request)
        ),
        "significant": finding_texts(
            (one for one in result.findings if one["severity"] in SIGNIFICANT_SEVERITIES),
            units_of(request),
            point.pipe.site.zone,
        ),
        "report": report,
        "outdated": report is not None and report.result_id != result.pk,
        "rejected": rejected if rejected.get("survey") == survey.pk else None,
    }
