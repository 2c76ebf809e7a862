"""Notices of changed results."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import QuantityField
from surveys.api.views import Records, documented
from surveys.models import Notice
from surveys.services.notices import notice_acknowledge


class NoticeOut(serializers.ModelSerializer):
    survey = serializers.UUIDField(source="after.survey_id", read_only=True)
    flow_before = QuantityField("volume_flow", source="before.volume_flow_m3_s")
    flow_after = QuantityField("volume_flow", source="after.volume_flow_m3_s")
    acknowledged_by = serializers.CharField(
        source="acknowledged_by.username", read_only=True, allow_null=True
    )

    class Meta:
        model = Notice
        fields = [
            "id",
            "client",
            "survey",
            "before",
            "after",
            "flow_before",
            "flow_after",
            "relative_change",
            "threshold",
            "reason",
            "made_at",
            "acknowledged_at",
            "acknowledged_by",
        ]


class Notices(Records):
    """What clients are told: results that changed by more than their threshold."""

    model = Notice
    serializer_class = NoticeOut
    writers = None
    related = ("before", "after", "acknowledged_by")
    filterset_fields = {"client": ["exact"], "acknowledged_at": ["isnull"], "after__survey": ["exact"]}
    ordering_fields = ("made_at",)

    @documented(request=None, responses=NoticeOut)
    @action(detail=True, methods=["post"])
    def acknowledgements(self, request: Request, pk: Any = None) -> Response:
        """Say that the client has seen the notice."""
        notice = notice_acknowledge(notice=self.get_object(), by=self.user, now=timezone.now())
        return self.answer(self.read_again(notice))
