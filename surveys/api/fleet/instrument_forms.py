"""Instruments and the data of transducer pairs in requests and answers."""

from __future__ import annotations

from datetime import date
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from compute.base.messages import message
from surveys.api.fields import QuantityOut, in_units, units_of
from surveys.api.fleet.calibrations import CalibrationShortOut, started
from surveys.api.messages import ReasonTextField
from surveys.inputs.fields import QuantityIn, StrictSerializer, TextField, VisibleRecord
from surveys.inputs.rejections import error_detail, rejection
from surveys.inputs.set_ups import TransducersByValue, transducer_document
from surveys.models import Instrument, InstrumentState, Role, TransducerData, User
from surveys.models.instrument import Kind, State
from surveys.pipes.selectors import calibration_in_force, transducer_data_latest


class InstrumentIn(StrictSerializer):
    kind = serializers.ChoiceField(Kind.choices)
    type_name = TextField(max_length=100)
    serial = TextField(max_length=60)
    asset_number = TextField(max_length=60, required=False, allow_blank=True)
    state = serializers.ChoiceField(
        State.choices, required=False, help_text="Initial state. Default: in service."
    )
    location = TextField(
        max_length=200, required=False, allow_blank=True, help_text="Initial place of the instrument."
    )
    belongs_to = VisibleRecord(
        Instrument,
        required=False,
        allow_null=True,
        help_text="Id of the instrument to which this accessory belongs.",
    )
    minimum_signal = QuantityIn(
        "ratio_db",
        required=False,
        allow_null=True,
        help_text="Minimum signal-to-noise ratio that a meter can use.",
    )
    timing_resolution = QuantityIn(
        "time_difference",
        required=False,
        allow_null=True,
        help_text="Resolution of the time difference, for a meter.",
    )
    standard_uncertainty = QuantityIn(
        "length", required=False, allow_null=True, help_text="Thickness gauge: of a reading."
    )
    note = TextField(max_length=5000, required=False, allow_blank=True)
    transducers = TransducersByValue(required=False, help_text="Transducer pair: its data.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "kind" in attrs and ("transducers" in attrs) != (attrs["kind"] == Kind.TRANSDUCER_PAIR):
            raise rejection("wrong-instrument/transducer-data", field="transducers")
        return attrs


class InstrumentChangeIn(InstrumentIn):
    kind = None
    transducers = None
    location = None
    state = None

    def to_internal_value(self, data: Any) -> Any:
        moved = {"state", "location", "holder"} & set(data if isinstance(data, dict) else ())
        if moved:
            detail = error_detail(message("use-status-changes"))
            raise serializers.ValidationError(dict.fromkeys(sorted(moved), detail))
        return super().to_internal_value(data)


class InstrumentStateIn(StrictSerializer):
    """Change of state, place or holder; fields not given do not change."""

    state = serializers.ChoiceField(State.choices, required=False)
    reason = TextField(max_length=2000)
    location = TextField(max_length=200, required=False, allow_blank=True)
    holder = serializers.PrimaryKeyRelatedField(
        queryset=User.objects.filter(is_active=True).exclude(role=Role.CLIENT),
        required=False,
        allow_null=True,
        help_text="Current holder; null if there is none.",
    )


class InstrumentStateOut(serializers.ModelSerializer):
    reason = ReasonTextField()
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    holder = serializers.CharField(source="holder.username", read_only=True, allow_null=True, default=None)

    class Meta:
        model = InstrumentState
        fields = ["id", "before", "state", "reason", "location", "holder", "recorded_at", "recorded_by"]


class TransducersOut(serializers.Serializer):
    frequency = QuantityOut(help_text="Frequency of the ultrasound.")
    wedge_sound_speed = QuantityOut(help_text="Sound speed in the wedge.")
    wedge_angle = QuantityOut(help_text="Angle of the beam in the wedge, to the normal of the pipe wall.")
    face_offset = QuantityOut(
        help_text="Axial distance from the exit point of the beam to the facing end of the transducer."
    )
    wedge_delay = QuantityOut(help_text="Transit time in one wedge, one way.")
    min_temperature = QuantityOut(allow_null=True, help_text="Minimum temperature of the pipe wall.")
    max_temperature = QuantityOut(allow_null=True, help_text="Maximum temperature of the pipe wall.")
    wedge_temperature_coefficient = QuantityOut(
        allow_null=True, help_text="Change of the sound speed in the wedge with temperature."
    )
    wedge_reference_temperature = QuantityOut(
        allow_null=True, help_text="Reference temperature of `wedge_sound_speed`."
    )


class TransducerDataOut(serializers.ModelSerializer):
    reason = ReasonTextField(required=False)
    transducers = serializers.SerializerMethodField()
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    recomputation = serializers.SerializerMethodField(help_text="Background run started by a correction.")

    class Meta:
        model = TransducerData
        fields = ["id", "corrects", "recorded_at", "recorded_by", "reason", "transducers", "recomputation"]

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_recomputation(self, data: TransducerData) -> Any:
        return started(data)

    @extend_schema_field(TransducersOut)
    def get_transducers(self, data: TransducerData) -> Any:
        return in_units(transducer_document(data), units_of(self.context["request"]))


class InstrumentOut(serializers.ModelSerializer):
    holder = serializers.CharField(source="holder.username", read_only=True, allow_null=True, default=None)
    accessories = serializers.PrimaryKeyRelatedField(many=True, read_only=True)
    minimum_signal = serializers.SerializerMethodField()
    timing_resolution = serializers.SerializerMethodField()
    standard_uncertainty = serializers.SerializerMethodField()
    transducers = serializers.SerializerMethodField(
        help_text="Transducer data for the calculation of set-ups."
    )
    calibration = serializers.SerializerMethodField(
        help_text="Latest calibration of the instrument; null if none."
    )

    class Meta:
        model = Instrument
        fields = [
            "id", "kind", "type_name", "serial", "asset_number", "state", "location", "holder", "belongs_to",
            "accessories", "minimum_signal", "timing_resolution", "standard_uncertainty", "note",
            "transducers", "calibration",
        ]  # fmt: skip

    def _maybe(self, value: float | None, kind: str) -> Any:
        document = None if value is None else {"si": value, "kind": kind}
        return in_units(document, units_of(self.context["request"]))

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_minimum_signal(self, instrument: Instrument) -> Any:
        return self._maybe(instrument.minimum_signal_db, "ratio_db")

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_timing_resolution(self, instrument: Instrument) -> Any:
        return self._maybe(instrument.timing_resolution_s, "time_difference")

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_standard_uncertainty(self, instrument: Instrument) -> Any:
        return self._maybe(instrument.standard_uncertainty_m, "length")

    @extend_schema_field(TransducersOut(allow_null=True))
    def get_transducers(self, instrument: Instrument) -> Any:
        latest = transducer_data_latest(instrument.transducer_data.all()).get(instrument.pk)
        return in_units(transducer_document(latest), units_of(self.context["request"])) if latest else None

    @extend_schema_field(CalibrationShortOut(allow_null=True))
    def get_calibration(self, instrument: Instrument) -> Any:
        latest = calibration_in_force(instrument.calibrations.all(), date.max)
        return CalibrationShortOut(latest, context=self.context).data if latest else None
