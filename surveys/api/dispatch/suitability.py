"""Suitable technicians and equipment for a job, with the reasons against the others."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from compute.base.units import System
from surveys.api.fields import QuantityOut, in_units
from surveys.api.messages import MessageOut
from surveys.dispatch.suitable_kits import AtPoint, KitRow
from surveys.dispatch.suitable_technicians import Candidate


class CandidateOut(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    suitable = serializers.BooleanField()
    distance_km = serializers.FloatField(
        allow_null=True,
        help_text="Straight-line distance from home base to site; null if a coordinate is missing.",
    )
    unsuitable_reasons = MessageOut(many=True)


class AtPointOut(serializers.Serializer):
    measuring_point = serializers.UUIDField()
    traverses = serializers.IntegerField(
        required=False, help_text="Recommended number of traverses; absent if no beam passes."
    )
    spacing = QuantityOut(required=False)
    time_difference = QuantityOut(
        required=False,
        help_text="Time difference at the expected velocity of the latest set-up; absent without an expected velocity.",
    )
    alternatives = serializers.ListField(
        child=serializers.IntegerField(), help_text="Other numbers of traverses that fit."
    )
    unsuitable_reasons = MessageOut(many=True)


class KitRowOut(serializers.Serializer):
    instrument = serializers.UUIDField()
    kind = serializers.CharField()
    type_name = serializers.CharField()
    serial = serializers.CharField()
    state = serializers.CharField()
    location = serializers.CharField()
    holder = serializers.CharField(allow_null=True)
    suitable = serializers.BooleanField(help_text="Free, in calibration, and fit for every point.")
    points_fitting = serializers.IntegerField(
        allow_null=True,
        help_text="Number of measuring points that a transducer pair fits; null for other kinds.",
    )
    unsuitable_reasons = MessageOut(many=True)
    measuring_points = AtPointOut(
        many=True,
        help_text="Suitability of a transducer pair for each measuring point; empty for other kinds.",
    )


def candidate_shown(one: Candidate) -> dict[str, Any]:
    """A technician as the API answers."""
    return {
        "id": one.technician.pk,
        "name": one.technician.get_full_name() or one.technician.username,
        "suitable": not one.unsuitable_reasons,
        "distance_km": None if one.distance is None else round(one.distance / 1000, 1),
        "unsuitable_reasons": [in_units(reason.stored(), "metric") for reason in one.unsuitable_reasons],
    }


def kit_shown(row: KitRow, units: System) -> dict[str, Any]:
    """An instrument as the API answers."""
    one = row.instrument
    pair = bool(row.at_points)
    return {
        "instrument": one.pk, "kind": one.kind, "type_name": one.type_name, "serial": one.serial, "state": one.state,
        "location": one.location, "holder": one.holder.username if one.holder else None, "suitable": row.suitable,
        "points_fitting": row.fitting if pair else None,
        "unsuitable_reasons": [in_units(reason.stored(), units) for reason in row.unsuitable_reasons],
        "measuring_points": [_at_point(cell, units) for cell in row.at_points],
    }  # fmt: skip


def _at_point(cell: AtPoint, units: System) -> dict[str, Any]:
    shown: dict[str, Any] = {
        "measuring_point": cell.point.pk,
        "alternatives": list(cell.alternatives),
        "unsuitable_reasons": [in_units(reason.stored(), units) for reason in cell.unsuitable_reasons],
    }
    if cell.traverses is not None:
        shown |= {
            "traverses": cell.traverses,
            "spacing": in_units({"si": cell.spacing, "kind": "length"}, units),
        }
    if cell.time_difference is not None:
        shown["time_difference"] = in_units({"si": cell.time_difference, "kind": "time_difference"}, units)
    return shown
