"""Request fields with a unit, records by id, and serializers that ignore nothing."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from compute.base.errors import ComputeError
from compute.base.messages import message
from compute.base.units import KINDS, Quantity, parse_quantity
from surveys.inputs.limits import check_limits
from surveys.inputs.rejections import error_detail, rejection, rejection_of
from surveys.models import Record


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
