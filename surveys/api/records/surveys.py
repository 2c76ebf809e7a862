"""Surveys: recorded, their logs taken in, their readings and results."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import numpy as np
from django.db.models import Prefetch
from django.http import StreamingHttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.parsers import BaseParser, MultiPartParser
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import (
    KnownQuantityField,
    QuantityIn,
    StrictSerializer,
    TextField,
    VisibleRecord,
    in_units,
    si_of,
    texts,
    units_of,
)
from surveys.api.permissions import FIELD
from surveys.api.records.points import check_temperature_known
from surveys.api.records.recomputations import RecomputationOut, ResultOut
from surveys.api.views import Records, documented
from surveys.models import Instrument, Job, Log, MeasuringPoint, Recomputation, Setup, Survey, SurveyData
from surveys.models.instrument import Kind
from surveys.models.pipe import TemperatureKnown
from surveys.readings.thinning import thinned
from surveys.selectors import log_columns
from surveys.services.surveys import (
    Segment,
    SurveyNotes,
    SurveyStatement,
    log_take_in,
    survey_correct,
    survey_mark_segments,
    survey_record,
)

MOST_POINTS = 20_000
MOST_SEGMENTS = 200


class SurveyIn(StrictSerializer):
    measuring_point = VisibleRecord(MeasuringPoint)
    setup = VisibleRecord(Setup)
    job = VisibleRecord(Job, required=False, allow_null=True, default=None)
    instruments = VisibleRecord(
        Instrument, many=True, help_text="What was used beside the set-up's transducers: the meter at least."
    )
    path_of = VisibleRecord(
        Survey,
        required=False,
        allow_null=True,
        default=None,
        help_text="The first survey at this point of which this one is a further path.",
    )
    started_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(required=False, allow_null=True)
    mounted_spacing = QuantityIn("length", required=False, allow_null=True, help_text="As read off the rail.")
    path_plane = QuantityIn(
        "angle",
        required=False,
        allow_null=True,
        help_text="About the pipe's axis, where the upstream transducer sits, from one mark for all paths of the point.",
    )
    medium_temperature = QuantityIn(
        "temperature", required=False, allow_null=True, help_text="On the day; else the pipe data's."
    )
    medium_temperature_known = serializers.ChoiceField(TemperatureKnown.choices, required=False)
    note = TextField(max_length=5000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        check_temperature_known(attrs)
        if attrs.get("ended_at") and attrs["ended_at"] <= attrs["started_at"]:
            raise serializers.ValidationError(
                {"ended_at": "A survey ends after it starts."}, code="ends-too-early"
            )
        return attrs


class LogOut(serializers.ModelSerializer):
    refusals = serializers.ListField(
        child=serializers.DictField(), help_text="The first refused rows: line, column, detail."
    )
    columns = serializers.ListField(child=serializers.DictField())
    unread_columns = serializers.ListField(child=serializers.CharField())

    class Meta:
        model = Log
        fields = [
            "id", "survey", "file_name", "size_bytes", "sha256", "columns", "unread_columns", "rows_taken", "rows_refused",
            "refusals", "first_reading_at", "last_reading_at", "received_at",
        ]  # fmt: skip


class SurveyCorrectionIn(SurveyIn):
    """What a survey shall say instead; what is left out stays as it was stated."""

    measuring_point = None
    job = None
    path_of = None
    corrects = VisibleRecord(
        SurveyData, required=False, help_text="The version that is wrong; left out: the one in force."
    )
    reason = TextField(max_length=2000)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("medium_temperature") is not None or "medium_temperature_known" in attrs:
            check_temperature_known(attrs)
        return attrs


class SegmentIn(StrictSerializer):
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    reason = TextField(max_length=500)


class SegmentsIn(StrictSerializer):
    """The stretches of the log that count; an empty list counts all of it again."""

    segments = serializers.ListField(child=SegmentIn(), max_length=MOST_SEGMENTS)
    reason = TextField(max_length=2000)


class SegmentOut(serializers.Serializer):
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    reason = serializers.CharField()


class SurveyDataOut(serializers.ModelSerializer):
    instruments = serializers.PrimaryKeyRelatedField(many=True, read_only=True)
    mounted_spacing = KnownQuantityField("length", source="mounted_spacing_m")
    path_plane = KnownQuantityField("angle", source="path_plane_rad")
    medium_temperature = KnownQuantityField("temperature", source="medium_temperature_k")
    segments = SegmentOut(many=True)
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)

    class Meta:
        model = SurveyData
        fields = [
            "id", "change", "reason", "setup", "instruments", "started_at", "ended_at", "mounted_spacing", "path_plane",
            "medium_temperature", "medium_temperature_known", "segments", "note", "recorded_at", "recorded_by", "replaced_at",
        ]  # fmt: skip


class SurveyOut(serializers.ModelSerializer):
    data = serializers.UUIDField(
        source="stated.id", read_only=True, help_text="The version of what is stated below."
    )
    setup = serializers.UUIDField(source="stated.setup_id", read_only=True)
    instruments = serializers.PrimaryKeyRelatedField(source="stated.instruments", many=True, read_only=True)
    ended_at = serializers.DateTimeField(source="stated.ended_at", read_only=True, allow_null=True)
    mounted_spacing = KnownQuantityField("length", source="stated.mounted_spacing_m")
    path_plane = KnownQuantityField("angle", source="stated.path_plane_rad")
    paths = serializers.PrimaryKeyRelatedField(
        many=True, read_only=True, help_text="The further paths of this survey."
    )
    combination = serializers.SerializerMethodField(
        help_text="The combination of the paths at this point; null where there is one path."
    )
    medium_temperature = KnownQuantityField("temperature", source="stated.medium_temperature_k")
    medium_temperature_known = serializers.CharField(source="stated.medium_temperature_known", read_only=True)
    segments = SegmentOut(source="stated.segments", many=True)
    note = serializers.CharField(source="stated.note", read_only=True)
    technician = serializers.CharField(source="technician.username", read_only=True)
    log = serializers.SerializerMethodField()
    result = serializers.SerializerMethodField(help_text="The current result in short.")

    class Meta:
        model = Survey
        fields = [
            "id", "measuring_point", "data", "setup", "job", "instruments", "technician", "started_at", "ended_at",
            "mounted_spacing", "path_of", "path_plane", "paths", "combination", "medium_temperature", "medium_temperature_known",
            "segments", "note", "recorded_at", "log", "result",
        ]  # fmt: skip

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_combination(self, survey: Survey) -> str | None:
        combination = getattr(survey.path_of or survey, "paths_combination", None)
        return str(combination.pk) if combination else None

    @extend_schema_field({"type": ["object", "null"], "additionalProperties": True})
    def get_log(self, survey: Survey) -> Any:
        log = getattr(survey, "log", None)
        return log and {"sha256": log.sha256, "rows_taken": log.rows_taken, "rows_refused": log.rows_refused}

    @extend_schema_field({"type": ["object", "null"], "additionalProperties": True})
    def get_result(self, survey: Survey) -> Any:
        current = next((result for result in survey.results.all() if result.replaced_at is None), None)
        if current is None:
            return None
        document = {
            "id": str(current.id),
            "volume_flow": {"si": current.volume_flow_m3_s, "kind": "volume_flow"},
            "expanded_uncertainty": {"si": current.expanded_uncertainty_m3_s, "kind": "volume_flow"},
            "computed_at": current.computed_at.isoformat(),
        }
        return in_units(document, units_of(self.context["request"]))


class SurveyChangedOut(serializers.Serializer):
    data = SurveyDataOut()
    recomputation = RecomputationOut()


class RawLogParser(BaseParser):
    """The body itself is the file."""

    media_type = "*/*"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> dict[str, Any]:
        return {"file": stream}


class CSVRenderer(BaseRenderer):
    """Names the format; the view streams the rows itself."""

    media_type = "text/csv"
    format = "csv"
    charset = "utf-8"

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None
    ) -> bytes:
        return JSONRenderer().render(data)


class SeriesOut(serializers.Serializer):
    unit = serializers.CharField()
    times = serializers.ListField(child=serializers.DateTimeField())
    values = serializers.ListField(child=serializers.FloatField())


class ReadingsOut(serializers.Serializer):
    count = serializers.IntegerField(help_text="Readings in the stretch.")
    columns = serializers.DictField(child=SeriesOut(), help_text="Each thinned so that its peaks stay.")


class Surveys(Records):
    """Measurements at measuring points."""

    model = Survey
    serializer_class = SurveyOut
    writers = FIELD
    repeatable = frozenset({"log"})
    related = ("technician", "log", "paths_combination", "path_of__paths_combination")
    prefetched = (
        "results",
        Prefetch("paths", Survey.objects.order_by("recorded_at", "id")),
        Prefetch("data", SurveyData.objects.filter(replaced_at__isnull=True)),
        "data__instruments",
    )
    filterset_fields = {
        "measuring_point": ["exact"],
        "measuring_point__pipe": ["exact"],
        "measuring_point__pipe__site": ["exact"],
        "job": ["exact"],
        "path_of": ["exact", "isnull"],
        "started_at": ["gte", "lte"],
    }
    ordering_fields = ("started_at",)

    @documented(request=SurveyIn, responses={201: SurveyOut})
    def create(self, request: Request) -> Response:
        asked = self.checked(SurveyIn)
        survey = survey_record(
            point=asked["measuring_point"],
            setup=asked["setup"],
            job=asked["job"],
            instruments=asked["instruments"],
            notes=_notes(asked),
            by=self.user,
            now=timezone.now(),
            path_of=asked["path_of"],
        )
        return self.answer(self.read_again(survey), 201)

    @documented(request=SurveyCorrectionIn(partial=True), responses={202: SurveyChangedOut})
    @action(detail=True, methods=["post"])
    def corrections(self, request: Request, pk: Any = None) -> Response:
        """State the survey anew where it was stated wrongly; its result is recomputed, the old statement stays."""
        survey = self.get_object()
        asked = self.checked(SurveyCorrectionIn, partial=True)
        if "reason" not in asked:
            raise ValidationError({"reason": "Say why this changes."}, code="required")
        corrects = asked.get("corrects") or survey.stated
        statement = SurveyStatement(
            setup=asked.get("setup") or survey.stated.setup,
            instruments=asked.get("instruments") or _but_for_pairs(survey.stated),
            notes=_notes(asked, survey.stated),
        )
        data, recomputation = survey_correct(
            survey=survey,
            corrects=corrects,
            statement=statement,
            reason=asked["reason"],
            by=self.user,
            now=timezone.now(),
        )
        return self._changed(data, recomputation)

    @documented(request=SegmentsIn, responses={202: SurveyChangedOut})
    @action(detail=True, methods=["post"])
    def segments(self, request: Request, pk: Any = None) -> Response:
        """Mark which stretches of the log count, each with its reason; the result is recomputed."""
        asked = self.checked(SegmentsIn)
        data, recomputation = survey_mark_segments(
            survey=self.get_object(),
            segments=[Segment(**one) for one in asked["segments"]],
            reason=asked["reason"],
            by=self.user,
            now=timezone.now(),
        )
        return self._changed(data, recomputation)

    @documented(responses=SurveyDataOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None, filterset_fields=[])
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
        request={
            "text/csv": OpenApiTypes.BINARY,
            "multipart/form-data": {
                "type": "object",
                "properties": {"file": {"type": "string", "format": "binary"}},
                "required": ["file"],
            },
        },
        responses={200: LogOut, 201: LogOut},
    )
    @action(detail=True, methods=["post"], parser_classes=[MultiPartParser, RawLogParser])
    def log(self, request: Request, pk: Any = None) -> Response:
        """Take in the logger's file, as the body itself or as the part `file` of a form; the same file again changes nothing."""
        survey = Survey.objects.select_related("measuring_point__pipe__site").get(pk=self.get_object().pk)
        file: Any = dict(request.data).get("file") if isinstance(request.data, dict) else None
        file = file[0] if isinstance(file, list) else file
        if not hasattr(file, "read"):
            raise ValidationError({"file": "Send the logger's file as the part `file`."}, code="required")
        log, new = log_take_in(
            survey=survey, file=file, file_name=_file_name(request, file), by=self.user, now=timezone.now()
        )
        return Response(LogOut(log, context=self.get_serializer_context()).data, status=201 if new else 200)

    @documented(responses=LogOut)
    @log.mapping.get
    def read_log(self, request: Request, pk: Any = None) -> Response:
        """What was taken in of the survey's log."""
        return Response(LogOut(self._log(), context=self.get_serializer_context()).data)

    @documented(
        responses={(200, "application/json"): ReadingsOut, (200, "text/csv"): OpenApiTypes.STR},
        parameters=[
            OpenApiParameter("from", datetime, description="Readings from this time on."),
            OpenApiParameter("to", datetime, description="Readings up to this time."),
            OpenApiParameter(
                "points",
                int,
                description=f"About so many points a column, up to {MOST_POINTS}; 2000 if left out.",
            ),
        ],
    )
    @action(detail=True, methods=["get"], renderer_classes=[JSONRenderer, CSVRenderer])
    def readings(self, request: Request, pk: Any = None) -> Any:
        """The readings thinned for a plot; with `?format=csv` or `Accept: text/csv` all of them, as the file gave them."""
        log = self._log()
        start, end = _moment(request, "from"), _moment(request, "to")
        if request.accepted_renderer.format == "csv":
            answer = StreamingHttpResponse(
                _csv_lines(log, start, end), content_type="text/csv; charset=utf-8"
            )
            answer["Content-Disposition"] = f'attachment; filename="readings-{log.survey_id}.csv"'
            return answer
        return Response(_thinned(log, start, end, _points(request)))

    @documented(responses=ResultOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None, filterset_fields=[])
    def results(self, request: Request, pk: Any = None) -> Response:
        """Every result of the survey, the newest first, with what caused each."""
        rows = self.get_object().results.select_related("replaced_by").prefetch_related("calibrations")
        return Response(
            ResultOut(
                rows.order_by("-computed_at", "-id"), many=True, context=self.get_serializer_context()
            ).data
        )

    def _log(self) -> Log:
        log = getattr(self.get_object(), "log", None)
        if log is None:
            raise NotFound
        return log


