"""Surveys with their logs, readings and results."""

from __future__ import annotations

from datetime import datetime
from typing import Any, cast

from django.http import FileResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from compute.logs.steady_segments import steady_segments
from surveys.api.fields import in_units, units_of
from surveys.api.files import (
    FILE_REQUEST,
    CSVRenderer,
    FileRenderer,
    ParquetRenderer,
    RawFileParser,
    attachment,
    file_sent,
    log_answer,
)
from surveys.api.filters import RecordFilter, SetFilter, filters, period
from surveys.api.rendering import JSONRenderer
from surveys.api.results.recomputations import ResultOut
from surveys.api.results.result_rows import result_documents
from surveys.api.surveys.readings import (
    MAX_POINTS,
    ReadingsOut,
    columns_of,
    downsampled_readings,
    outlier_readings,
    parquet_file,
    readings_between,
    requested_moment,
    requested_points,
)
from surveys.api.surveys.site_meters import SiteMeterReadingOut
from surveys.api.surveys.survey_documents import (
    LogOut,
    SegmentsIn,
    SteadySegmentOut,
    SurveyChangedOut,
    SurveyCorrectionIn,
    SurveyDataOut,
    SurveyIn,
    SurveyOut,
    steady_segment_document,
    survey_notes,
    without_pairs,
)
from surveys.api.surveys.survey_rows import survey_documents
from surveys.api.views import ReadByKeys, documented
from surveys.inputs.files import file_name
from surveys.inputs.rejections import rejection
from surveys.inputs.surveys import OutliersIn, SiteMeterReadingIn, site_meter_of_request
from surveys.logfiles.export import csv_parts
from surveys.models import Log, LogFormat, Recomputation, Result, Survey, SurveyData
from surveys.models.role import FIELD
from surveys.results.inputs_in_force import inputs_in_force, survey_with_inputs
from surveys.results.reduction import survey_flow_log, wall_measurement_of
from surveys.services.surveys.logs import Upload, log_import
from surveys.services.surveys.site_meters import site_meter_record
from surveys.services.surveys.surveys import (
    Segment,
    SurveyStatement,
    survey_correct,
    survey_include_outliers,
    survey_mark_segments,
    survey_record,
)


