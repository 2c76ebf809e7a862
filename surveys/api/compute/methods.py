"""Versions of the method, and the meaning and basis of every finding and uncertainty."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from compute.measuring.location import StraightLength, straight_lengths
from compute.results.survey import METHODS
from compute.results.uncertainty import DEFAULT_UNCERTAINTIES, TEMPERATURE_UNCERTAINTIES
from surveys.api.calculated import SourceOut
from surveys.api.fields import QuantityOrNumberField, in_units, units_of
from surveys.api.views import UnitsMixin, documented
from surveys.core.messages.catalogue import finding_headings
from surveys.core.stored_quantities import source_json, uncertainty_json


class MethodOut(serializers.Serializer):
    version = serializers.CharField()
    since = serializers.DateField()
    change = serializers.CharField()
    effect = serializers.CharField()


class FindingCodeOut(serializers.Serializer):
    code = serializers.CharField()
    meaning = serializers.CharField()


class DefaultUncertaintyOut(serializers.Serializer):
    input = serializers.CharField()
    standard_uncertainty = QuantityOrNumberField(
        help_text="Standard uncertainty: quantity; number for a relative uncertainty or an input without a unit."
    )
    relative = serializers.BooleanField()
    distribution = serializers.CharField()
    source = SourceOut()


class StraightLengthOut(serializers.Serializer):
    disturbance = serializers.CharField()
    title = serializers.CharField()
    upstream_diameters = serializers.FloatField()
    downstream_diameters = serializers.FloatField()
    source = SourceOut()


class MethodsOut(serializers.Serializer):
    methods = MethodOut(many=True)
    findings = FindingCodeOut(many=True)
    default_uncertainties = DefaultUncertaintyOut(many=True)
    temperature_uncertainties = serializers.DictField(
        child=serializers.FloatField(),
        help_text="Temperature uncertainties in kelvin, by temperature source.",
    )
    straight_lengths = StraightLengthOut(many=True)


class MethodsView(UnitsMixin):
    """Versions of the method with their changes, and the conventional values with their sources."""

    @documented(responses=MethodsOut, tags=["compute"], operation_id="compute_methods")
    def get(self, request: Request) -> Response:
        answer = {
            "methods": [
                {
                    "version": m.version,
                    "since": m.since.isoformat(),
                    "change": gettext(m.change),
                    "effect": gettext(m.effect),
                }
                for m in METHODS
            ],
            "findings": [{"code": code, "meaning": meaning} for code, meaning in finding_headings().items()],
            "default_uncertainties": [
                uncertainty_json(path, uncertainty) for path, uncertainty in DEFAULT_UNCERTAINTIES.items()
            ],
            "temperature_uncertainties": {
                known or "not said": kelvin for known, kelvin in TEMPERATURE_UNCERTAINTIES.items()
            },
            "straight_lengths": [_straight_json(row) for row in straight_lengths().values()],
        }
        return Response(in_units(answer, units_of(request)))


def _straight_json(row: StraightLength) -> dict[str, Any]:
    return {
        "disturbance": row.disturbance,
        "title": row.title,
        "upstream_diameters": row.upstream_diameters,
        "downstream_diameters": row.downstream_diameters,
        "source": source_json(row.source),
    }
