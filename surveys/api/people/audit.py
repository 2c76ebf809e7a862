"""The audit log, to be read by the office."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from surveys.api.fields import NULL, NUMBER, TEXT
from surveys.api.filters import filters, period
from surveys.api.views import Records
from surveys.models import AuditEntry


@extend_schema_field(
    {
        "type": "object",
        "additionalProperties": {
            "anyOf": [
                TEXT,
                NUMBER,
                {"type": "boolean"},
                NULL,
                {"type": "array", "items": {}, "description": "Stored list."},
                {"type": "object", "additionalProperties": True, "description": "Stored document."},
            ]
        },
    }
)
class AuditedValuesField(serializers.DictField):
    """Stored values of the changed fields by name; each record has other fields."""


class AuditEntryOut(serializers.ModelSerializer):
    before = AuditedValuesField(help_text="Earlier values of the changed fields, by name.")
    after = AuditedValuesField(
        help_text="New values of the changed fields, by name; `(not kept)` for personal data."
    )

    class Meta:
        model = AuditEntry
        fields = [
            "id",
            "at",
            "action",
            "actor",
            "actor_name",
            "record_type",
            "record",
            "record_name",
            "before",
            "after",
        ]


class Audit(Records):
    """Who did what and when. Records that are never changed (pipe data, results, states) are their own history instead."""

    model = AuditEntry
    serializer_class = AuditEntryOut
    filterset_class = filters(AuditEntry, "record", "record_type", "actor", "action", **period("at"))
    ordering_fields = ("at",)
