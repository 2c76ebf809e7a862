"""Instruments, the data of transducer pairs, calibrations; technicians and jobs."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import (
    QuantityIn,
    StrictSerializer,
    TextField,
    VisibleRecord,
    in_units,
    si_of,
    texts,
    units_of,
)
from surveys.api.permissions import FLEET, OFFICE
from surveys.api.physics import TransducersByValue, transducer_document, transducer_entry
from surveys.api.views import Records, documented
from surveys.models import Calibration, Instrument, Job, MeasuringPoint, Role, Site, TransducerData, User
from surveys.models.instrument import Kind, State
from surveys.models.job import JobState
from surveys.selectors import calibration_in_force
from surveys.services.fleet import (
    calibration_record,
    instrument_create,
    transducer_data_correct,
    transducer_data_record,
)
from surveys.services.records import record_create


class InstrumentIn(StrictSerializer):
    kind = serializers.ChoiceField(Kind.choices)
    type_name = TextField(max_length=100)
    serial = TextField(max_length=60)
    owner_number = TextField(max_length=60, required=False, allow_blank=True)
    state = serializers.ChoiceField(State.choices, required=False)
    minimum_signal = QuantityIn(
        "ratio_db", required=False, allow_null=True, help_text="Meter: the weakest it can use."
    )
    timing_resolution = QuantityIn(
        "time_difference", required=False, allow_null=True, help_text="Meter: the smallest it tells."
    )
    standard_uncertainty = QuantityIn(
        "length", required=False, allow_null=True, help_text="Thickness gauge: of a reading."
    )
    note = TextField(max_length=5000, required=False, allow_blank=True)
    transducers = TransducersByValue(required=False, help_text="Transducer pair: its data.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "kind" in attrs and ("transducers" in attrs) != (attrs["kind"] == Kind.TRANSDUCER_PAIR):
            raise serializers.ValidationError(
                {"transducers": "A transducer pair comes with its data, no other instrument does."},
                code="wrong-instrument",
            )
        return attrs


class InstrumentChangeIn(InstrumentIn):
    kind = None
    transducers = None


class TransducerDataIn(TransducersByValue):
    """New data of a pair, with the reason; set-ups worked out from now on use it.

    With `corrects` it says that a version was always wrong: surveys made with it are recomputed.
    """

    reason = TextField(max_length=2000)
    corrects = VisibleRecord(TransducerData, required=False)


class TransducerDataOut(serializers.ModelSerializer):
    transducers = serializers.SerializerMethodField()
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    recomputation = serializers.SerializerMethodField(help_text="What a correction set going.")

    class Meta:
        model = TransducerData
        fields = ["id", "corrects", "recorded_at", "recorded_by", "reason", "transducers", "recomputation"]

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_recomputation(self, data: TransducerData) -> Any:
        return _started(data)

    @extend_schema_field({"type": "object", "additionalProperties": True})
    def get_transducers(self, data: TransducerData) -> Any:
        return in_units(transducer_document(data), units_of(self.context["request"]))


class CalibrationOut(serializers.ModelSerializer):
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    recomputation = serializers.SerializerMethodField(help_text="What recording it set going, if anything.")

    class Meta:
        model = Calibration
        fields = [
            "id", "instrument", "certificate", "laboratory", "calibrated_on", "due_on", "note", "corrects", "recorded_at",
            "recorded_by", "recomputation",
        ]  # fmt: skip

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_recomputation(self, calibration: Calibration) -> Any:
        return _started(calibration)


def _started(record: TransducerData | Calibration) -> str | None:
    """The recomputation a record set going."""
    return next((str(one.pk) for one in record.recomputations.all()), None)


class InstrumentOut(serializers.ModelSerializer):
    minimum_signal = serializers.SerializerMethodField()
    timing_resolution = serializers.SerializerMethodField()
    standard_uncertainty = serializers.SerializerMethodField()
    transducers = serializers.SerializerMethodField(help_text="Transducer pair: its latest data.")
    calibration = serializers.SerializerMethodField(help_text="The latest calibration.")

    class Meta:
        model = Instrument
        fields = [
            "id", "kind", "type_name", "serial", "owner_number", "state", "minimum_signal", "timing_resolution", "standard_uncertainty", "note",
            "transducers", "calibration",
        ]  # fmt: skip

    def _maybe(self, value: float | None, kind: str) -> Any:
        document = None if value is None else {"si": value, "kind": kind}
        return in_units(document, units_of(self.context["request"]))

    @extend_schema_field({"type": ["object", "null"], "additionalProperties": True})
    def get_minimum_signal(self, instrument: Instrument) -> Any:
        return self._maybe(instrument.minimum_signal_db, "ratio_db")

    @extend_schema_field({"type": ["object", "null"], "additionalProperties": True})
    def get_timing_resolution(self, instrument: Instrument) -> Any:
        return self._maybe(instrument.timing_resolution_s, "time_difference")

    @extend_schema_field({"type": ["object", "null"], "additionalProperties": True})
    def get_standard_uncertainty(self, instrument: Instrument) -> Any:
        return self._maybe(instrument.standard_uncertainty_m, "length")

    @extend_schema_field({"type": ["object", "null"], "additionalProperties": True})
    def get_transducers(self, instrument: Instrument) -> Any:
        latest = max(instrument.transducer_data.all(), key=lambda d: (d.recorded_at, d.id), default=None)
        return in_units(transducer_document(latest), units_of(self.context["request"])) if latest else None

    @extend_schema_field(CalibrationOut(allow_null=True))
    def get_calibration(self, instrument: Instrument) -> Any:
        latest = calibration_in_force(instrument.calibrations.all(), date.max)
        return CalibrationOut(latest, context=self.context).data if latest else None


class Instruments(Records):
    """Meters, transducer pairs, thickness gauges and thermometers of the fleet."""

    model = Instrument
    serializer_class = InstrumentOut
    writers = FLEET | OFFICE
    prefetched = (
        "transducer_data",
        "calibrations__recorded_by",
        "calibrations__corrected_by",
        "calibrations__recomputations",
    )
    filterset_fields = {"kind": ["exact"], "state": ["exact"], "serial": ["exact", "icontains"]}
    ordering_fields = ("serial", "kind")

    @documented(request=InstrumentIn, responses={201: InstrumentOut})
    def create(self, request: Request) -> Response:
        asked = self.checked(InstrumentIn)
        stated = asked.pop("transducers", None)
        instrument = instrument_create(
            instrument=Instrument(**_columns(asked)),
            entry=transducer_entry(stated) if stated else None,
            as_entered=texts(stated or {}),
            by=self.user,
            now=timezone.now(),
        )
        return self.answer(self.read_again(instrument), 201)

    @documented(request=InstrumentChangeIn(partial=True), responses=InstrumentOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        return self.change(request, _columns(self.checked(InstrumentChangeIn, partial=True)))

    @documented(request=TransducerDataIn, responses={201: TransducerDataOut, 202: TransducerDataOut})
    @action(
        detail=True,
        methods=["post"],
        url_path="transducer-data",
        pagination_class=None,
        filterset_fields=[],
    )
    def transducer_data(self, request: Request, pk: Any = None) -> Response:
        """Record new data of a transducer pair; the old stays with the set-ups that rest on it.

        Where it corrects a version, the surveys made with that version are recomputed: 202.
        """
        asked = self.checked(TransducerDataIn)
        instrument, corrects = self.get_object(), asked.pop("corrects", None)
        stated = {
            "entry": transducer_entry(asked),
            "reason": asked["reason"],
            "as_entered": texts(asked),
            "by": self.user,
            "now": timezone.now(),
        }
        if corrects is None:
            data = transducer_data_record(instrument=instrument, **stated)
        elif corrects.instrument_id != instrument.pk:
            raise serializers.ValidationError(
                {"corrects": "That version is of another pair."}, code="other-instrument"
            )
        else:
            data, _ = transducer_data_correct(corrects=corrects, **stated)
        answer = TransducerDataOut(data, context=self.get_serializer_context()).data
        return Response(answer, status=202 if corrects else 201)

    @documented(responses=TransducerDataOut(many=True))
    @transducer_data.mapping.get
    def list_transducer_data(self, request: Request, pk: Any = None) -> Response:
        """Every version of a pair's data, the latest first."""
        rows = self.get_object().transducer_data.select_related("recorded_by").order_by("-recorded_at")
        rows = rows.prefetch_related("recomputations")
        return Response(TransducerDataOut(rows, many=True, context=self.get_serializer_context()).data)


