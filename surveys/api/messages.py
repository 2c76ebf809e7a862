"""Messages of the catalogue in answers of the API."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from surveys.api.fields import NULL, NUMBER, QUANTITY, TEXT, in_units, units_of
from surveys.core.messages import Reader, render
from surveys.models.reasons import reason_text

RECORD = {
    "type": "object",
    "description": "Record by its type and id.",
    "properties": {
        "record": {"type": "string", "description": "Type of the record."},
        "id": {"type": "string", "description": "Id of the record."},
        "text": {"type": "string", "description": "Name of the record."},
    },
    "required": ["record", "id", "text"],
}
PARAMETER = [
    TEXT,
    NUMBER,
    {"type": "boolean"},
    NULL,
    QUANTITY,
    RECORD,
    {"$ref": "#/components/schemas/MessageOut"},
]


@extend_schema_field(
    {
        "type": "object",
        "additionalProperties": {"anyOf": [*PARAMETER, {"type": "array", "items": {"anyOf": PARAMETER}}]},
    }
)
class MessageParametersField(serializers.DictField):
    """Values of a message by name: texts, numbers, dates, quantities in the requested units, records, or lists of these."""


class MessageOut(serializers.Serializer):
    """A message: its code, its words in the units of the answer, and its parameters."""

    code = serializers.CharField(help_text="Stable code; `/help/codes/` explains every code.")
    title = serializers.CharField(help_text="Verdict in a few words.")
    detail = serializers.CharField(help_text="Observed and expected values.")
    remedy = serializers.CharField(help_text="Recommended action; may be empty.")
    parameters = MessageParametersField(help_text="Values in the texts by name; quantities with their units.")


@extend_schema_field(MessageOut(allow_null=True))
class MessageField(serializers.JSONField):
    """A stored message, in words and in the units of the answer; null where there is none."""

    def to_representation(self, value: Any) -> Any:
        return in_units(value, units_of(self.context["request"])) if value else None


@extend_schema_field(MessageOut(many=True))
class MessagesField(serializers.JSONField):
    """Stored messages, in words and in the units of the answer."""

    def to_representation(self, value: Any) -> Any:
        return in_units(value, units_of(self.context["request"]))


class MessageTextField(serializers.CharField):
    """A stored message as one text in the units of the answer; empty where there is none."""

    def get_attribute(self, instance: Any) -> Any:
        return super().get_attribute(instance) or ""

    def to_representation(self, value: Any) -> str:
        return render(value, Reader(units_of(self.context["request"]))).text if value else ""


class ReasonTextField(serializers.CharField):
    """The reason of a change as text: as a person entered it, or in the words of the catalogue if the service wrote it."""

    def to_representation(self, value: Any) -> str:
        return reason_text(value, Reader(units_of(self.context["request"])))
