"""Values with a unit, and messages, in answers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from typing import Any, cast

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from compute.base.units import KINDS, System, express, expresser
from surveys.api.rendering import finite
from surveys.core.messages import Reader, answer, is_message
from surveys.inputs.rejections import rejection


class QuantityOut(serializers.Serializer):
    """A value with its unit."""

    value = serializers.FloatField()
    unit = serializers.CharField()


QUANTITY = {"$ref": "#/components/schemas/QuantityOut"}
NUMBER = {"type": "number"}
TEXT = {"type": "string"}
NULL = {"type": "null"}


@extend_schema_field({"oneOf": [QUANTITY, NUMBER]})
class QuantityOrNumberField(serializers.JSONField):
    """A stored quantity, or a number where the input has no unit."""


@extend_schema_field({"type": "object", "additionalProperties": TEXT})
class EnteredTextsField(serializers.JSONField):
    """Entered texts of quantities by path of the field, such as pipe.wall_thickness."""


def units_of(request: Request) -> System:
    """The units the answer is asked in."""
    units = getattr(request, "answer_units", None) or request.query_params.get("units", "metric")
    if units not in ("metric", "us"):
        raise rejection("units-unknown", field="units", given=units[:20])
    return cast(System, units)


@contextmanager
def response_units(request: Any, units: System) -> Iterator[None]:
    """Let serializers answer in these units for a while, whatever the request asks."""
    request.answer_units = units
    try:
        yield
    finally:
        del request.answer_units


# What a document is made of in the end, most of it text: not looked into.
LEAVES = frozenset({str, float, int, bool, type(None)})


def in_units(document: Any, units: System) -> Any:
    """The document with each SI number as a value with a unit, and each message rendered."""
    if isinstance(document, dict):
        if "si" in document and (quantity := _quantity(document, units)):
            return quantity
        if is_message(document):
            document = answer(document, Reader(units))
        return {
            name: value if type(value) in LEAVES else in_units(value, units)
            for name, value in document.items()
        }
    if isinstance(document, list):
        return [value if type(value) in LEAVES else in_units(value, units) for value in document]
    return document


def put_in_units(document: Any, units: System) -> Any:
    """The same of a document just read from JSON that is nobody else's: written over, which takes half the time."""
    whole = [document]
    parts: list[Any] = [whole]
    for part in parts:  # which grows meanwhile
        if type(part) is dict and is_message(part):
            answered = answer(part, Reader(units))
            part.clear()
            part.update(answered)
        for place, value in part.items() if type(part) is dict else enumerate(part):
            kind = type(value)
            if kind is dict:
                if "si" in value and (quantity := _quantity(value, units)):
                    part[place] = quantity
                else:
                    parts.append(value)
            elif kind is list:
                parts.append(value)
    return whole[0]


def _quantity(stored: Mapping[str, Any], units: System) -> dict[str, Any] | None:
    """What is stored as an SI number and its kind, in the units asked for; None if it is anything else."""
    if len(stored) == 2 and "kind" in stored:
        return shown_quantity(stored["si"], stored["kind"], units)
    if len(stored) == 3 and "kind" in stored and "per" in stored:
        factor, divisor, unit = _ratio_in(stored["kind"], stored["per"], units)
        return {"value": finite(stored["si"] * factor / divisor), "unit": unit}
    return None


def shown_quantity(si: float, kind: str, units: System) -> dict[str, Any]:
    """An SI number in the units asked for.

    Raises ValueError if it is not finite.
    """
    quantity = expresser(kind, units)(si)
    finite(quantity["value"])
    return quantity


@cache
def _ratio_in(kind: str, per: str, units: System) -> tuple[float, float, str]:
    """Of the ratio of a quantity to another (`number`: to none): what brings it from SI to the units, and their name."""
    one = express(1.0, kind, units)
    if per == "number":
        return one["value"], 1.0, one["unit"]
    other = express(1.0, KINDS[per].difference, units)
    below = f"({other['unit']})" if "/" in other["unit"] else other["unit"]
    return one["value"], other["value"], f"({one['unit']})/{below}"


@extend_schema_field(QuantityOut)
class QuantityField(serializers.Field):
    """An SI column shown in the units asked for."""

    def __init__(self, kind: str, source: str) -> None:
        self.kind = kind
        super().__init__(read_only=True, source=source)

    def to_representation(self, value: float) -> dict[str, Any]:
        return express(value, self.kind, units_of(self.context["request"]))


@extend_schema_field(QuantityOut(allow_null=True))
class KnownQuantityField(QuantityField):
    """A quantity, or null where it is not known."""