# The fields of a request that become columns of another name; the rest of what is noted has the column's name.
QUANTITIES = {
    "mounted_spacing": "mounted_spacing_m",
    "path_plane": "path_plane_rad",
    "medium_temperature": "medium_temperature_k",
}
PLAIN = ("started_at", "ended_at", "medium_temperature_known", "note")


def _notes(asked: dict[str, Any], before: SurveyData | None = None) -> SurveyNotes:
    """What was asked, on top of what was stated before."""
    columns = (*PLAIN, *QUANTITIES.values())
    noted = {name: getattr(before, name) for name in columns} if before else {}
    noted |= {name: asked[name] for name in PLAIN if name in asked}
    noted |= {column: si_of(asked[name]) for name, column in QUANTITIES.items() if name in asked}
    if noted.get("medium_temperature_k") is None:
        noted["medium_temperature_known"] = ""
    return SurveyNotes(**noted, as_entered=(before.as_entered if before else {}) | texts(asked))


def _but_for_pairs(stated: SurveyData) -> list[Instrument]:
    """The instruments of a version; the transducer pair comes with the set-up."""
    return [one for one in stated.instruments.all() if one.kind != Kind.TRANSDUCER_PAIR]


def _file_name(request: Request, file: Any) -> str:
    """The file's own name, without folders and without what cannot be shown."""
    name = getattr(file, "name", None) or request.query_params.get("name", "")
    return re.sub(r"[^\w .()+-]", "_", str(name).replace("\\", "/").rsplit("/", 1)[-1])[:200]


