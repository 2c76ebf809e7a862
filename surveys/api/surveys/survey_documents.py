"""Surveys as requests and answers have them."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from compute.logs.steady_segments import SteadySegment
from surveys.api.calculated import FindingOut
from surveys.api.fields import KnownQuantityField, QuantityOut, in_units, units_of
from surveys.api.messages import MessageParametersField
from surveys.api.pipes.measuring_points import check_temperature_source
from surveys.api.results.recomputations import RecomputationOut, ReviewNoticeOut, SegmentOut
from surveys.api.surveys.file_formats import FileFormatField, LogColumnOut
from surveys.core.stored_quantities import quantity
from surveys.inputs.fields import (
    ChosenId,
    QuantityIn,
    StrictSerializer,
    TextField,
    VisibleRecord,
    si_of,
    texts,
)
from surveys.inputs.rejections import rejection
from surveys.logfiles.times import iso_time
from surveys.models import Instrument, Job, Log, MeasuringPoint, Result, Setup, Survey, SurveyData
from surveys.models.instrument import Kind
from surveys.models.pipe import TemperatureSource
from surveys.services.surveys.surveys import SurveyNotes

MAX_SEGMENTS = 200


class SurveyIn(StrictSerializer):
    id = ChosenId()
    measuring_point = VisibleRecord(MeasuringPoint)
    setup = VisibleRecord(Setup)
    job = VisibleRecord(Job, required=False, allow_null=True, default=None)
    instruments = VisibleRecord(
        Instrument,
        many=True,
        help_text="Instruments used in addition to the set-up's transducers, including the meter.",
    )
    primary_survey = VisibleRecord(
        Survey,
        required=False,
        allow_null=True,
        default=None,
        help_text="Id of the first survey at the measuring point, if this survey is a further path.",
    )
    started_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(required=False, allow_null=True)
    mounted_spacing = QuantityIn(
        "length", required=False, allow_null=True, help_text="Spacing measured on the rail."
    )
    path_angle = QuantityIn(
        "angle",
        required=False,
        allow_null=True,
        help_text="Angle of the upstream transducer around the pipe axis, from one mark for all paths of the measuring point.",
    )
    medium_temperature = QuantityIn(
        "temperature",
        required=False,
        allow_null=True,
        help_text="Temperature on the day of the survey. Default: the value of the pipe data.",
    )
    medium_temperature_source = serializers.ChoiceField(TemperatureSource.choices, required=False)
    note = TextField(max_length=5000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        check_temperature_source(attrs)
        if attrs.get("ended_at") and attrs["ended_at"] <= attrs["started_at"]:
            raise rejection("ends-too-early/time-range", field="ended_at")
        return attrs


class RejectedRowOut(serializers.Serializer):
    line = serializers.IntegerField()
    column = serializers.CharField(allow_blank=True)
    code = serializers.CharField()
    title = serializers.CharField()
    detail = serializers.CharField()
    remedy = serializers.CharField(allow_blank=True)
    parameters = MessageParametersField()


class LogOut(serializers.ModelSerializer):
    rejected_rows = serializers.SerializerMethodField(
        help_text="First rejected rows with line, column and reason."
    )
    columns = LogColumnOut(many=True)
    ignored_columns = serializers.ListField(child=serializers.CharField())
    format = FileFormatField(help_text="Format used for the import.")
    findings = serializers.SerializerMethodField()

    class Meta:
        model = Log
        fields = [
            "id", "survey", "file_name", "size_bytes", "sha256", "log_format", "format", "columns", "ignored_columns", "rows_accepted",
            "rows_rejected",
            "rejected_rows", "findings", "first_reading_at", "last_reading_at", "received_at",
        ]  # fmt: skip

    @extend_schema_field(RejectedRowOut(many=True))
    def get_rejected_rows(self, log: Log) -> Any:
        return in_units(log.rejected_rows, units_of(self.context["request"]))

    @extend_schema_field(FindingOut(many=True))
    def get_findings(self, log: Log) -> Any:
        return in_units(log.findings, units_of(self.context["request"]))


class SurveyCorrectionIn(SurveyIn):
    """Corrected values of a survey; fields not given do not change."""

    id = None
    measuring_point = None
    job = None
    primary_survey = None
    corrects = VisibleRecord(
        SurveyData, required=False, help_text="Version to correct. Default: the version in force."
    )
    reason = TextField(max_length=2000)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("medium_temperature") is not None or "medium_temperature_source" in attrs:
            check_temperature_source(attrs)
        return attrs


class SegmentIn(StrictSerializer):
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    reason = TextField(max_length=500)


class SegmentsIn(StrictSerializer):
    """Segments of the log that the result uses; an empty list selects the whole log."""

    segments = serializers.ListField(child=SegmentIn(), max_length=MAX_SEGMENTS)
    reason = TextField(max_length=2000)


class SurveyDataOut(serializers.ModelSerializer):
    instruments = serializers.PrimaryKeyRelatedField(many=True, read_only=True)
    mounted_spacing = KnownQuantityField("length", source="mounted_spacing_m")
    path_angle = KnownQuantityField("angle", source="path_angle_rad")
    medium_temperature = KnownQuantityField("temperature", source="medium_temperature_k")
    segments = SegmentOut(many=True)
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)

    class Meta:
        model = SurveyData
        fields = [
            "id", "change", "reason", "setup", "instruments", "started_at", "ended_at", "mounted_spacing", "path_angle",
            "medium_temperature", "medium_temperature_source", "segments", "include_outliers", "note", "recorded_at", "recorded_by",
            "replaced_at",
        ]  # fmt: skip


class LogShortOut(serializers.ModelSerializer):
    class Meta:
        model = Log
        fields = ["sha256", "rows_accepted", "rows_rejected"]


class ResultShortOut(serializers.ModelSerializer):
    volume_flow = QuantityOut()
    expanded_uncertainty = QuantityOut()

    class Meta:
        model = Result
        fields = ["id", "volume_flow", "expanded_uncertainty", "computed_at"]


class SurveyOut(serializers.ModelSerializer):
    """A survey with what is stated of it now and its current result."""

    data = serializers.UUIDField(help_text="Id of the version of the survey data.")
    setup = serializers.UUIDField()
    instruments = serializers.ListField(child=serializers.UUIDField())
    technician = serializers.CharField()
    ended_at = serializers.DateTimeField(allow_null=True)
    mounted_spacing = QuantityOut(allow_null=True)
    path_angle = QuantityOut(allow_null=True)
    paths = serializers.ListField(
        child=serializers.UUIDField(), help_text="Ids of the surveys that are further paths of this survey."
    )
    combination = serializers.UUIDField(
        allow_null=True,
        help_text="Id of the combination of the paths; null with one path.",
    )
    medium_temperature = QuantityOut(allow_null=True)
    medium_temperature_source = serializers.CharField()
    segments = SegmentOut(many=True)
    include_outliers = serializers.BooleanField(help_text="Whether outliers of the log are used.")
    note = serializers.CharField()
    log = LogShortOut(allow_null=True)
    result = ResultShortOut(allow_null=True, help_text="Current result in short; null if none.")
    under_review = ReviewNoticeOut(
        many=True, help_text="Review notices for instruments found out of tolerance."
    )

    class Meta:
        model = Survey
        fields = [
            "id", "measuring_point", "data", "setup", "job", "instruments", "technician", "started_at", "ended_at",
            "mounted_spacing", "primary_survey", "path_angle", "paths", "combination", "medium_temperature", "medium_temperature_source",
            "segments", "include_outliers", "note", "recorded_at", "log", "result", "under_review",
        ]  # fmt: skip


class SteadySegmentOut(serializers.Serializer):
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    readings = serializers.IntegerField()
    mean = QuantityOut()
    standard_deviation = QuantityOut()
    drift = QuantityOut(help_text="Change of the linear trend from start to end.")


class SurveyChangedOut(serializers.Serializer):
    data = SurveyDataOut()
    recomputation = RecomputationOut()


def steady_segment_document(segment: SteadySegment) -> dict[str, Any]:
    """A proposed segment, its flows as quantities."""
    return {
        "start": iso_time(segment.start),
        "end": iso_time(segment.end),
        "readings": segment.readings,
        "mean": quantity(segment.mean, "volume_flow"),
        "standard_deviation": quantity(segment.standard_deviation, "volume_flow"),
        "drift": quantity(segment.drift, "volume_flow"),
    }


# The fields of a request that become columns of another name; the rest of what is noted has the column's name.
QUANTITIES = {
    "mounted_spacing": "mounted_spacing_m",
    "path_angle": "path_angle_rad",
    "medium_temperature": "medium_temperature_k",
}
PLAIN = ("started_at", "ended_at", "medium_temperature_source", "note")


def survey_notes(requested: dict[str, Any], before: SurveyData | None = None) -> SurveyNotes:
    """What was asked, on top of what was stated before."""
    columns = (*PLAIN, *QUANTITIES.values())
    noted = {name: getattr(before, name) for name in columns} if before else {}
    noted |= {name: requested[name] for name in PLAIN if name in requested}
    noted |= {column: si_of(requested[name]) for name, column in QUANTITIES.items() if name in requested}
    if noted.get("medium_temperature_k") is None:
        noted["medium_temperature_source"] = ""
    return SurveyNotes(**noted, as_entered=(before.as_entered if before else {}) | texts(requested))


def without_pairs(stated: SurveyData) -> list[Instrument]:
    """The instruments of a version; the transducer pair comes with the set-up."""
    return [one for one in stated.instruments.all() if one.kind != Kind.TRANSDUCER_PAIR]
