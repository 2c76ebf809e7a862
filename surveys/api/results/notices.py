"""Notices of changed results."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import QuantityOut, in_units, units_of
from surveys.api.filters import RecordFilter, SetFilter, filters, period
from surveys.api.messages import ReasonTextField
from surveys.api.views import Records, documented
from surveys.models import Notice
from surveys.services.results.notices import notice_acknowledge


class NoticeOut(serializers.ModelSerializer):
    survey = serializers.UUIDField(
        source="before.survey_id",
        read_only=True,
        allow_null=True,
        help_text="Id of the survey; null for the notice of a combined result.",
    )
    combination = serializers.UUIDField(
        source="before_combined.combination_id",
        read_only=True,
        allow_null=True,
        help_text="Id of the combination; null for the notice of a survey's result.",
    )
    combined_before = serializers.PrimaryKeyRelatedField(
        source="before_combined", read_only=True, allow_null=True
    )
    combined_after = serializers.PrimaryKeyRelatedField(
        source="after_combined", read_only=True, allow_null=True
    )
    flow_before = serializers.SerializerMethodField()
    flow_after = serializers.SerializerMethodField()
    reason = ReasonTextField()
    acknowledged_by = serializers.CharField(
        source="acknowledged_by.username", read_only=True, allow_null=True
    )

    class Meta:
        model = Notice
        fields = [
            "id",
            "client",
            "kind",
            "survey",
            "before",
            "after",
            "combination",
            "combined_before",
            "combined_after",
            "flow_before",
            "flow_after",
            "relative_change",
            "threshold",
            "reason",
            "created_at",
            "acknowledged_at",
            "acknowledged_by",
        ]

    @extend_schema_field(QuantityOut)
    def get_flow_before(self, notice: Notice) -> Any:
        return self._flow(notice.before or notice.before_combined)

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_flow_after(self, notice: Notice) -> Any:
        return self._flow(notice.after or notice.after_combined)

    def _flow(self, result: Any) -> Any:
        if result is None:
            return None
        flow = {"si": result.volume_flow_m3_s, "kind": "volume_flow"}
        return in_units(flow, units_of(self.context["request"]))


class Notices(Records):
    """Notices to clients of results, single or combined, that changed by more than the threshold or were withdrawn."""

    model = Notice
    serializer_class = NoticeOut
    writers = None
    related = ("before", "after", "before_combined", "after_combined", "acknowledged_by")
    filterset_class = filters(
        Notice,
        "client",
        "kind",
        acknowledged=SetFilter("acknowledged_at"),
        survey=RecordFilter("after__survey", "before__survey"),
        combination=RecordFilter("after_combined__combination", "before_combined__combination"),
        **period("created_at"),
    )
    ordering_fields = ("created_at",)

    @documented(request=None, responses=NoticeOut)
    @action(detail=True, methods=["post"])
    def acknowledgements(self, request: Request, pk: Any = None) -> Response:
        """Say that the client has seen the notice."""
        notice = notice_acknowledge(notice=self.get_object(), by=self.user, now=timezone.now())
        return self.answer(self.read_again(notice))
