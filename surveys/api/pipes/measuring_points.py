"""Measuring points and their calculated set-ups."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from compute.base.units import Quantity
from compute.measuring.location import HAZARDS, straight_lengths
from surveys.api.calculated import SpacingOut
from surveys.api.fields import KnownQuantityField, QuantityField, QuantityOut, in_units, units_of
from surveys.api.filters import RecordFilter, SearchFilter, filters
from surveys.api.views import Records, documented
from surveys.inputs.fields import (
    ChosenId,
    IntegerField,
    QuantityIn,
    StrictSerializer,
    TextField,
    VisibleRecord,
    si_of,
    texts,
)
from surveys.inputs.rejections import rejection
from surveys.models import Instrument, MeasuringPoint, Pipe, Setup
from surveys.models.measuring_point import MOUNTING_CHOICES, ORIENTATION_CHOICES
from surveys.models.pipe import TemperatureSource
from surveys.models.role import FIELD
from surveys.services.pipes.setups import SetupRequest, setup_calculate
from surveys.services.records import chosen_id, record_create


class PointIn(StrictSerializer):
    id = ChosenId()
    pipe = VisibleRecord(Pipe)
    name = TextField(max_length=200)
    description = TextField(max_length=2000, required=False, allow_blank=True)
    upstream_disturbance = serializers.ChoiceField(list(straight_lengths()), required=False, allow_blank=True)
    upstream_straight_length = QuantityIn("length", required=False, allow_null=True)
    downstream_straight_length = QuantityIn("length", required=False, allow_null=True)
    orientation = serializers.ChoiceField(ORIENTATION_CHOICES, required=False, allow_blank=True)
    mounting = serializers.ChoiceField(MOUNTING_CHOICES, required=False, allow_blank=True)
    full_pipe = serializers.BooleanField(required=False, allow_null=True)
    hazards = serializers.ListField(
        child=serializers.ChoiceField(list(HAZARDS)), required=False, max_length=len(HAZARDS)
    )
    retired_at = serializers.DateTimeField(required=False, allow_null=True)


class PointChangeIn(PointIn):
    id = None
    pipe = None


class MountingIn(StrictSerializer):
    """Mounting of the transducers; fields not given have the values of the set-up that it is based on, if any."""

    id = ChosenId()
    based_on = VisibleRecord(
        Setup,
        required=False,
        help_text="Id of an earlier set-up on which the new set-up is based, such as the latest of the measuring point.",
    )
    transducers = VisibleRecord(Instrument, required=False)
    meter = VisibleRecord(
        Instrument, required=False, help_text="Meter whose timing resolution affects the number of traverses."
    )
    traverses = IntegerField(
        min_value=1,
        max_value=16,
        required=False,
        help_text="Number of traverses. Default: the recommended number.",
    )
    expected_velocity = QuantityIn("speed", required=False, allow_null=True)
    medium_temperature = QuantityIn("temperature", required=False, allow_null=True)
    medium_temperature_source = serializers.ChoiceField(TemperatureSource.choices, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "transducers" not in attrs and "based_on" not in attrs:
            raise rejection("required/transducers", field="transducers")
        check_temperature_source(attrs)
        return attrs


def check_temperature_source(attrs: dict[str, Any]) -> None:
    """A temperature says whether it was measured or estimated."""
    if (attrs.get("medium_temperature") is None) == ("medium_temperature_source" in attrs):
        raise rejection("required/temperature-source", field="medium_temperature_source")


class SetupOut(serializers.ModelSerializer):
    transducers = serializers.UUIDField(source="transducer_data.instrument_id", read_only=True)
    spacing = QuantityField("length", source="spacing_m")
    expected_velocity = serializers.SerializerMethodField()
    medium_temperature = serializers.SerializerMethodField()
    calculated_by = serializers.CharField(source="calculated_by.username", read_only=True)
    outcome = serializers.SerializerMethodField(help_text="Result in the form of compute/spacing/.")

    class Meta:
        model = Setup
        fields = [
            "id", "measuring_point", "pipe_data", "transducers", "transducer_data", "based_on", "traverses", "spacing",
            "expected_velocity", "medium_temperature", "medium_temperature_source", "method_version", "calculated_at",
            "calculated_by", "outcome",
        ]  # fmt: skip

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_expected_velocity(self, setup: Setup) -> Any:
        return self._maybe(setup.expected_velocity_m_s, "speed")

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_medium_temperature(self, setup: Setup) -> Any:
        return self._maybe(setup.medium_temperature_k, "temperature")

    @extend_schema_field(SpacingOut)
    def get_outcome(self, setup: Setup) -> Any:
        return in_units(setup.outcome, units_of(self.context["request"]))

    def _maybe(self, value: float | None, kind: str) -> Any:
        document = None if value is None else {"si": value, "kind": kind}
        return in_units(document, units_of(self.context["request"]))


class PointOut(serializers.ModelSerializer):
    hazards = serializers.ListField(
        child=serializers.ChoiceField(list(HAZARDS)),
        read_only=True,
        help_text="Hazards at the measuring point.",
    )
    upstream_straight_length = KnownQuantityField("length", source="upstream_straight_length_m")
    downstream_straight_length = KnownQuantityField("length", source="downstream_straight_length_m")

    class Meta:
        model = MeasuringPoint
        fields = [
            "id", "pipe", "name", "description", "upstream_disturbance", "upstream_straight_length", "downstream_straight_length",
            "orientation", "mounting", "full_pipe", "hazards", "retired_at",
        ]  # fmt: skip


COLUMNS = {
    "upstream_straight_length": "upstream_straight_length_m",
    "downstream_straight_length": "downstream_straight_length_m",
}
SETUP_ID = OpenApiParameter("setup_id", UUID, OpenApiParameter.PATH)


class MeasuringPoints(Records):
    """Places on pipes where flow is measured."""

    model = MeasuringPoint
    serializer_class = PointOut
    writers = FIELD
    filterset_class = filters(
        MeasuringPoint,
        "pipe",
        "name",
        site=RecordFilter("pipe__site"),
        client=RecordFilter("pipe__site__client"),
        search=SearchFilter("name"),
    )
    ordering_fields = ("name",)

    @documented(request=PointIn, responses={201: PointOut})
    def create(self, request: Request) -> Response:
        requested = self.checked(PointIn)
        new_id = chosen_id(MeasuringPoint, requested.pop("id", None))
        return self.answer(record_create(MeasuringPoint(id=new_id, **_columns(requested, {}))), 201)

    @documented(request=PointChangeIn(partial=True), responses=PointOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        requested = self.checked(PointChangeIn, partial=True)
        return self.change(request, _columns(requested, self.get_object().as_entered))

    @documented(request=MountingIn, responses={201: SetupOut})
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def setups(self, request: Request, pk: Any = None) -> Response:
        """Calculate a set-up from today's pipe data and record it."""
        requested = self.checked(MountingIn)
        setup = setup_calculate(
            point=self.get_object(),
            requested=_setup_request(requested),
            by=self.user,
            now=timezone.now(),
            wanted_id=requested.get("id"),
        )
        return Response(SetupOut(setup, context=self.get_serializer_context()).data, status=201)

    @documented(responses=SetupOut(many=True))
    @setups.mapping.get
    def list_setups(self, request: Request, pk: Any = None) -> Response:
        """The set-ups of the point, the latest first: the first is offered for the next."""
        rows = self._setups()[:500]
        return Response(SetupOut(rows, many=True, context=self.get_serializer_context()).data)

    @documented(responses=SetupOut, parameters=[SETUP_ID])
    @action(detail=True, methods=["get"], url_path=r"setups/<uuid:setup_id>")
    def setup_detail(self, request: Request, pk: Any = None, setup_id: Any = None) -> Response:
        """One set-up of the point."""
        setup = self._setups().filter(pk=setup_id).first()
        if setup is None:
            raise NotFound
        return Response(SetupOut(setup, context=self.get_serializer_context()).data)

    @documented(responses=SetupOut)
    @action(detail=True, methods=["get"], url_path="setups/last")
    def last_setup(self, request: Request, pk: Any = None) -> Response:
        """The point's last set-up: what the next one may be `based_on`."""
        setup = self._setups().first()
        if setup is None:
            raise NotFound
        return Response(SetupOut(setup, context=self.get_serializer_context()).data)

    def _setups(self) -> Any:
        return self.get_object().setups.select_related("transducer_data", "calculated_by")


