"""Types of instruments with what they can do."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import KnownQuantityField
from surveys.api.filters import SearchFilter, filters
from surveys.api.views import Records, documented
from surveys.inputs.fields import texts
from surveys.inputs.fleet import FIGURES, InstrumentTypeChangeIn, InstrumentTypeIn, type_changes, type_columns
from surveys.models import InstrumentType
from surveys.models.role import FLEET, OFFICE
from surveys.services.records import record_create


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
        created = record_create(InstrumentType(**type_columns(requested), as_entered=texts(requested)))
        return self.answer(created, 201)

    @documented(request=InstrumentTypeChangeIn(partial=True), responses=InstrumentTypeOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        requested = self.checked(InstrumentTypeChangeIn, partial=True)
        return self.change(request, type_changes(self.get_object(), requested))
