"""Log formats: made, guessed from a file, and tried on one before they are used."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any, cast
from zoneinfo import ZoneInfo

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from compute.base.units import System
from surveys.api.calculated import FindingOut
from surveys.api.fields import in_units, units_of
from surveys.api.files import FILE_REQUEST, RawFileParser, file_sent
from surveys.api.filters import SearchFilter, SetFilter, filters
from surveys.api.messages import MessageParametersField
from surveys.api.surveys.file_formats import (
    FileFormatField,
    FileFormatRequestField,
    LogColumnOut,
    PreviewRowField,
)
from surveys.api.surveys.survey_documents import RejectedRowOut
from surveys.api.views import Records, documented
from surveys.core.stored_quantities import findings_json
from surveys.inputs.fields import StrictSerializer, TextField
from surveys.inputs.rejections import rejection
from surveys.logfiles.detection import HEAD_BYTES, detect_format
from surveys.logfiles.format import LogFormat as FileFormat
from surveys.logfiles.preview import MAX_SAMPLE_BYTES, Preview, preview
from surveys.models import LogFormat, Site
from surveys.models.role import FIELD
from surveys.services.records import record_create

# Enough for the first rows; the rest of a file is not read.
SAMPLE_BYTES = 256 * 1024
# Where a log format counts seconds from the start of a survey, a preview has none to count from.
START_OF_A_PREVIEW = datetime(2000, 1, 1, tzinfo=UTC)


class LogFormatIn(StrictSerializer):
    name = TextField(max_length=100)
    note = TextField(max_length=2000, required=False, allow_blank=True)
    format = FileFormatRequestField(
        help_text="Log format. Default for each field: the value of the plain log format."
    )

    def validate_format(self, raw: Any) -> dict[str, Any]:
        return FileFormat.from_json(raw).as_json()


class LogFormatChangeIn(LogFormatIn):
    retired_at = serializers.DateTimeField(required=False, allow_null=True)


class LogFormatOut(serializers.ModelSerializer):
    created_by = serializers.CharField(source="created_by.username", read_only=True)
    format = FileFormatField()

    class Meta:
        model = LogFormat
        fields = ["id", "name", "note", "format", "created_at", "created_by", "retired_at"]


class PreviewOut(serializers.Serializer):
    """The first rows of a file as a log format reads them."""

    zone = serializers.CharField(help_text="Time zone of times without an offset.")
    columns = LogColumnOut(many=True)
    ignored_columns = serializers.ListField(child=serializers.CharField())
    rows = serializers.ListField(
        child=PreviewRowField(),
        help_text="First rows: time in UTC, and the value of each column in its unit.",
    )
    rejected_rows = RejectedRowOut(many=True)
    rows_accepted = serializers.IntegerField(
        help_text="Number of accepted rows in the part of the file that was read."
    )
    rows_rejected = serializers.IntegerField()
    findings = FindingOut(many=True)


class DetectionMessageOut(serializers.Serializer):
    code = serializers.CharField()
    title = serializers.CharField()
    detail = serializers.CharField()
    remedy = serializers.CharField(allow_blank=True)
    parameters = MessageParametersField()


class DetectionOut(serializers.Serializer):
    format = FileFormatField()
    reasons = DetectionMessageOut(many=True)
    warnings = DetectionMessageOut(
        many=True, help_text="Assumptions that the file does not confirm and that require a check."
    )


SITE = OpenApiParameter(
    "site",
    OpenApiTypes.UUID,
    description="Site whose time zone applies to times without an offset. Default: UTC.",
)


class LogFormats(Records):
    """How the files of loggers are read. A log keeps the log format it was read by."""

    model = LogFormat
    serializer_class = LogFormatOut
    writers = FIELD
    related = ("created_by",)
    # Neither changes anything.
    repeatable = frozenset({"guesses", "trials", "trial"})
    filterset_class = filters(LogFormat, "name", retired=SetFilter("retired_at"), search=SearchFilter("name"))
    ordering_fields = ("name", "created_at")

    @documented(request=LogFormatIn, responses={201: LogFormatOut})
    def create(self, request: Request) -> Response:
        record = LogFormat(**self.checked(LogFormatIn), created_by=self.user, created_at=timezone.now())
        return self.answer(record_create(record), 201)

    @documented(request=LogFormatChangeIn(partial=True), responses=LogFormatOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        return self.change(request, self.checked(LogFormatChangeIn, partial=True))

    @documented(request=FILE_REQUEST, responses=DetectionOut)
    @action(
        detail=False, methods=["post"], parser_classes=[MultiPartParser, RawFileParser], throttled_as="upload"
    )
    def detections(self, request: Request) -> Response:
        """A log format that may match a file, with the reasons and warnings. Nothing is stored."""
        found = detect_format(file_sent(request).read(HEAD_BYTES))
        units = units_of(request)
        document = {
            "format": found.log_format.as_json(),
            "reasons": in_units([one.stored() for one in found.reasons], units),
            "warnings": in_units([one.stored() for one in found.warnings], units),
        }
        return Response(DetectionOut(document).data)

    @documented(
        operation_id="log_formats_unsaved_previews_create",
        request={
            "multipart/form-data": {
                "type": "object",
                "properties": {
                    "file": {"type": "string", "format": "binary", "description": "The file."},
                    "format": {"type": "string", "description": "The layout as JSON."},
                },
                "required": ["file", "format"],
            }
        },
        responses=PreviewOut,
        parameters=[SITE],
    )
    @action(detail=False, methods=["post"], parser_classes=[MultiPartParser], throttled_as="upload")
    def previews(self, request: Request) -> Response:
        """The first rows of a file as a log format not yet kept reads them. Nothing is stored."""
        text = request.data.get("format") if isinstance(request.data, dict) else None
        if not isinstance(text, str):
            raise rejection("required/log-format", field="format")
        try:
            raw = json.loads(text)
        except (ValueError, RecursionError):
            raise rejection("json-invalid/part", field="format", part="format") from None
        return self._tried(request, FileFormat.from_json(raw))

    @documented(request=FILE_REQUEST, responses=PreviewOut, parameters=[SITE])
    @action(
        detail=True,
        methods=["post"],
        parser_classes=[MultiPartParser, RawFileParser],
        throttled_as="upload",
        url_path="previews",
    )
    def preview(self, request: Request, pk: Any = None) -> Response:
        """The first rows of a file as this log format reads them. Nothing is stored."""
        return self._tried(request, self.get_object().as_read)

    def _tried(self, request: Request, log_format: FileFormat) -> Response:
        site = _site(request)
        zone = site.zone if site else ZoneInfo("UTC")
        # Of Parquet all is needed: what tells of its columns stands at its end.
        most = SAMPLE_BYTES if log_format.form == "csv" else MAX_SAMPLE_BYTES
        file = file_sent(request)
        sample, cut_short = file.read(most), bool(file.read(1))
        found = preview(log_format, sample, zone, cut_short, START_OF_A_PREVIEW)
        return Response(PreviewOut(_document(found, zone, units_of(request))).data)


def _document(found: Preview, zone: ZoneInfo, units: System) -> dict[str, Any]:
    names = [column.name for column in found.columns]
    return {
        "zone": zone.key,
        "columns": [column.as_json() for column in found.columns],
        "ignored_columns": found.ignored_columns,
        "rows": [{"time": time} | dict(zip(names, values, strict=True)) for time, values in found.rows],
        "rows_accepted": found.rows_accepted,
        "rows_rejected": found.rows_rejected,
        "rejected_rows": in_units([row.as_json() for row in found.rejected_rows], units),
        "findings": in_units(findings_json(found.findings), units),
    }


def _site(request: Request) -> Site | None:
    text = request.query_params.get("site")
    if text is None:
        return None
    field = serializers.PrimaryKeyRelatedField(queryset=Site.objects.visible_to(request.user))
    try:
        return cast(Site, field.run_validation(text))
    except ValidationError as error:
        raise ValidationError({"site": error.detail}) from None
