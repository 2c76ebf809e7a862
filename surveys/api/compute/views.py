"""Computation without records: anybody signed in may ask."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from compute.base.errors import TotalReflection
from compute.base.units import System, express_series
from compute.library.materials import Solid, solids
from compute.library.media import media
from compute.library.pipe_sizes import PipeSize, find_sizes
from compute.measuring.flow import Flow
from surveys.api.calculated import FindingOut, SourceOut, SpacingOut
from surveys.api.fields import QuantityOut, in_units, units_of
from surveys.api.views import UnitsMixin, documented
from surveys.core.messages.library import library_title
from surveys.core.stored_quantities import (
    calculation_json,
    findings_json,
    quantity,
    safety_note_json,
    source_json,
)
from surveys.inputs.calculations import FlowIn, SetupIn, flow_entries, setup_entries
from surveys.inputs.fields import checked
from surveys.pipes.selectors import custom_materials_now, custom_media_now
from surveys.results.calculations import SetupEntries


class SpacingView(UnitsMixin):
    """Where to mount a transducer pair on a pipe."""

    throttled_as = "compute"

    @documented(request=SetupIn, responses=SpacingOut, tags=["compute"], operation_id="compute_spacing")
    def post(self, request: Request) -> Response:
        entries = setup_entries(validated(SetupIn, request, self))
        try:
            outcome = calculation_json(entries.calculated())
        except TotalReflection as error:
            outcome = _without_beam(error, entries)
        return Response(in_units(outcome, units_of(request)))


def _without_beam(error: TotalReflection, entries: SetupEntries) -> dict[str, Any]:
    """The answer where no beam passes: nothing to mount, and a finding that says why."""
    finding, notes = entries.without_beam(error)
    return {
        **dict.fromkeys(SpacingOut().fields),
        "traverses": entries.traverses,
        "bore": quantity(entries.pipe.bore, "length"),
        "alternatives": [],
        "findings": findings_json([finding]),
        "safety_notes": [safety_note_json(one) for one in notes],
    }


NUMBER = {"type": "number"}
NUMBERS = {"type": "array", "items": NUMBER}


@extend_schema_field({"oneOf": [NUMBER, NUMBERS]})
class NumbersOut(serializers.JSONField):
    """A number, or a list of them."""


@extend_schema_field(
    {
        "type": "object",
        "properties": {"value": NUMBER, "values": NUMBERS, "unit": {"type": "string"}},
        "required": ["unit"],
        "oneOf": [{"required": ["value"]}, {"required": ["values"]}],
    }
)
class SeriesOut(serializers.JSONField):
    """A quantity, or many as {values, unit}."""


class FlowOut(serializers.Serializer):
    """One figure of each for one reading, many for many."""

    path_velocity = SeriesOut()
    mean_velocity = SeriesOut()
    volume_flow = SeriesOut()
    reynolds = NumbersOut()
    profile_factor = NumbersOut()
    measured_sound_speed = SeriesOut()
    findings = FindingOut(many=True)


class FlowView(UnitsMixin):
    """Flow from readings."""

    throttled_as = "compute"

    @documented(request=FlowIn, responses=FlowOut, tags=["compute"], operation_id="compute_flow")
    def post(self, request: Request) -> Response:
        requested = validated(FlowIn, request, self)
        flow, findings = flow_entries(requested).flow()
        many = any(isinstance(value, np.ndarray) for value in requested["readings"].values())
        answer = _flow_json(flow, units_of(request), _count(requested) if many else None)
        return Response({**answer, "findings": in_units(findings_json(findings), units_of(request))})


FLOW_KINDS = {
    "path_velocity": "speed",
    "mean_velocity": "speed",
    "volume_flow": "volume_flow",
    "reynolds": None,
    "profile_factor": None,
    "measured_sound_speed": "speed",
}


def _flow_json(flow: Flow, units: System, count: int | None) -> dict[str, Any]:
    answer: dict[str, Any] = {}
    for name, kind in FLOW_KINDS.items():
        value = getattr(flow, name)
        if count is None:
            answer[name] = in_units(quantity(value, kind), units) if kind else float(value)
        else:
            series = np.broadcast_to(np.asarray(value, dtype=float), (count,))
            answer[name] = express_series(series, kind, units) if kind else series.tolist()
    return answer


def _count(requested: dict[str, Any]) -> int:
    return max(len(value) for value in requested["readings"].values() if isinstance(value, np.ndarray))


def validated(serializer_class: Any, request: Request, view: Any) -> dict[str, Any]:
    return checked(serializer_class, request.data, {"request": request, "view": view})


class PipeSizeOut(serializers.Serializer):
    standard = serializers.CharField()
    size = serializers.CharField()
    schedule = serializers.CharField()
    outer_diameter = QuantityOut()
    wall_thickness = QuantityOut(allow_null=True)
    bore = QuantityOut(allow_null=True)
    source = SourceOut()
    note = serializers.CharField()


class PipeSizesView(UnitsMixin):
    """Pipe sizes of the standards, by name."""

    @documented(
        responses=PipeSizeOut(many=True),
        parameters=[
            OpenApiParameter("size", str, description="Nominal size, such as NPS 8, DN 200, OD 110."),
            OpenApiParameter("schedule", str, description="Schedule, series or class, such as 40 or SDR 11."),
            OpenApiParameter("standard", str, description="Standard, such as ASME B36.10M."),
        ],
        tags=["compute"],
        operation_id="compute_pipe_sizes",
    )
    def get(self, request: Request) -> Response:
        requested = {
            name: request.query_params.get(name, "").strip()[:60] for name in ("size", "schedule", "standard")
        }
        rows = find_sizes(**requested)
        return Response(in_units([_size_json(row) for row in rows], units_of(request)))


def _size_json(row: PipeSize) -> dict[str, Any]:
    return {
        "standard": row.standard,
        "size": row.size,
        "schedule": row.schedule,
        "outer_diameter": quantity(row.outer_diameter, "length"),
        "wall_thickness": None if row.wall_thickness is None else quantity(row.wall_thickness, "length"),
        "bore": None if row.bore is None else quantity(row.bore, "length"),
        "source": source_json(row.source),
        "note": row.note,
    }


class MaterialOut(serializers.Serializer):
    name = serializers.CharField()
    title = serializers.CharField()
    use = serializers.CharField()
    longitudinal_sound_speed = QuantityOut()
    longitudinal_range = QuantityOut(many=True)
    shear_sound_speed = QuantityOut(allow_null=True)
    shear_range = QuantityOut(many=True)
    density = QuantityOut(allow_null=True)
    roughness = QuantityOut(allow_null=True)
    thermal_expansion = QuantityOut(allow_null=True)
    source = SourceOut()
    roughness_source = SourceOut(allow_null=True)
    note = serializers.CharField()
    custom = serializers.BooleanField(help_text="Added by the office, not of the library.")


class MaterialsView(UnitsMixin):
    """Materials of the library and of the office's own, with their sources."""

    @documented(responses=MaterialOut(many=True), tags=["compute"], operation_id="compute_materials")
    def get(self, request: Request) -> Response:
        own = [version.solid() for version in custom_materials_now(request.user)]
        rows = [{**_solid_json(one), "custom": one in own} for one in (*solids(), *own)]
        return Response(in_units(rows, units_of(request)))