COLUMNS = {
    "minimum_signal": "minimum_signal_db",
    "timing_resolution": "timing_resolution_s",
    "standard_uncertainty": "standard_uncertainty_m",
}


def _columns(asked: dict[str, Any]) -> dict[str, Any]:
    return {
        COLUMNS.get(name, name): si_of(value) if name in COLUMNS else value for name, value in asked.items()
    }


class CalibrationIn(StrictSerializer):
    instrument = VisibleRecord(Instrument)
    certificate = TextField(max_length=100)
    laboratory = TextField(max_length=200)
    calibrated_on = serializers.DateField()
    due_on = serializers.DateField()
    note = TextField(max_length=5000, required=False, allow_blank=True)
    corrects = VisibleRecord(Calibration, required=False, help_text="A certificate that was entered wrongly.")
    reason = TextField(max_length=2000, required=False, help_text="Of a correction.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["due_on"] <= attrs["calibrated_on"]:
            raise serializers.ValidationError(
                {"due_on": "A calibration is due after its date."}, code="due-too-early"
            )
        return attrs


class Calibrations(Records):
    """Certificates; what is written stays as it is."""

    model = Calibration
    serializer_class = CalibrationOut
    writers = FLEET
    related = ("recorded_by",)
    prefetched = ("recomputations",)
    filterset_fields = {"instrument": ["exact"], "due_on": ["exact", "lt", "lte", "gt", "gte"]}
    ordering_fields = ("due_on", "calibrated_on")

    @documented(request=CalibrationIn, responses={201: CalibrationOut})
    def create(self, request: Request) -> Response:
        """Record a certificate; one that corrects another takes its place, and surveys it was in force for are recomputed."""
        asked = self.checked(CalibrationIn)
        reason = asked.pop("reason", "")
        calibration, _ = calibration_record(
            calibration=Calibration(**asked), by=self.user, now=timezone.now(), reason=reason
        )
        return self.answer(self.read_again(calibration), 201)


class TechnicianOut(serializers.ModelSerializer):
    name = serializers.CharField(source="get_full_name", read_only=True)

    class Meta:
        model = User
        fields = ["id", "username", "name"]


class Technicians(Records):
    """People who go to sites."""

    model = User
    serializer_class = TechnicianOut
    filterset_fields = {"username": ["exact"]}
    ordering_fields = ("username",)

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return User.objects.none()
        return technicians_visible_to(self.request.user)


def technicians_visible_to(user: Any) -> Any:
    """Technicians a user may see: staff all, a technician themself, a client none."""
    rows = User.objects.filter(role=Role.TECHNICIAN, is_active=True).order_by("username")
    if user.role in Role.office_roles():
        return rows
    return rows.filter(pk=user.pk)


class JobIn(StrictSerializer):
    site = VisibleRecord(Site)
    title = TextField(max_length=200)
    state = serializers.ChoiceField(JobState.choices, required=False)
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    technician = serializers.PrimaryKeyRelatedField(
        queryset=User.objects.filter(role=Role.TECHNICIAN, is_active=True), required=False, allow_null=True
    )
    measuring_points = VisibleRecord(MeasuringPoint, many=True, required=False)
    kit = VisibleRecord(Instrument, many=True, required=False)
    note = TextField(max_length=5000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        start, end = attrs.get("starts_at"), attrs.get("ends_at")
        if start and end and end <= start:
            raise serializers.ValidationError(
                {"ends_at": "A job ends after it starts."}, code="ends-too-early"
            )
        site = attrs.get("site")
        if site and any(point.pipe.site_id != site.id for point in attrs.get("measuring_points", [])):
            raise serializers.ValidationError(
                {"measuring_points": "A point is at another site."}, code="other-site"
            )
        return attrs


class JobChangeIn(JobIn):
    site = None


class JobOut(serializers.ModelSerializer):
    class Meta:
        model = Job
        fields = [
            "id",
            "site",
            "title",
            "state",
            "starts_at",
            "ends_at",
            "technician",
            "measuring_points",
            "kit",
            "note",
        ]


class Jobs(Records):
    """Visits to sites to survey measuring points."""

    model = Job
    serializer_class = JobOut
    writers = OFFICE
    prefetched = ("measuring_points", "kit")
    filterset_fields = {
        "site": ["exact"],
        "state": ["exact"],
        "technician": ["exact"],
        "starts_at": ["gte", "lte"],
    }
    ordering_fields = ("starts_at", "title")

    @documented(request=JobIn, responses={201: JobOut})
    def create(self, request: Request) -> Response:
        columns, related = _split(self.checked(JobIn))
        return self.answer(record_create(Job(**columns), related=related), 201)

    @documented(request=JobChangeIn(partial=True), responses=JobOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        columns, related = _split(self.checked(JobChangeIn, partial=True))
        return self.change(request, columns, related)


def _split(asked: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Columns, and what goes into tables of relations."""
    related: dict[str, Any] = {name: asked.pop(name) for name in ("measuring_points", "kit") if name in asked}
    return asked, related
