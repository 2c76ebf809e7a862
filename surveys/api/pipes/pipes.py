"""Pipes: their versions of data, corrections, modifications and wall measurements."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from compute.measuring.wall import WALL_CHECKS
from surveys.api.calculated import FindingOut
from surveys.api.fields import (
    NULL,
    QUANTITY,
    TEXT,
    EnteredTextsField,
    KnownQuantityField,
    QuantityField,
    QuantityOut,
    in_units,
    units_of,
)
from surveys.api.filters import RecordFilter, SearchFilter, filters
from surveys.api.messages import ReasonTextField
from surveys.api.results.recomputations import RecomputationOut
from surveys.api.views import Records, documented
from surveys.core.stored_quantities import findings_json, finite
from surveys.inputs.fields import (
    ChosenId,
    QuantityIn,
    StrictSerializer,
    TextField,
    VisibleRecord,
    si_of,
    texts,
)
from surveys.inputs.pipes import CorrectionIn, ModificationIn, changed_statement
from surveys.inputs.set_ups import (
    WAVE_MODES,
    MediumIn,
    PipeIn,
    medium_entry,
    pipe_data_document,
    pipe_entry,
)
from surveys.models import Instrument, Pipe, PipeData, Site, WallMeasurement
from surveys.models.pipe import TemperatureSource
from surveys.models.role import FIELD
from surveys.pipes.selectors import pipe_data_at
from surveys.services.pipes.pipes import (
    PipeStatement,
    pipe_alter,
    pipe_correct,
    pipe_create,
    version_to_correct,
    wall_measurement_record,
)


class PipeCreateIn(StrictSerializer):
    id = ChosenId()
    site = VisibleRecord(Site)
    name = TextField(max_length=200)
    description = TextField(max_length=2000, required=False, allow_blank=True, default="")
    pipe = PipeIn()
    medium = MediumIn()
    valid_from = serializers.DateField(required=False, allow_null=True, default=None)


class PipeChangeIn(StrictSerializer):
    name = TextField(max_length=200, required=False)
    description = TextField(max_length=2000, required=False, allow_blank=True)
    retired_at = serializers.DateTimeField(required=False, allow_null=True)


@extend_schema_field(
    {
        "oneOf": [
            NULL,
            QUANTITY,
            TEXT,
            {
                "type": "object",
                "description": "Sound speeds of a material that was entered without a name.",
                "properties": {
                    "longitudinal_sound_speed": QUANTITY,
                    "shear_sound_speed": {"oneOf": [QUANTITY, NULL]},
                },
                "required": ["longitudinal_sound_speed", "shear_sound_speed"],
            },
        ]
    }
)
class PipeMaterialField(serializers.JSONField):
    """Name of a material, or its sound speeds."""


class PipeLiningOut(serializers.Serializer):
    material = PipeMaterialField(help_text="Name of the lining material, or its sound speeds.")
    thickness = QuantityOut(help_text="Thickness of the lining.")


class PipeDimensionsOut(serializers.Serializer):
    outer_diameter = QuantityOut()
    wall_thickness = QuantityOut()
    material = PipeMaterialField(help_text="Name of the pipe material, or its sound speeds.")
    lining = PipeLiningOut(allow_null=True)
    roughness = QuantityOut(allow_null=True)
    wave_mode = serializers.ChoiceField(WAVE_MODES, allow_null=True)
    further_linings = PipeLiningOut(many=True, help_text="Linings inside the first, from the outside in.")
    dimensions_temperature = QuantityOut(
        allow_null=True, help_text="Temperature of the pipe at the measurement of its dimensions."
    )
    max_outer_diameter = QuantityOut(allow_null=True, help_text="Largest outer diameter of an oval pipe.")
    min_outer_diameter = QuantityOut(allow_null=True, help_text="Smallest outer diameter of an oval pipe.")
    bore = QuantityOut()


class PipeMediumOut(serializers.Serializer):
    """Medium of pipe data; only known values are sent."""

    name = serializers.CharField(required=False, help_text="Name of the medium; absent with sound speed.")
    temperature = QuantityOut(required=False)
    temperature_source = serializers.ChoiceField(
        TemperatureSource.choices,
        required=False,
        help_text="Whether the temperature was measured or estimated.",
    )
    pressure = QuantityOut(required=False)
    salinity = QuantityOut(required=False, help_text="Salinity of sea water.")
    mass_fraction = serializers.FloatField(required=False)
    api_gravity = serializers.FloatField(required=False)
    sound_speed = QuantityOut(required=False)
    density = QuantityOut(required=False)
    dynamic_viscosity = QuantityOut(required=False)


class PipeDataOut(serializers.ModelSerializer):
    reason = ReasonTextField(required=False)
    pipe_id = serializers.UUIDField(read_only=True)
    pipe = serializers.SerializerMethodField(
        help_text="Dimensions and materials of the pipe, as in requests, with the bore."
    )
    medium = serializers.SerializerMethodField(help_text="Medium in the pipe, as in requests.")
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    as_entered = EnteredTextsField(read_only=True)

    class Meta:
        model = PipeData
        fields = [
            "id", "pipe_id", "change", "corrects", "valid_from", "reason", "wall_measurement", "recorded_at", "recorded_by", "pipe", "medium",
            "custom_material_data", "custom_lining_data", "custom_medium_data", "as_entered",
        ]  # fmt: skip

    @extend_schema_field(PipeDimensionsOut)
    def get_pipe(self, data: PipeData) -> Any:
        return in_units(pipe_data_document(data)["pipe"], units_of(self.context["request"]))

    @extend_schema_field(PipeMediumOut)
    def get_medium(self, data: PipeData) -> Any:
        return in_units(pipe_data_document(data)["medium"], units_of(self.context["request"]))


class PipeOut(serializers.ModelSerializer):
    data = serializers.SerializerMethodField(
        help_text="Version of the pipe data that is valid today; null if none."
    )

    class Meta:
        model = Pipe
        fields = ["id", "site", "name", "description", "retired_at", "data"]

    @extend_schema_field(PipeDataOut(allow_null=True))
    def get_data(self, pipe: Pipe) -> Any:
        data = pipe_data_at(pipe, timezone.localdate(timezone=pipe.site.zone))
        return PipeDataOut(data, context=self.context).data if data else None


class ChangeOut(serializers.Serializer):
    data = PipeDataOut()
    recomputation = RecomputationOut()


class WallMeasurementIn(StrictSerializer):
    id = ChosenId()
    gauge = VisibleRecord(Instrument)
    gauge_velocity_setting = QuantityIn(
        "speed",
        required=False,
        allow_null=True,
        help_text="Velocity setting of the gauge, if different from the pipe's material.",
    )
    readings = serializers.ListField(child=QuantityIn("length"), min_length=2, max_length=200)
    taken_at = serializers.DateTimeField(required=False)
    note = TextField(max_length=2000, required=False, allow_blank=True, default="")


class WallMeasurementOut(serializers.ModelSerializer):
    mean = QuantityField("length", source="mean_m")
    standard_deviation = QuantityField("length", source="standard_deviation_m")
    standard_uncertainty = QuantityField("length", source="standard_uncertainty_m")
    minimum = QuantityField("length", source="minimum_m")
    maximum = QuantityField("length", source="maximum_m")
    gauge_velocity_setting = KnownQuantityField("speed", source="gauge_velocity_setting_m_s")
    degrees_of_freedom = serializers.SerializerMethodField(
        help_text="Degrees of freedom of the standard uncertainty; null: infinite."
    )
    readings = serializers.SerializerMethodField()
    taken_by = serializers.CharField(source="taken_by.username", read_only=True)
    findings = serializers.SerializerMethodField()

    class Meta:
        model = WallMeasurement
        fields = [
            "id",
            "pipe",
            "gauge",
            "taken_at",
            "taken_by",
            "readings",
            "mean",
            "standard_deviation",
            "standard_uncertainty",
            "degrees_of_freedom",
            "minimum",
            "maximum",
            "gauge_velocity_setting",
            "correction_factor",
            "findings",
            "note",
        ]

    @extend_schema_field(FindingOut(many=True))
    def get_findings(self, wall_measurement: WallMeasurement) -> Any:
        return in_units(
            findings_json(WALL_CHECKS.findings(wall_measurement.wall())), units_of(self.context["request"])
        )

    def get_degrees_of_freedom(self, wall_measurement: WallMeasurement) -> float | None:
        return finite(wall_measurement.wall().degrees_of_freedom)

    @extend_schema_field(QuantityOut(many=True))
    def get_readings(self, wall_measurement: WallMeasurement) -> Any:
        readings = [{"si": value, "kind": "length"} for value in wall_measurement.readings_m]
        return in_units(readings, units_of(self.context["request"]))


class Pipes(Records):
    """Runs of pipe, with the versions of what is known of them."""

    model = Pipe
    serializer_class = PipeOut
    writers = FIELD
    related = ("site",)
    prefetched = ("data__recorded_by", "data__custom_material_data", "data__custom_lining_data")
    filterset_class = filters(
        Pipe, "site", "name", client=RecordFilter("site__client"), search=SearchFilter("name")
    )
    ordering_fields = ("name",)

    @documented(request=PipeCreateIn, responses={201: PipeOut})
    def create(self, request: Request) -> Response:
        requested = self.checked(PipeCreateIn)
        statement = PipeStatement(
            pipe_entry(requested["pipe"]),
            medium_entry(requested["medium"]),
            texts({k: requested[k] for k in ("pipe", "medium")}),
        )
        pipe = pipe_create(
            site=requested["site"],
            name=requested["name"],
            description=requested["description"],
            statement=statement,
            valid_from=requested["valid_from"],
            by=self.user,
            now=timezone.now(),
            wanted_id=requested.get("id"),
        )
        return self.answer(self.read_again(pipe), 201)

    @documented(request=PipeChangeIn, responses=PipeOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        return self.change(request, self.checked(PipeChangeIn, partial=True))

    @documented(request=CorrectionIn, responses={202: ChangeOut})
    @action(detail=True, methods=["post"])
    def corrections(self, request: Request, pk: Any = None) -> Response:
        """Correct wrong pipe data and recalculate its surveys in the background."""
        pipe, now = self.get_object(), timezone.now()
        requested = self.checked(CorrectionIn)
        corrects = requested.get("corrects") or version_to_correct(
            pipe, timezone.localdate(timezone=pipe.site.zone)
        )
        data, recomputation = pipe_correct(
            pipe=pipe,
            corrects=corrects,
            statement=changed_statement(corrects, requested),
            reason=requested["reason"],
            valid_from=requested.get("valid_from", corrects.valid_from),
            wall_measurement=requested["wall_measurement"],
            by=self.user,
            now=now,
        )
        return self._changed_answer(data, recomputation)

    @documented(request=ModificationIn, responses={202: ChangeOut})
    @action(detail=True, methods=["post"])
    def modifications(self, request: Request, pk: Any = None) -> Response:
        """Record a modification of the pipe on a date; earlier surveys keep their pipe data."""
        pipe = self.get_object()
        requested = self.checked(ModificationIn)
        before = pipe_data_at(pipe, requested["valid_from"]) or version_to_correct(
            pipe, requested["valid_from"]
        )
        data, recomputation = pipe_alter(
            pipe=pipe,
            statement=changed_statement(before, requested),
            reason=requested["reason"],
            valid_from=requested["valid_from"],
            wall_measurement=requested["wall_measurement"],
            by=self.user,
            now=timezone.now(),
        )
        return self._changed_answer(data, recomputation)

    def _changed_answer(self, data: PipeData, recomputation: Any) -> Response:
        answer = ChangeOut(
            {"data": data, "recomputation": recomputation}, context=self.get_serializer_context()
        ).data
        return Response(answer, status=202)

    @documented(
        responses=PipeDataOut,
        parameters=[
            OpenApiParameter("at", date, description="Date of validity. Default: today."),
            OpenApiParameter("known_at", datetime, description="Time of knowledge. Default: now."),
        ],
    )
    @action(detail=True, methods=["get"])
    def data(self, request: Request, pk: Any = None) -> Response:
        """The pipe data valid at a date, as known at a time."""
        pipe = self.get_object()
        at = _parameter(request, "at", serializers.DateField())
        known_at = _parameter(request, "known_at", serializers.DateTimeField())
        data = pipe_data_at(pipe, at or timezone.localdate(timezone=pipe.site.zone), known_at)
        if data is None:
            raise NotFound
        return Response(PipeDataOut(data, context=self.get_serializer_context()).data)

    @documented(responses=PipeDataOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None, filterset_class=None)
    def versions(self, request: Request, pk: Any = None) -> Response:
        """Every version of the pipe's data, the latest recorded first."""
        rows = sorted(self.get_object().data.all(), key=lambda data: data.recorded_at, reverse=True)
        return Response(PipeDataOut(rows, many=True, context=self.get_serializer_context()).data)

    @documented(request=WallMeasurementIn, responses={201: WallMeasurementOut})
    @action(
        detail=True,
        methods=["post"],
        pagination_class=None,
        filterset_class=None,
        url_path="wall-measurements",
    )
    def wall_measurements(self, request: Request, pk: Any = None) -> Response:
        """Enter wall-thickness readings taken round the pipe."""
        requested = self.checked(WallMeasurementIn)
        wall_measurement = wall_measurement_record(
            pipe=self.get_object(),
            gauge=requested["gauge"],
            readings_m=[reading.si for reading in requested["readings"]],
            gauge_velocity_setting_m_s=si_of(requested.get("gauge_velocity_setting")),
            taken_at=requested.get("taken_at") or timezone.now(),
            note=requested["note"],
            as_entered=texts(requested),
            by=self.user,
            wanted_id=requested.get("id"),
        )
        return Response(
            WallMeasurementOut(wall_measurement, context=self.get_serializer_context()).data, status=201
        )

    @documented(responses=WallMeasurementOut(many=True))
    @wall_measurements.mapping.get
    def list_wall_measurements(self, request: Request, pk: Any = None) -> Response:
        """The wall measurements of the pipe, the latest first."""
        rows = self.get_object().wall_measurements.select_related("taken_by")[:500]
        return Response(WallMeasurementOut(rows, many=True, context=self.get_serializer_context()).data)


def _parameter(request: Request, name: str, field: serializers.Field) -> Any:
    text = request.query_params.get(name)
    if text is None:
        return None
    try:
        return field.run_validation(text)
    except ValidationError as error:
        raise ValidationError({name: error.detail}) from None
