"""The reading of the site's own meter as typed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from surveys.inputs.fields import NumberField, QuantityIn, StrictSerializer, TextField, texts
from surveys.inputs.rejections import rejection
from surveys.models import SiteMeterReading
from surveys.services.surveys.site_meters import SiteMeterStatement


class SiteMeterReadingIn(StrictSerializer):
    """The flow by the site's own meter; its uncertainty for about 95 %, as a flow or as a part of the flow, if the site states one."""

    meter = TextField(max_length=100, help_text="Name of the meter at the site.")
    reading_type = serializers.ChoiceField(
        SiteMeterReading.ReadingType.choices, default=SiteMeterReading.ReadingType.AVERAGE
    )
    volume_flow = QuantityIn("volume_flow", help_text="Flow, positive in the direction of the pipe.")
    expanded_uncertainty = QuantityIn("volume_flow", required=False)
    relative_expanded_uncertainty = NumberField(
        required=False,
        min_value=1e-6,
        max_value=10,
        help_text="Relative expanded uncertainty: 0.02 for 2 % of the flow.",
    )
    note = TextField(max_length=5000, required=False, allow_blank=True, default="")
    reason = TextField(
        max_length=2000,
        required=False,
        allow_blank=True,
        default="",
        help_text="Reason for the replacement of an earlier entry.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "expanded_uncertainty" in attrs and "relative_expanded_uncertainty" in attrs:
            raise rejection("stated-twice/uncertainty", field="relative_expanded_uncertainty")
        if "relative_expanded_uncertainty" in attrs and not attrs["volume_flow"].si:
            raise rejection("uncertainty-invalid/of-no-flow", field="relative_expanded_uncertainty")
        return attrs


class OutliersIn(StrictSerializer):
    """Whether the result uses the outliers of the log."""

    included = serializers.BooleanField(help_text="Whether outliers are used.")
    reason = TextField(max_length=2000)


def site_meter_of_request(requested: Mapping[str, Any]) -> SiteMeterStatement:
    """What a validated request states."""
    flow = requested["volume_flow"].si
    stated, relative = requested.get("expanded_uncertainty"), requested.get("relative_expanded_uncertainty")
    expanded = stated.si if stated is not None else None if relative is None else relative * abs(flow)
    return SiteMeterStatement(
        meter=requested["meter"],
        reading_type=requested["reading_type"],
        volume_flow_m3_s=flow,
        expanded_uncertainty_m3_s=expanded,
        note=requested["note"],
        as_entered=texts(requested)
        | ({} if relative is None else {"relative_expanded_uncertainty": str(relative)}),
    )
