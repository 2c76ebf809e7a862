"""Reports of surveys as PDF, issued and in draft; sheets of set-ups."""

from __future__ import annotations

from typing import Any, cast

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django_filters.rest_framework import BooleanFilter
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import units_of
from surveys.api.files import PDFRenderer
from surveys.api.filters import RecordFilter, filters, period
from surveys.api.rendering import JSONRenderer
from surveys.api.views import Once, Records, UnitsMixin, documented
from surveys.calibration.affected_results import with_outdated
from surveys.documents.pdf import typeset
from surveys.documents.setup_sheet import setup_sheet
from surveys.inputs.fields import StrictSerializer, TextField
from surveys.models import Report, Setup, Survey, User
from surveys.models.role import FIELD, FLEET, OFFICE
from surveys.services.results.reports import report_content, report_draft, report_issue

PDF = {(200, "application/pdf"): OpenApiTypes.BINARY}


class ReportOut(serializers.ModelSerializer):
    number = serializers.CharField(read_only=True)
    replaced_by = serializers.PrimaryKeyRelatedField(read_only=True, allow_null=True)
    issued_by = serializers.CharField(source="issued_by.username", read_only=True)
    outdated = serializers.BooleanField(
        read_only=True,
        help_text="Whether the result was replaced, or a review of its instruments opened or decided, since it was issued.",
    )

    class Meta:
        model = Report
        fields = [
            "id", "number", "survey", "result", "revision", "replaces", "replaced_by", "replaced_at", "units", "reason", "sha256",
            "outdated", "issued_at", "issued_by",
        ]  # fmt: skip


class ReportIn(StrictSerializer):
    reason = TextField(
        max_length=2000,
        required=False,
        allow_blank=True,
        help_text="Reason for the reissue; required if the survey has a report.",
    )


class Reports(Records):
    """Reports as they were issued; `?outdated=true` are those that no longer say what is so."""

    model = Report
    serializer_class = ReportOut
    related = ("result", "replaced_by", "issued_by")
    filterset_class = filters(
        Report,
        "survey",
        current=BooleanFilter(
            "replaced_at", "isnull", label="Only reports not issued again, or only the others."
        ),
        outdated=BooleanFilter("outdated"),
        site=RecordFilter("survey__measuring_point__pipe__site"),
        client=RecordFilter("survey__measuring_point__pipe__site__client"),
        **period("issued_at"),
    )
    ordering_fields = ("issued_at",)

    def get_queryset(self) -> Any:
        return with_outdated(super().get_queryset()).defer("content")


class ReportFile(UnitsMixin):
    """An issued report as PDF."""

    throttled_as = "report"
    renderer_classes = [JSONRenderer, PDFRenderer]

    @documented(responses=PDF)
    def get(self, request: Request, pk: Any) -> Any:
        """The PDF as it was issued, whether in force or replaced."""
        report = get_object_or_404(Report.objects.visible_to(request.user), pk=pk)
        answer = pdf_answer(bytes(report.content), f"report-{report.number}.pdf", report.sha256)
        if report.replaced_at:
            answer["Warning"] = '299 - "A later issue replaced this report."'
        return answer


class SurveyReports(Once):
    """The reports of one survey."""

    throttled_as = "report"
    writers = OFFICE

    @documented(responses=ReportOut(many=True))
    def get(self, request: Request, pk: Any) -> Response:
        """Every issue, the latest first."""
        rows = with_outdated(Report.objects.filter(survey=_survey(request, pk))).defer("content")
        rows = rows.select_related("result", "replaced_by", "issued_by")
        return Response(ReportOut(rows, many=True).data)

    @documented(request=ReportIn, responses={201: ReportOut})
    def post(self, request: Request, pk: Any) -> Response:
        """Issue the report, or issue it again: it then says which it replaces and what changed."""
        survey = _survey(request, pk)
        requested = ReportIn(data=request.data)
        requested.is_valid(raise_exception=True)
        report = report_issue(
            survey=survey,
            units=units_of(request),
            reason=requested.validated_data.get("reason", ""),
            address=request.build_absolute_uri("/"),
            by=cast(User, request.user),
            now=timezone.now(),
        )
        shown = ReportOut(with_outdated(Report.objects.all()).get(pk=report.pk)).data
        location = reverse("report-detail", kwargs={"pk": report.pk})
        return Response(shown, status=201, headers={"Location": location})


class SurveyReport(UnitsMixin):
    """A survey's report as PDF."""

    throttled_as = "report"
    renderer_classes = [JSONRenderer, PDFRenderer]

    @documented(
        responses=PDF,
        parameters=[
            OpenApiParameter(
                "draft", bool, description="Staff: as it would be issued now, marked as a draft."
            )
        ],
    )
    def get(self, request: Request, pk: Any) -> Any:
        """The report in force, as it was issued; while an instrument is under review with that notice. `?draft=true`: as it would be now."""
        survey, user = _survey(request, pk), cast(User, request.user)
        if request.query_params.get("draft") == "true" and user.role in FIELD | FLEET:
            address = request.build_absolute_uri("/")
            return pdf_answer(report_draft(survey, units_of(request), address), "draft.pdf")
        issued = Report.objects.filter(survey=survey, replaced_at__isnull=True)
        report = with_outdated(issued.select_related("issued_by", "replaces__result")).first()
        if report is None:
            raise NotFound("No report of this survey has been issued yet.")
        content, as_issued = report_content(report, request.build_absolute_uri("/"))
        answer = pdf_answer(content, f"report-{report.number}.pdf", report.sha256 if as_issued else "")
        if report.outdated:
            answer["Warning"] = '299 - "What this report says has changed since it was issued."'
        return answer


class SetupSheet(UnitsMixin):
    """The sheet of a set-up as PDF."""

    throttled_as = "report"
    renderer_classes = [JSONRenderer, PDFRenderer]

    @documented(responses=PDF)
    def get(self, request: Request, pk: Any, setup: Any) -> Any:
        """What a technician takes along: spacing, drawing, what to expect, safety notes, checklist."""
        related = (
            "measuring_point__pipe__site__client", "pipe_data__wall_measurement__gauge", "pipe_data__recorded_by",
            "transducer_data__instrument", "calculated_by",
        )  # fmt: skip
        rows = Setup.objects.visible_to(request.user).select_related(*related)
        found = get_object_or_404(rows, pk=setup, measuring_point=pk)
        # Whoever scans it stands at the pipe: the page where the point's survey is entered, not what programs read.
        address = request.build_absolute_uri(reverse("field-worksheet", args=[pk]))
        return pdf_answer(typeset(setup_sheet(found, units_of(request), address)), f"set-up-{setup}.pdf")


def pdf_answer(content: bytes, name: str, sha256: str = "") -> HttpResponse:
    """A PDF of ours, to be shown; with its checksum as ETag where it is kept."""
    answer = HttpResponse(content, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    if sha256:
        answer["ETag"] = f'"{sha256}"'
    return answer


def _survey(request: Request, pk: Any) -> Survey:
    survey: Survey = get_object_or_404(Survey.objects.visible_to(request.user), pk=pk)
    return survey
