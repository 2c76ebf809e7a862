"""The audit log, to be read by the office."""

from __future__ import annotations

from rest_framework import serializers

from surveys.api.filters import filters, period
from surveys.api.views import Records
from surveys.models import AuditEntry


class AuditEntryOut(serializers.ModelSerializer):
    before = serializers.DictField(help_text="Earlier values of the changed fields.")
    after = serializers.DictField(
        help_text="New values of the changed fields; `(not kept)` for personal data."
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
