"""Materials and media of the office's own, with every version of their figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import (
    EnteredTextsField,
    KnownQuantityField,
    QuantityField,
    QuantityOut,
    in_units,
    units_of,
)
from surveys.api.filters import SearchFilter, filters
from surveys.api.messages import ReasonTextField
from surveys.api.results.recomputations import RecomputationOut
from surveys.api.views import Records, documented
from surveys.core.stored_quantities import quantity
from surveys.inputs import limits
from surveys.inputs.fields import NumberField, QuantityIn, StrictSerializer, TextField, si_of, texts
from surveys.models import CustomMaterial, CustomMaterialData, CustomMedium, CustomMediumData
from surveys.models.role import OFFICE
from surveys.services.pipes.library import (
    custom_material_create,
    custom_material_revise,
    custom_medium_create,
    custom_medium_revise,
)

MAX_ROWS = 200
VERSION_FIELDS = ("id", "recorded_at", "recorded_by", "reason", "source", "note", "as_entered")
RECORD_FIELDS = ("id", "name", "title", "use", "data")


class NamedIn(StrictSerializer):
    name = TextField(max_length=60, help_text="Small letters, digits and hyphens; not a name of the library.")
    title = TextField(max_length=200)
    use = TextField(max_length=200, required=False, allow_blank=True, default="")


class SourcedIn(StrictSerializer):
    source = TextField(max_length=2000, help_text="Source of the values.")
    note = TextField(max_length=5000, required=False, allow_blank=True, default="")


class RevisionIn(SourcedIn):
    reason = TextField(max_length=2000, help_text="Reason for the correction of the earlier values.")


class MaterialFiguresIn(StrictSerializer):
    longitudinal_sound_speed = QuantityIn("speed", lowest=limits.MIN_SOUND_SPEED)
    shear_sound_speed = QuantityIn("speed", lowest=limits.MIN_SOUND_SPEED, required=False)
    sound_speed_uncertainty = NumberField(
        min_value=0, max_value=1, required=False, help_text="Relative standard uncertainty of the value."
    )
    density = QuantityIn("density", lowest=limits.MIN_DENSITY, required=False)
    roughness = QuantityIn("roughness", lowest=0.0, required=False, help_text="Roughness of a new surface.")
    thermal_expansion = QuantityIn("thermal_expansion", required=False)


class CustomMaterialIn(NamedIn, SourcedIn, MaterialFiguresIn):
    pass


class MaterialRevisionIn(RevisionIn, MaterialFiguresIn):
    """Replacement values; pipes with the old values are corrected and their surveys recalculated."""


class RowIn(StrictSerializer):
    temperature = QuantityIn("temperature")
    sound_speed = QuantityIn("speed", lowest=limits.MIN_SOUND_SPEED)
    density = QuantityIn("density", lowest=limits.MIN_DENSITY)
    dynamic_viscosity = QuantityIn("dynamic_viscosity", lowest=limits.MIN_VISCOSITY)


class MediumFiguresIn(StrictSerializer):
    table = serializers.ListField(
        child=RowIn(), min_length=2, max_length=MAX_ROWS, help_text="Rows in ascending order of temperature."
    )
    pressure = QuantityIn("pressure", lowest=0.0, help_text="Absolute pressure of the values in the table.")
    sound_speed_uncertainty = NumberField(
        min_value=0, max_value=1, help_text="Relative standard uncertainty of the value."
    )
    density_uncertainty = NumberField(
        min_value=0, max_value=1, help_text="Relative standard uncertainty of the value."
    )
    viscosity_uncertainty = NumberField(
        min_value=0, max_value=1, help_text="Relative standard uncertainty of the value."
    )


class CustomMediumIn(NamedIn, SourcedIn, MediumFiguresIn):
    pass


class MediumRevisionIn(RevisionIn, MediumFiguresIn):
    """Replacement table; pipes with the old table are corrected and their surveys recalculated."""


class MaterialVersionOut(serializers.ModelSerializer):
    reason = ReasonTextField()
    as_entered = EnteredTextsField(read_only=True)
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    longitudinal_sound_speed = QuantityField("speed", source="longitudinal_sound_speed_m_s")
    shear_sound_speed = KnownQuantityField("speed", source="shear_sound_speed_m_s")
    density = KnownQuantityField("density", source="density_kg_m3")
    roughness = KnownQuantityField("roughness", source="roughness_m")
    thermal_expansion = KnownQuantityField("thermal_expansion", source="thermal_expansion_1_k")

    class Meta:
        model = CustomMaterialData
        fields = [
            *VERSION_FIELDS,
            "longitudinal_sound_speed",
            "shear_sound_speed",
            "sound_speed_uncertainty",
            "density",
            "roughness",
            "thermal_expansion",
        ]


class RowOut(serializers.Serializer):
    temperature = QuantityOut()
    sound_speed = QuantityOut()
    density = QuantityOut()
    dynamic_viscosity = QuantityOut()


class MediumVersionOut(serializers.ModelSerializer):
    reason = ReasonTextField()
    as_entered = EnteredTextsField(read_only=True)
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    pressure = QuantityField("pressure", source="pressure_pa")
    table = serializers.SerializerMethodField()

    class Meta:
        model = CustomMediumData
        fields = [
            *VERSION_FIELDS,
            "pressure",
            "table",
            "sound_speed_uncertainty",
            "density_uncertainty",
            "viscosity_uncertainty",
        ]

    @extend_schema_field(RowOut(many=True))
    def get_table(self, data: CustomMediumData) -> Any:
        columns = (
            [quantity(value, kind) for value in data.table[column]] for _, column, kind in TABLE_COLUMNS
        )
        names = [name for name, _, _ in TABLE_COLUMNS]
        rows = [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]
        return in_units(rows, units_of(self.context["request"]))


# Name in requests and answers, column of the stored table, kind of quantity.
TABLE_COLUMNS = (
    ("temperature", "temperature_k", "temperature"),
    ("sound_speed", "sound_speed_m_s", "speed"),
    ("density", "density_kg_m3", "density"),
    ("dynamic_viscosity", "dynamic_viscosity_pa_s", "dynamic_viscosity"),
)


class CustomMaterialOut(serializers.ModelSerializer):
    data = serializers.SerializerMethodField(help_text="Latest version of the data.")

    class Meta:
        model = CustomMaterial
        fields = list(RECORD_FIELDS)

    @extend_schema_field(MaterialVersionOut)
    def get_data(self, material: CustomMaterial) -> Any:
        return MaterialVersionOut(material.versions.all()[0], context=self.context).data


class CustomMaterialDetailOut(CustomMaterialOut):
    versions = MaterialVersionOut(many=True, read_only=True)

    class Meta(CustomMaterialOut.Meta):
        fields = [*RECORD_FIELDS, "versions"]


class CustomMediumOut(serializers.ModelSerializer):
    data = serializers.SerializerMethodField(help_text="Latest version of the data.")

    class Meta:
        model = CustomMedium
        fields = list(RECORD_FIELDS)

    @extend_schema_field(MediumVersionOut)
    def get_data(self, medium: CustomMedium) -> Any:
        return MediumVersionOut(medium.versions.all()[0], context=self.context).data


class CustomMediumDetailOut(CustomMediumOut):
    versions = MediumVersionOut(many=True, read_only=True)

    class Meta(CustomMediumOut.Meta):
        fields = [*RECORD_FIELDS, "versions"]


class MaterialRevisedOut(serializers.Serializer):
    version = MaterialVersionOut()
    recomputations = RecomputationOut(many=True)


class MediumRevisedOut(serializers.Serializer):
    version = MediumVersionOut()
    recomputations = RecomputationOut(many=True)


class OwnRecords(Records):
    """What custom materials and custom media share."""

    writers = OFFICE
    prefetched = ("versions__recorded_by",)
    ordering_fields = ("name",)


class CustomMaterials(OwnRecords):
    """Materials the office added; named in requests like those of the library."""

    model = CustomMaterial
    filterset_class = filters(CustomMaterial, "name", search=SearchFilter("name"))
    serializer_class = CustomMaterialOut

    def get_serializer_class(self) -> Any:
        return CustomMaterialOut if self.action == "list" else CustomMaterialDetailOut

    @documented(request=CustomMaterialIn, responses={201: CustomMaterialDetailOut})
    def create(self, request: Request) -> Response:
        requested = self.checked(CustomMaterialIn)
        material = CustomMaterial(name=requested["name"], title=requested["title"], use=requested["use"])
        custom_material_create(
            material=material, data=_material_data(requested), by=self.user, now=timezone.now()
        )
        return self.answer(self.read_again(material), 201)

    @documented(request=MaterialRevisionIn, responses={202: MaterialRevisedOut})
    @action(detail=True, methods=["post"])
    def revisions(self, request: Request, pk: Any = None) -> Response:
        """Correct the values and recalculate every survey that uses them."""
        requested = self.checked(MaterialRevisionIn)
        data = _material_data(requested)
        started = custom_material_revise(
            material=self.get_object(), data=data, by=self.user, now=timezone.now()
        )
        answer = {"version": data, "recomputations": started}
        return Response(MaterialRevisedOut(answer, context=self.get_serializer_context()).data, status=202)


class CustomMedia(OwnRecords):
    """Media the office added; named in requests like those of the library."""

    model = CustomMedium
    filterset_class = filters(CustomMedium, "name", search=SearchFilter("name"))
    serializer_class = CustomMediumOut

    def get_serializer_class(self) -> Any:
        return CustomMediumOut if self.action == "list" else CustomMediumDetailOut

    @documented(request=CustomMediumIn, responses={201: CustomMediumDetailOut})
    def create(self, request: Request) -> Response:
        requested = self.checked(CustomMediumIn)
        medium = CustomMedium(name=requested["name"], title=requested["title"], use=requested["use"])
        custom_medium_create(medium=medium, data=_medium_data(requested), by=self.user, now=timezone.now())
        return self.answer(self.read_again(medium), 201)

    @documented(request=MediumRevisionIn, responses={202: MediumRevisedOut})
    @action(detail=True, methods=["post"])
    def revisions(self, request: Request, pk: Any = None) -> Response:
        """Correct the table and recalculate every survey that uses it."""
        requested = self.checked(MediumRevisionIn)
        data = _medium_data(requested)
        started = custom_medium_revise(medium=self.get_object(), data=data, by=self.user, now=timezone.now())
        answer = {"version": data, "recomputations": started}
        return Response(MediumRevisedOut(answer, context=self.get_serializer_context()).data, status=202)


def _material_data(requested: Mapping[str, Any]) -> CustomMaterialData:
    return CustomMaterialData(
        longitudinal_sound_speed_m_s=requested["longitudinal_sound_speed"].si,
        shear_sound_speed_m_s=si_of(requested.get("shear_sound_speed")),
        sound_speed_uncertainty=requested.get("sound_speed_uncertainty"),
        density_kg_m3=si_of(requested.get("density")),
        roughness_m=si_of(requested.get("roughness")),
        thermal_expansion_1_k=si_of(requested.get("thermal_expansion")),
        source=requested["source"],
        note=requested["note"],
        reason=requested.get("reason", ""),
        as_entered=texts(requested),
    )


def _medium_data(requested: Mapping[str, Any]) -> CustomMediumData:
    rows: Sequence[Mapping[str, Any]] = requested["table"]
    entered = texts({"pressure": requested["pressure"]})
    for index, row in enumerate(rows):
        entered |= texts(row, f"table.{index}.")
    return CustomMediumData(
        pressure_pa=requested["pressure"].si,
        table={column: [row[name].si for row in rows] for name, column, _ in TABLE_COLUMNS},
        sound_speed_uncertainty=requested["sound_speed_uncertainty"],
        density_uncertainty=requested["density_uncertainty"],
        viscosity_uncertainty=requested["viscosity_uncertainty"],
        source=requested["source"],
        note=requested["note"],
        reason=requested.get("reason", ""),
        as_entered=entered,
    )