def _columns(requested: dict[str, Any], entered: dict[str, str]) -> dict[str, Any]:
    """Validated fields as columns, with what was typed."""
    columns = {COLUMNS.get(name, name): _si(value) for name, value in requested.items()}
    kept = {path: text for path, text in entered.items() if path not in requested}
    return {**columns, "as_entered": {**kept, **texts(requested)}}


def _si(value: Any) -> Any:
    return value.si if isinstance(value, Quantity) else value


def _setup_request(requested: dict[str, Any]) -> SetupRequest:
    last: Setup | None = requested.get("based_on")
    if last is None:
        temperature_source = requested.get("medium_temperature_source", "")
        base = SetupRequest(
            transducers=requested["transducers"], medium_temperature_source=temperature_source
        )
    else:
        base = SetupRequest(
            transducers=last.transducer_data.instrument,
            traverses=last.traverses,
            expected_velocity_m_s=last.expected_velocity_m_s,
            medium_temperature_k=last.medium_temperature_k,
            medium_temperature_source=last.medium_temperature_source,
        )
    return SetupRequest(
        transducers=requested.get("transducers", base.transducers),
        meter=requested.get("meter"),
        traverses=requested.get("traverses", base.traverses),
        expected_velocity_m_s=_given(requested, "expected_velocity", base.expected_velocity_m_s),
        medium_temperature_k=_given(requested, "medium_temperature", base.medium_temperature_k),
        medium_temperature_source=requested.get("medium_temperature_source", base.medium_temperature_source),
        based_on=last,
        as_entered=texts(requested),
    )


def _given(requested: dict[str, Any], name: str, otherwise: float | None) -> float | None:
    return si_of(requested[name]) if name in requested else otherwise
