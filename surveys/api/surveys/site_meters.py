"""What the site's own meter said, and how a survey's result stands comparison it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from surveys.api.fields import KnownQuantityField, QuantityField, QuantityOut, in_units, units_of
from surveys.core.stored_quantities import quantity
from surveys.models import SiteMeterReading
from surveys.pipes.selectors import paths_result
from surveys.results.site_meter_comparison import compare_with_site_meter, verdict


class SiteMeterComparisonOut(serializers.Serializer):
    """Difference of the survey's flow from the site meter's flow, for the current result or the mean of simultaneous paths."""

    result = serializers.UUIDField()
    difference = QuantityOut()
    relative_difference = serializers.FloatField(
        allow_null=True, help_text="Relative difference, based on the site meter's flow."
    )
    en = serializers.FloatField(
        allow_null=True,
        help_text="En number, ISO 13528: up to 1 either way they agree; null without an uncertainty.",
    )
    agrees = serializers.BooleanField(allow_null=True)
    detail = serializers.CharField()


class SiteMeterReadingOut(serializers.ModelSerializer):
    volume_flow = QuantityField("volume_flow", source="volume_flow_m3_s")
    expanded_uncertainty = KnownQuantityField("volume_flow", source="expanded_uncertainty_m3_s")
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    comparison = serializers.SerializerMethodField(
        help_text="Comparison with the survey; null for a replaced reading, and before the survey has a result."
    )

    class Meta:
        model = SiteMeterReading
        fields = [
            "id", "survey", "meter", "reading_type", "volume_flow", "expanded_uncertainty", "note", "reason", "recorded_at", "recorded_by",
            "replaced_at", "comparison",
        ]  # fmt: skip

    @extend_schema_field(SiteMeterComparisonOut(allow_null=True))
    def get_comparison(self, reading: SiteMeterReading) -> Any:
        result = next((one for one in reading.survey.results.all() if one.replaced_at is None), None)
        if result is None or reading.replaced_at is not None:
            return None
        comparison = compare_with_site_meter(reading, paths_result(reading.survey) or result)
        document = {
            "result": str(result.pk),
            "difference": quantity(comparison.difference_m3_s, "volume_flow"),
            "relative_difference": comparison.relative,
            "en": comparison.en,
            "agrees": comparison.agrees,
            "detail": verdict(comparison),
        }
        return in_units(document, units_of(self.context["request"]))
