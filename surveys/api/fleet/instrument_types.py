"""Types of instruments with what they can do."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import KnownQuantityField
from surveys.api.filters import SearchFilter, filters
from surveys.api.permissions import FLEET, OFFICE
from surveys.api.views import Records, documented
from surveys.inputs.fields import QuantityIn, StrictSerializer, TextField, si_of, texts
from surveys.models import InstrumentType
from surveys.models.instrument import Kind
from surveys.services.records import record_create

# Each figure of the API: its column and its kind of quantity.
FIGURES = {
    "min_frequency": ("min_frequency_hz", "frequency"),
    "max_frequency": ("max_frequency_hz", "frequency"),
    "timing_resolution": ("timing_resolution_s", "time_difference"),
    "minimum_signal": ("minimum_signal_db", "ratio_db"),
    "min_velocity": ("min_velocity_m_s", "speed"),
    "max_velocity": ("max_velocity_m_s", "speed"),
    "min_temperature": ("min_temperature_k", "temperature"),
    "max_temperature": ("max_temperature_k", "temperature"),
    "min_spacing": ("min_spacing_m", "length"),
    "max_spacing": ("max_spacing_m", "length"),
    "min_wall_thickness": ("min_wall_thickness_m", "length"),
    "max_wall_thickness": ("max_wall_thickness_m", "length"),
}


class InstrumentTypeIn(StrictSerializer):
    kind = serializers.ChoiceField(Kind.choices)
    name = TextField(max_length=100, help_text="As the instruments' type_name says it.")
    hazardous_area_certified = serializers.BooleanField(required=False, allow_null=True)
    note = TextField(max_length=5000, required=False, allow_blank=True)

    def get_fields(self) -> dict[str, Any]:
        figures = {
            name: QuantityIn(kind, required=False, allow_null=True, help_text=_help(column))
            for name, (column, kind) in FIGURES.items()
        }
        return {**super().get_fields(), **figures}


class InstrumentTypeChangeIn(InstrumentTypeIn):
    kind = None


class InstrumentTypeOut(serializers.ModelSerializer):
    class Meta:
        model = InstrumentType
        fields = ["id", "kind", "name", "hazardous_area_certified", "note"]

    def get_fields(self) -> dict[str, Any]:
        figures = {name: KnownQuantityField(kind, column) for name, (column, kind) in FIGURES.items()}
        return {**super().get_fields(), **figures}


class InstrumentTypes(Records):
    """What instruments of a kind and a type name can do; an instrument's own figures come before its type's."""

    model = InstrumentType
    serializer_class = InstrumentTypeOut
    writers = FLEET | OFFICE
    filterset_class = filters(InstrumentType, "kind", "name", search=SearchFilter("name"))
    ordering_fields = ("name", "kind")

    @documented(request=InstrumentTypeIn, responses={201: InstrumentTypeOut})
    def create(self, request: Request) -> Response:
        requested = self.checked(InstrumentTypeIn)
        created = record_create(InstrumentType(**_columns(requested), as_entered=texts(requested)))
        return self.answer(created, 201)

    @documented(request=InstrumentTypeChangeIn(partial=True), responses=InstrumentTypeOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        requested = self.checked(InstrumentTypeChangeIn, partial=True)
        return self.change(request, type_changes(self.get_object(), requested))


def type_changes(record: InstrumentType, requested: dict[str, Any]) -> dict[str, Any]:
    """The columns of a type that a checked request changes, with what was typed for them."""
    changes = _columns(requested)
    if set(requested) & set(FIGURES):
        kept = {name: text for name, text in record.as_entered.items() if name not in requested}
        changes["as_entered"] = kept | texts(requested)
    return changes


def _columns(requested: dict[str, Any]) -> dict[str, Any]:
    return {
        FIGURES[name][0] if name in FIGURES else name: si_of(value) if name in FIGURES else value
        for name, value in requested.items()
    }


def _help(column: str) -> str:
    field: Any = InstrumentType._meta.get_field(column)
    return str(field.help_text)
