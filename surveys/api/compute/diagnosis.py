"""Diagnosis without records: which single wrong entry would explain a sound speed that does not fit."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from compute.library.pipe_sizes import PipeSize
from compute.results.diagnosis import Diagnosis, PossibleCause
from compute.results.entry_errors import Figure
from surveys.api.calculated import FindingOut
from surveys.api.compute.views import validated
from surveys.api.fields import NULL, NUMBER, QUANTITY, TEXT, QuantityOut, in_units, units_of
from surveys.api.messages import MessageParametersField
from surveys.api.views import UnitsMixin, documented
from surveys.core.stored_quantities import findings_json, quantity
from surveys.inputs.calculations import DiagnosisIn, setup_entries
from surveys.inputs.fields import si_of
from surveys.results.calculations import diagnosis_of


class StandardOut(serializers.Serializer):
    standard = serializers.CharField()
    size = serializers.CharField()
    schedule = serializers.CharField()
    outer_diameter = QuantityOut()
    wall_thickness = QuantityOut(allow_null=True)


@extend_schema_field(
    {
        "oneOf": [
            QUANTITY,
            {
                "type": "object",
                "description": "Lining: its material and thickness.",
                "properties": {
                    "material": {"type": "string", "description": "Name of the material."},
                    "thickness": {**QUANTITY, "description": "Thickness of the lining."},
                },
                "required": ["material", "thickness"],
            },
            NUMBER,
            TEXT,
            NULL,
        ]
    }
)
class EntryField(serializers.JSONField):
    """An entry of the request: quantity, number, name, lining or nothing."""


class PossibleCauseOut(serializers.Serializer):
    field = serializers.CharField(
        help_text="Path of the request, `spacing` for one mounted wrong, or `several` for more than one entry."
    )
    entered = EntryField(help_text="Entered value: quantity, number, name or lining; null for none.")
    implied_value = EntryField(
        help_text="Value that explains the sound speed: quantity, number, name or lining; null for none."
    )
    nearest_standard = StandardOut(required=False)
    probability = serializers.FloatField(
        help_text="Probability from 0 to 1 that this field is wrong; the sum with other_cause_probability is 1."
    )
    code = serializers.CharField(help_text="Code of the message: suspect-entry.")
    title = serializers.CharField()
    detail = serializers.CharField()
    remedy = serializers.CharField()
    parameters = MessageParametersField(help_text="Values in the texts by name; quantities with their units.")
    effect_on_flow = serializers.FloatField(
        allow_null=True, help_text="Relative change of the flow at the same times: 0.05 for 5 % more."
    )


class DiagnosisOut(serializers.Serializer):
    consistent = serializers.BooleanField()
    measured_sound_speed = QuantityOut(allow_null=True)
    expected_sound_speed = QuantityOut()
    relative_standard_uncertainty = serializers.FloatField(
        help_text="Uncertainty of the difference of the two sound speeds."
    )
    possible_causes = PossibleCauseOut(
        many=True,
        help_text="Possible causes, one for each field, the most probable first; empty if the sound speeds agree.",
    )
    other_cause_probability = serializers.FloatField(
        help_text="Probability that no possible cause of this list is the cause."
    )
    findings = FindingOut(many=True)


class DiagnosisView(UnitsMixin):
    """What single wrong entry would explain a measured sound speed."""

    throttled_as = "compute"

    @documented(
        request=DiagnosisIn, responses=DiagnosisOut, tags=["compute"], operation_id="compute_diagnosis"
    )
    def post(self, request: Request) -> Response:
        requested = validated(DiagnosisIn, request, self)
        diagnosis, found = diagnosis_of(
            setup_entries(requested),
            si_of(requested.get("transit_time")),
            si_of(requested.get("measured_sound_speed")),
            requested.get("inputs"),
        )
        findings = findings_json(found)
        return Response(in_units({**_diagnosis_json(diagnosis), "findings": findings}, units_of(request)))


def _diagnosis_json(diagnosis: Diagnosis) -> dict[str, Any]:
    measured = diagnosis.measured_sound_speed
    return {
        "consistent": diagnosis.consistent,
        "measured_sound_speed": None if measured is None else quantity(measured, "speed"),
        "expected_sound_speed": quantity(diagnosis.expected_sound_speed, "speed"),
        "relative_standard_uncertainty": diagnosis.relative_uncertainty,
        "possible_causes": [_possible_cause_json(one) for one in diagnosis.possible_causes],
        "other_cause_probability": diagnosis.other_cause_probability,
    }


def _possible_cause_json(cause: PossibleCause) -> dict[str, Any]:
    candidate = cause.candidate
    document = {
        "field": candidate.field,
        "entered": _figure_json(candidate.entered),
        "implied_value": _figure_json(candidate.implied_value),
        "probability": cause.probability,
        **cause.message.stored(),
        "effect_on_flow": cause.effect_on_flow,
    }
    if candidate.nearest_standard is not None:
        document["nearest_standard"] = _standard_json(candidate.nearest_standard)
    return document


def _figure_json(figure: Figure) -> Any:
    if figure.value is None or figure.kind in {"text", "number"}:
        return figure.value
    number = quantity(figure.value, figure.kind)
    return {"material": figure.material, "thickness": number} if figure.material else number


def _standard_json(row: PipeSize) -> dict[str, Any]:
    wall = row.wall_thickness
    return {
        "standard": row.standard,
        "size": row.size,
        "schedule": row.schedule,
        "outer_diameter": quantity(row.outer_diameter, "length"),
        "wall_thickness": None if wall is None else quantity(wall, "length"),
    }