class Surveys(ReadByKeys):
    """Measurements at measuring points."""

    model = Survey
    serializer_class = SurveyOut
    documents = staticmethod(survey_documents)
    writers = FIELD
    repeatable = frozenset({"log"})
    filterset_class = filters(
        Survey,
        "measuring_point",
        "job",
        "primary_survey",
        pipe=RecordFilter("measuring_point__pipe"),
        site=RecordFilter("measuring_point__pipe__site"),
        client=RecordFilter("measuring_point__pipe__site__client"),
        is_further_path=SetFilter("primary_survey", "Only further paths of a survey, or only the others."),
        **period("started_at"),
    )
    ordering_fields = ("started_at",)

    @documented(request=SurveyIn, responses={201: SurveyOut})
    def create(self, request: Request) -> Response:
        requested = self.checked(SurveyIn)
        survey = survey_record(
            point=requested["measuring_point"],
            setup=requested["setup"],
            job=requested["job"],
            instruments=requested["instruments"],
            notes=survey_notes(requested),
            by=self.user,
            now=timezone.now(),
            primary_survey=requested["primary_survey"],
            wanted_id=requested.get("id"),
        )
        return self.answer(survey, 201)

    @documented(request=SurveyCorrectionIn(partial=True), responses={202: SurveyChangedOut})
    @action(detail=True, methods=["post"])
    def corrections(self, request: Request, pk: Any = None) -> Response:
        """Correct the survey and recalculate its result; the old version stays recorded."""
        survey = self.get_object()
        requested = self.checked(SurveyCorrectionIn, partial=True)
        if "reason" not in requested:
            raise rejection("required/reason", field="reason")
        corrects = requested.get("corrects") or survey.stated
        statement = SurveyStatement(
            setup=requested.get("setup") or survey.stated.setup,
            instruments=requested.get("instruments") or without_pairs(survey.stated),
            notes=survey_notes(requested, survey.stated),
        )
        data, recomputation = survey_correct(
            survey=survey,
            corrects=corrects,
            statement=statement,
            reason=requested["reason"],
            by=self.user,
            now=timezone.now(),
        )
        return self._changed(data, recomputation)

    @documented(request=SegmentsIn, responses={202: SurveyChangedOut})
    @action(detail=True, methods=["post"])
    def segments(self, request: Request, pk: Any = None) -> Response:
        """Select the segments of the log to use, each with a reason, and recalculate the result."""
        requested = self.checked(SegmentsIn)
        data, recomputation = survey_mark_segments(
            survey=self.get_object(),
            segments=[Segment(**one) for one in requested["segments"]],
            reason=requested["reason"],
            by=self.user,
            now=timezone.now(),
        )
        return self._changed(data, recomputation)

    @documented(request=OutliersIn, responses={202: SurveyChangedOut})
    @action(detail=True, methods=["post"])
    def outliers(self, request: Request, pk: Any = None) -> Response:
        """Include or exclude the outliers of the log, and recalculate the result."""
        requested = self.checked(OutliersIn)
        data, recomputation = survey_include_outliers(
            survey=self.get_object(),
            included=requested["included"],
            reason=requested["reason"],
            by=self.user,
            now=timezone.now(),
        )
        return self._changed(data, recomputation)

    @documented(responses=SteadySegmentOut(many=True))
    @action(
        detail=True,
        methods=["get"],
        url_path="steady-segments",
        pagination_class=None,
        filterset_class=None,
    )
    def steady_segments(self, request: Request, pk: Any = None) -> Response:
        """List the segments of the log with steady flow, the longest first, for selection by a person."""
        inputs = inputs_in_force(survey_with_inputs(self._log().survey_id))
        flow = survey_flow_log(inputs, wall_measurement_of(inputs), str(inputs.survey.measuring_point))
        steady = steady_segments(flow.times, flow.values)
        documents = [in_units(steady_segment_document(one), units_of(request)) for one in steady]
        return Response(SteadySegmentOut(documents, many=True).data)

    @documented(responses=SiteMeterReadingOut(many=True))
    @action(
        detail=True,
        methods=["get"],
        url_path="site-meter-readings",
        pagination_class=None,
        filterset_class=None,
    )
    def site_meter_readings(self, request: Request, pk: Any = None) -> Response:
        """What the site's own meter said, the newest first, beside the survey's current result (En number)."""
        return self._site_meter(self.get_object().site_meter_readings.all())

    @documented(request=SiteMeterReadingIn, responses={201: SiteMeterReadingOut})
    @site_meter_readings.mapping.post
    def state_site_meter(self, request: Request, pk: Any = None) -> Response:
        """Enter the site meter's reading for the survey; a replacement requires a reason and the old reading stays recorded."""
        requested = self.checked(SiteMeterReadingIn)
        survey = Survey.objects.select_related("measuring_point").get(pk=self.get_object().pk)
        reading = site_meter_record(
            survey=survey,
            statement=site_meter_of_request(requested),
            reason=requested["reason"],
            by=self.user,
            now=timezone.now(),
        )
        answer = self._site_meter(survey.site_meter_readings.filter(pk=reading.pk))
        return Response(answer.data[0], status=201)

    def _site_meter(self, rows: Any) -> Response:
        rows = rows.select_related("recorded_by").prefetch_related("survey__results")
        return Response(SiteMeterReadingOut(rows, many=True, context=self.get_serializer_context()).data)

    @documented(responses=SurveyDataOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None, filterset_class=None)
    def data(self, request: Request, pk: Any = None) -> Response:
        """Every version of what was stated of the survey, the newest first."""
        rows = SurveyData.objects.filter(survey=self.get_object()).select_related("recorded_by")
        return Response(
            SurveyDataOut(
                rows.prefetch_related("instruments"), many=True, context=self.get_serializer_context()
            ).data
        )

    def _changed(self, data: SurveyData, recomputation: Recomputation) -> Response:
        answer = SurveyChangedOut(
            {"data": data, "recomputation": recomputation}, context=self.get_serializer_context()
        )
        return Response(answer.data, status=202)

    @documented(
        request=FILE_REQUEST,
        responses={200: LogOut, 201: LogOut},
        parameters=[
            OpenApiParameter(
                "log_format",
                OpenApiTypes.UUID,
                description="Log format of the file. Default: the plain log format, whose header names its columns.",
            ),
            OpenApiParameter("name", str, description="The file's name, where the body is the file itself."),
        ],
    )
    @action(
        detail=True, methods=["post"], parser_classes=[MultiPartParser, RawFileParser], throttled_as="upload"
    )
    def log(self, request: Request, pk: Any = None) -> Response:
        """Import the logger's file, as the request body or the part `file` of a form; a second import changes nothing."""
        survey = Survey.objects.select_related("measuring_point__pipe__site").get(pk=self.get_object().pk)
        file = file_sent(request)
        log, new = log_import(
            survey=survey,
            upload=Upload(file, file_name(request, file), _log_format(request)),
            by=self.user,
            now=timezone.now(),
        )
        return Response(LogOut(log, context=self.get_serializer_context()).data, status=201 if new else 200)

    @documented(responses=LogOut)
    @log.mapping.get
    def read_log(self, request: Request, pk: Any = None) -> Response:
        """Show the import of the survey's log."""
        return Response(LogOut(self._log(), context=self.get_serializer_context()).data)

    @documented(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    @action(
        detail=True,
        methods=["get"],
        url_path="log/file",
        pagination_class=None,
        filterset_class=None,
        renderer_classes=[JSONRenderer, FileRenderer],
        throttled_as="report",
    )
    def log_file(self, request: Request, pk: Any = None) -> Any:
        """The logger's file as it came, to check it by its SHA-256 (the ETag)."""
        return log_answer(self._log())

    @documented(
        responses={
            (200, "application/json"): ReadingsOut,
            (200, "text/csv"): OpenApiTypes.STR,
            (200, ParquetRenderer.media_type): OpenApiTypes.BINARY,
        },
        parameters=[
            OpenApiParameter("from", datetime, description="Readings from this time on."),
            OpenApiParameter("to", datetime, description="Readings up to this time."),
            OpenApiParameter(
                "points",
                int,
                description=f"About so many points a column, up to {MAX_POINTS}; default: 2000.",
            ),
        ],
    )
    @action(
        detail=True,
        methods=["get"],
        renderer_classes=[JSONRenderer, CSVRenderer, ParquetRenderer],
        filterset_class=None,
        throttled_as="report",
    )
    def readings(self, request: Request, pk: Any = None) -> Any:
        """The readings thinned for a plot; with `?format=csv` or `?format=parquet` (or `Accept`) all of them, as the file gave them."""
        log = self._log()
        start, end = requested_moment(request, "from"), requested_moment(request, "to")
        name = f"readings-{log.survey_id}"
        if request.accepted_renderer.format == "csv":
            parts = csv_parts(columns_of(log), readings_between(log, start, end))
            return attachment(parts, f"{name}.csv", "text/csv; charset=utf-8")
        if request.accepted_renderer.format == "parquet":
            file = parquet_file(log, start, end)
            return FileResponse(
                file,
                as_attachment=True,
                filename=f"{name}.parquet",
                content_type=ParquetRenderer.media_type,
            )
        result = Result.objects.filter(survey=log.survey_id, replaced_at__isnull=True)
        return Response(
            downsampled_readings(log, start, end, requested_points(request))
            | outlier_readings(log, result.only("outliers", "readings_excluded").first(), start, end)
        )

    @documented(responses=ResultOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None, filterset_class=None)
    def results(self, request: Request, pk: Any = None) -> Response:
        """Every result of the survey, the newest first, with what caused each."""
        results = self.get_object().results.order_by("-computed_at", "-id").values_list("pk", flat=True)
        return Response(result_documents(results, units_of(request)))

    def _log(self) -> Log:
        log = getattr(self.get_object(), "log", None)
        if log is None:
            raise NotFound
        return log


def _log_format(request: Request) -> LogFormat | None:
    """The log format asked for, in the address or in the form."""
    sent = request.data.get("log_format") if isinstance(request.data, dict) else None
    text = request.query_params.get("log_format", sent)
    if text is None:
        return None
    field = serializers.PrimaryKeyRelatedField(
        queryset=LogFormat.objects.visible_to(request.user).filter(retired_at__isnull=True)
    )
    try:
        return cast(LogFormat, field.run_validation(text))
    except ValidationError as error:
        raise ValidationError({"log_format": error.detail}) from None