def _moment(request: Request, name: str) -> int | None:
    text = request.query_params.get(name)
    if text is None:
        return None
    try:
        moment = serializers.DateTimeField().run_validation(text)
    except ValidationError as error:
        raise ValidationError({name: error.detail}) from None
    return round(moment.timestamp() * 1e6)


def _points(request: Request) -> int:
    text = request.query_params.get("points", "2000")
    if not text.isascii() or not text.isdigit() or not 2 <= int(text[:9]) <= MOST_POINTS:
        raise ValidationError(
            {"points": f"Write a whole number from 2 to {MOST_POINTS}."}, code="points-invalid"
        )
    return int(text)


def _stretch(times: Any, start: int | None, end: int | None) -> Any:
    inside = np.ones(len(times), dtype=bool)
    if start is not None:
        inside &= times >= start
    if end is not None:
        inside &= times <= end
    return inside


def _thinned(log: Log, start: int | None, end: int | None, points: int) -> dict[str, Any]:
    all_times, all_columns = [], []
    for times, columns in log_columns(log):
        inside = _stretch(times, start, end)
        all_times.append(times[inside])
        all_columns.append({name: values[inside] for name, values in columns.items()})
    times = np.concatenate(all_times)
    series: dict[str, Any] = {}
    for column in log.columns:
        values = np.concatenate([block[column["name"]] for block in all_columns])
        shown = thinned(values, points)
        series[column["name"]] = {
            "unit": column["unit"],
            "times": [_iso(moment) for moment in times[shown].tolist()],
            "values": values[shown].tolist(),
        }
    return {"count": len(times), "columns": series}


def _csv_lines(log: Log, start: int | None, end: int | None) -> Iterator[str]:
    names = [column["name"] for column in log.columns]
    yield _line(["time", *(f"{column['name']} [{column['unit']}]" for column in log.columns)])
    for times, columns in log_columns(log):
        inside = _stretch(times, start, end)
        rows = zip(times[inside].tolist(), *(columns[name][inside].tolist() for name in names), strict=True)
        yield "".join(_line([_iso(moment), *map(repr, values)]) for moment, *values in rows)


def _line(cells: list[str]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerow(cells)
    return buffer.getvalue()


def _iso(microseconds: int) -> str:
    return datetime.fromtimestamp(microseconds / 1e6, UTC).isoformat().replace("+00:00", "Z")
