"""Fields with a unit, records by id, and serializers that ignore nothing."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache, cached_property
from typing import Any, cast

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.request import Request

from compute.base.errors import ComputeError
from compute.base.marks import plain
from compute.base.messages import message
from compute.base.units import KINDS, Quantity, System, express, expresser, parse_quantity
from surveys.api.rejections import error_detail, rejection, rejection_of
from surveys.api.rendering import finite
from surveys.core.messages import Reader, answer, is_message
from surveys.inputs.limits import check_limits
from surveys.models import Record


class QuantityOut(serializers.Serializer):
    """A value with its unit."""

    value = serializers.FloatField()
    unit = serializers.CharField()


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
# What of a document is sentences, a text or a list of them; its quantities may be marked.
SENTENCES = ("detail", "sentences")


def in_units(document: Any, units: System) -> Any:
    """The document with every SI number in it as a value with a unit, and its sentences worded."""
    if isinstance(document, dict):
        if "si" in document and (quantity := _quantity(document, units)):
            return quantity
        if is_message(document):
            document = answer(document, Reader(units))
        shown = {
            name: value if type(value) in LEAVES else in_units(value, units)
            for name, value in document.items()
        }
        _word(shown, units)
        return shown
    if isinstance(document, list):
        return [value if type(value) in LEAVES else in_units(value, units) for value in document]
    return document


def put_in_units(document: Any, units: System) -> Any:
    """The same of a document just read from JSON that is nobody else's: written over, which takes half the time."""
    whole = [document]
    parts: list[Any] = [whole]
    for part in parts:  # which grows meanwhile
        if type(part) is dict:
            if is_message(part):
                answered = answer(part, Reader(units))
                part.clear()
                part.update(answered)
            _word(part, units)
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


def _word(part: dict[str, Any], units: System) -> None:
    """Word the sentences of a part of a document."""
    for name in SENTENCES:
        if name in part:
            part[name] = _plain(part[name], units)


def _plain(sentences: Any, units: System) -> Any:
    """A sentence or a list of them in the units asked for; anything else as it is."""
    if isinstance(sentences, str):
        return plain(sentences, units)
    return [_plain(one, units) for one in sentences] if isinstance(sentences, list) else sentences


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


class QuantityIn(serializers.Field):
    """A quantity of a request; becomes SI with the text as typed. `lowest` [SI] if that is above the kind's own limit."""

    def __init__(self, kind: str, help_text: str = "", lowest: float | None = None, **options: Any) -> None:
        self.kind = kind
        self.lowest = lowest
        super().__init__(help_text=f"{help_text} With its unit: {KINDS[kind].accepted}.".strip(), **options)

    def to_internal_value(self, data: Any) -> Quantity:
        try:
            quantity = parse_quantity(data, self.kind)
            check_limits(quantity.si, self.kind, self.lowest)
        except ComputeError as error:
            raise rejection_of(error) from None
        return quantity

    def to_representation(self, value: Any) -> Any:
        return value


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


class SentenceField(serializers.CharField):
    """A sentence, its quantities in the units asked for."""

    def to_representation(self, value: str) -> str:
        return plain(value, units_of(self.context["request"]))


class SentencesField(serializers.ListField):
    """Sentences, their quantities in the units asked for."""

    child = SentenceField()


class NumberField(serializers.FloatField):
    """A JSON number: finite; no text, no true or false."""

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float):
            raise rejection("number-invalid/json")
        try:
            number = float(data)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise rejection("number-invalid/json-not-finite")
        return number


class IntegerField(serializers.IntegerField):
    """A JSON number that is whole, be it written 1000 or 1e3; no text, no true or false."""

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, float) and data.is_integer():
            data = int(data)
        if isinstance(data, bool) or not isinstance(data, int):
            raise rejection("number-invalid/json-integer")
        return int(super().to_internal_value(data))


# Control characters but tab and line ends (NUL is refused by the framework), and what turns the direction of the text around it:
# a name that reads other than it is.
CONTROL_CHARACTERS = re.compile("[\x01-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


class TextField(serializers.CharField):
    """Text; no numbers taken for it, no control characters."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise rejection("text-invalid/not-text")
        if found := CONTROL_CHARACTERS.search(data):
            raise rejection("text-invalid/control-character", character=f"U+{ord(found[0]):04X}")
        return str(super().to_internal_value(data))


class ChosenId(serializers.UUIDField):
    """The id of a new record, chosen by a client that was offline when it was made: UUIDv7, so that it sorts by time."""

    def __init__(self, required: bool = False) -> None:
        super().__init__(
            required=required,
            help_text="Chosen by the client (UUIDv7), to send what was made offline; made here if left out.",
        )

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str) or len(data) != 36:
            self.fail("invalid", value=str(data)[:40])
        return super().to_internal_value(data)


class VisibleRecord(serializers.PrimaryKeyRelatedField):
    """A record by its id, among those the user may see."""

    def __init__(self, model: type[Record], **options: Any) -> None:
        self.model = model
        if not options.get("read_only"):
            options["queryset"] = model.objects.all()
        super().__init__(**options)

    def get_queryset(self) -> Any:
        return self.model.objects.visible_to(self.context["request"].user)

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            self.fail("does_not_exist", pk_value=str(data)[:40])
        try:
            return super().to_internal_value(data)
        except (ValueError, TypeError):
            self.fail("does_not_exist", pk_value=data[:40])


class StrictSerializer(serializers.Serializer):
    """Rejects unknown fields instead of ignoring them."""

    @cached_property
    def writable(self) -> dict[str, serializers.Field]:
        return {name: field for name, field in self.fields.items() if not field.read_only}

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            unknown = {str(name) for name in data if name not in self.writable}
            if unknown:
                raise ValidationError(
                    {name[:60]: [_unknown(name, self.writable)] for name in sorted(unknown)[:20]}
                )
        return super().to_internal_value(data)


def checked(
    serializer_class: type[serializers.Serializer],
    data: Any,
    context: Mapping[str, Any],
    *,
    partial: bool = False,
    instance: Any = None,
) -> dict[str, Any]:
    """What was sent, by an input serializer; of a change of a record (`instance`) perhaps a part.

    Raises ValidationError by field.
    """
    serializer = serializer_class(instance, data=data, context=context, partial=partial)
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


def _unknown(name: str, writable: Iterable[str]) -> ErrorDetail:
    near = difflib.get_close_matches(name[:60], writable, n=1)
    return error_detail(
        message(
            "unknown-field", name=name[:60], nearest=near[0] if near else None, known=sorted(writable) or None
        )
    )


def texts(validated: Mapping[str, Any], path: str = "") -> dict[str, str]:
    """What was typed for each quantity of a validated request, by path."""
    found: dict[str, str] = {}
    for name, value in validated.items():
        here = f"{path}{name}"
        if isinstance(value, Quantity):
            found[here] = value.text
        elif isinstance(value, Mapping):
            found |= texts(value, f"{here}.")
        elif isinstance(value, list):
            found |= texts({str(index): one for index, one in enumerate(value)}, f"{here}.")
    return found


def si_of(quantity: Quantity | None) -> float | None:
    """The SI number of a quantity that may be absent."""
    return None if quantity is None else quantity.si