def _solid_json(one: Solid) -> dict[str, Any]:
    def maybe(value: float | None, kind: str) -> Any:
        return None if value is None else quantity(value, kind)

    return {
        "name": one.name,
        "title": library_title(one.title),
        "use": one.use,
        "longitudinal_sound_speed": quantity(one.longitudinal_sound_speed, "speed"),
        "longitudinal_range": [quantity(value, "speed") for value in one.longitudinal_range],
        "shear_sound_speed": maybe(one.shear_sound_speed, "speed"),
        "shear_range": [quantity(value, "speed") for value in one.shear_range or ()],
        "density": maybe(one.density, "density"),
        "roughness": maybe(one.roughness, "roughness"),
        "thermal_expansion": maybe(one.thermal_expansion, "thermal_expansion"),
        "source": source_json(one.source_sound),
        "roughness_source": source_json(one.source_roughness) if one.source_roughness else None,
        "note": one.note,
    }


class LibraryMediumOut(serializers.Serializer):
    name = serializers.CharField()
    title = serializers.CharField()
    needs = serializers.ListField(child=serializers.CharField())
    takes = serializers.ListField(child=serializers.CharField())
    temperature_range = QuantityOut(many=True)
    pressure_range = QuantityOut(many=True)
    composition_range = serializers.ListField(child=serializers.FloatField(), allow_null=True)
    sound_speed_uncertainty = serializers.FloatField(help_text="Relative standard uncertainty of the value.")
    density_uncertainty = serializers.FloatField(help_text="Relative standard uncertainty of the value.")
    viscosity_uncertainty = serializers.FloatField(help_text="Relative standard uncertainty of the value.")
    source = SourceOut()
    note = serializers.CharField()
    custom = serializers.BooleanField(help_text="Added by the office, not of the library.")


class MediaView(UnitsMixin):
    """Media of the library and of the office's own, with their sources."""

    @documented(responses=LibraryMediumOut(many=True), tags=["compute"], operation_id="compute_media")
    def get(self, request: Request) -> Response:
        own = [version.library_medium() for version in custom_media_now(request.user)]
        rows = [
            {
                **asdict(one),
                "title": library_title(one.title),
                "temperature_range": [quantity(value, "temperature") for value in one.temperature_range],
                "pressure_range": [quantity(value, "pressure") for value in one.pressure_range],
                "source": source_json(one.source),
                "custom": one in own,
            }
            for one in (*media(), *own)
        ]
        return Response(in_units(rows, units_of(request)))
