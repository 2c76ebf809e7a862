"""Combinations of surveys, and their results."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Prefetch
from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from compute.base.messages import message
from surveys.api.calculated import FindingOut
from surveys.api.fields import KnownQuantityField, QuantityField, QuantityOut, in_units, units_of
from surveys.api.filters import RecordFilter, SetFilter, filters
from surveys.api.messages import MessageField
from surveys.api.results.recomputations import CombinedChangeBreakdownOut, ReviewNoticeOut
from surveys.api.views import Records, documented
from surveys.calibration.affected_results import combined_notices, parts_with_reviews
from surveys.inputs.fields import StrictSerializer, TextField, VisibleRecord
from surveys.inputs.rejections import error_detail
from surveys.models import Combination, CombinationPart, CombinedResult, Result, Site, Survey
from surveys.models.role import FIELD
from surveys.services.results.combinations import MAX_PARTS, combination_create, combination_resume

# Paths are combined of themselves.
KINDS = [choice for choice in Combination.Kind.choices if choice[0] != Combination.Kind.MULTIPATH]


class CombinationIn(StrictSerializer):
    site = VisibleRecord(Site)
    name = TextField(max_length=200)
    kind = serializers.ChoiceField(KINDS)
    parts = serializers.ListField(
        child=serializers.UUIDField(),
        max_length=MAX_PARTS,
        help_text="Surveys of the site, each once, in order: of a difference the first less the second.",
    )
    note = TextField(max_length=5000, required=False, allow_blank=True)

    def validate_parts(self, ids: list[UUID]) -> list[Survey]:
        """The surveys, among those the user may see."""
        rows = Survey.objects.visible_to(self.context["request"].user).filter(pk__in=ids)
        found = {row.pk: row for row in rows.select_related("measuring_point__pipe")}
        unknown = {
            str(n): error_detail(message("does-not-exist", given=str(one)))
            for n, one in enumerate(ids)
            if one not in found
        }
        if unknown:
            raise ValidationError(unknown)
        return [found[one] for one in ids]


class CombinationChangeIn(StrictSerializer):
    name = TextField(max_length=200)
    note = TextField(max_length=5000, allow_blank=True)
    retired_at = serializers.DateTimeField(
        allow_null=True,
        help_text="Time of retirement; a retired combination is not recalculated. Null: recalculate the combination again.",
    )


class CombinationPartOut(serializers.ModelSerializer):
    result = serializers.SerializerMethodField(
        help_text="Id of the current result of the survey; null before the import of a log."
    )

    class Meta:
        model = CombinationPart
        fields = ["survey", "result"]

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_result(self, part: CombinationPart) -> str | None:
        found = _current(part.survey.results.all())
        return str(found.pk) if found else None


class CombinedResultShortOut(serializers.ModelSerializer):
    volume_flow = QuantityOut()
    expanded_uncertainty = QuantityOut()

    class Meta:
        model = CombinedResult
        fields = ["id", "volume_flow", "expanded_uncertainty", "computed_at"]


class CombinationOut(serializers.ModelSerializer):
    parts = CombinationPartOut(many=True, read_only=True)
    created_by = serializers.CharField(source="created_by.username", read_only=True)
    result = serializers.SerializerMethodField(help_text="Current combined result in short; null if none.")
    blocked_reason = MessageField(
        read_only=True, help_text="Reason that the results of the parts were not combined."
    )
    up_to_date = serializers.SerializerMethodField(
        help_text="Whether the combined result uses the current results of its parts."
    )
    under_review = serializers.SerializerMethodField(
        help_text="Review notices for the parts, from instruments found out of tolerance."
    )

    class Meta:
        model = Combination
        fields = [
            "id", "site", "name", "kind", "survey", "parts", "note", "created_at", "created_by", "retired_at", "blocked_reason", "result",
            "up_to_date", "under_review",
        ]  # fmt: skip

    @extend_schema_field(CombinedResultShortOut(allow_null=True))
    def get_result(self, combination: Combination) -> Any:
        current = _current(combination.results.all())
        if current is None:
            return None
        document = {
            "id": str(current.id),
            "volume_flow": {"si": current.volume_flow_m3_s, "kind": "volume_flow"},
            "expanded_uncertainty": {"si": current.expanded_uncertainty_m3_s, "kind": "volume_flow"},
            "computed_at": current.computed_at.isoformat(),
        }
        return in_units(document, units_of(self.context["request"]))

    def get_up_to_date(self, combination: Combination) -> bool:
        current = _current(combination.results.all())
        now = [_current(part.survey.results.all()) for part in combination.parts.all()]
        rests_on = {part["result"] for part in current.parts} if current else set()
        return rests_on == {str(result.pk) if result else "" for result in now}

    @extend_schema_field(ReviewNoticeOut(many=True))
    def get_under_review(self, combination: Combination) -> Any:
        return ReviewNoticeOut(combined_notices(combination.parts.all()), many=True).data


class CombinedPartOut(serializers.Serializer):
    survey = serializers.UUIDField()
    result = serializers.UUIDField()
    coefficient = serializers.FloatField(help_text="Factor of the part's flow.")
    volume_flow = QuantityOut(
        help_text="Volume flow of the part: over the common time of all parts; for a path over its own log."
    )


class CombinedBudgetRowOut(serializers.Serializer):
    input = serializers.CharField()
    owner_kind = serializers.CharField(
        allow_blank=True,
        help_text="Source: pipe, meter, pair, mounting, medium, point, run; together: standard deviation of all; empty: the range of the paths.",
    )
    owner = serializers.CharField(allow_blank=True, help_text="Identifier of the source.")
    contribution = QuantityOut(
        help_text="Contribution with its sign; for a shared input the addition or cancellation."
    )
    contribution_if_independent = QuantityOut(help_text="Contribution for independent parts.")
    variance_fraction = serializers.FloatField(
        help_text="Fraction of the combined variance; the fractions of all rows add up to 1."
    )
    degrees_of_freedom = serializers.FloatField(
        allow_null=True, help_text="Degrees of freedom; null if infinite."
    )
    surveys = serializers.ListField(
        child=serializers.UUIDField(), help_text="Ids of the surveys in which the input occurs."
    )


class CombinedResultOut(serializers.ModelSerializer):
    current = serializers.SerializerMethodField()
    replaced_by = serializers.PrimaryKeyRelatedField(read_only=True, allow_null=True)
    volume_flow = QuantityField("volume_flow", source="volume_flow_m3_s")
    combined_standard_uncertainty = QuantityField("volume_flow", source="combined_standard_uncertainty_m3_s")
    expanded_uncertainty = QuantityField("volume_flow", source="expanded_uncertainty_m3_s")
    range = KnownQuantityField("volume_flow", source="range_m3_s")
    parts = serializers.SerializerMethodField()
    findings = serializers.SerializerMethodField()
    budget = serializers.SerializerMethodField()
    change_breakdown = serializers.SerializerMethodField(
        help_text="Difference from the replaced result, with the contribution of each part."
    )
    review_notices = serializers.SerializerMethodField(
        help_text="Review notices for the parts, from instruments found out of tolerance."
    )

    class Meta:
        model = CombinedResult
        fields = [
            "id", "combination", "current", "cause", "computed_at", "replaces", "replaced_by", "replaced_at", "recomputation",
            "method_version", "volume_flow", "combined_standard_uncertainty", "expanded_uncertainty", "coverage_factor",
            "effective_degrees_of_freedom", "averaged_from", "averaged_to", "steps", "shared_variance_fraction", "range", "parts", "findings",
            "budget", "change_breakdown", "review_notices",
        ]  # fmt: skip

    def get_current(self, result: CombinedResult) -> bool:
        return result.replaced_at is None

    @extend_schema_field(CombinedPartOut(many=True))
    def get_parts(self, result: CombinedResult) -> Any:
        return self._shown(result.parts)

    @extend_schema_field(FindingOut(many=True))
    def get_findings(self, result: CombinedResult) -> Any:
        return self._shown(result.findings)

    @extend_schema_field(CombinedBudgetRowOut(many=True))
    def get_budget(self, result: CombinedResult) -> Any:
        return self._shown(result.budget)

    @extend_schema_field(CombinedChangeBreakdownOut(allow_null=True))
    def get_change_breakdown(self, result: CombinedResult) -> Any:
        return self._shown(result.change_breakdown)

    @extend_schema_field(ReviewNoticeOut(many=True))
    def get_review_notices(self, result: CombinedResult) -> Any:
        return ReviewNoticeOut(combined_notices(result.combination.parts.all()), many=True).data

    def _shown(self, document: Any) -> Any:
        return in_units(document, units_of(self.context["request"]))


class Combinations(Records):
    """Surveys taken together: paths at one point, sums of branches, differences, means of parallel runs."""

    model = Combination
    serializer_class = CombinationOut
    writers = FIELD
    related = ("created_by",)
    prefetched = (
        Prefetch("results", CombinedResult.objects.filter(replaced_at__isnull=True)),
        Prefetch("parts", parts_with_reviews()),
        Prefetch("parts__survey__results", Result.objects.filter(replaced_at__isnull=True)),
    )
    filterset_class = filters(
        Combination, "site", "kind", survey=RecordFilter("parts__survey"), retired=SetFilter("retired_at")
    )
    ordering_fields = ("created_at", "name")

    @documented(request=CombinationIn, responses={201: CombinationOut})
    def create(self, request: Request) -> Response:
        """Combine surveys; the combined result is there at once, or when the last of them has its log."""
        requested = self.checked(CombinationIn)
        surveys = requested.pop("parts")
        combination = combination_create(
            combination=Combination(**requested), surveys=surveys, by=self.user, now=timezone.now()
        )
        return self.answer(self.read_again(combination), 201)

    @documented(request=CombinationChangeIn(partial=True), responses=CombinationOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        """Rename, note, retire or take up again."""
        requested = self.checked(CombinationChangeIn, partial=True)
        with transaction.atomic():
            changed = self.change(request, requested)
            if requested.get("retired_at", changed) is not None:
                return changed
            combination = self.get_object()
            combination_resume(combination=combination, now=timezone.now())
        return self.answer(self.read_again(combination))

    @documented(responses=CombinedResultOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None, filterset_class=None)
    def results(self, request: Request, pk: Any = None) -> Response:
        """Every result of the combination, the newest first, with what caused each."""
        # All of one combination, read with its parts.
        combination = self.get_object()
        rows = list(CombinedResult.objects.filter(combination=combination).select_related("replaced_by"))
        for row in rows:
            row.combination = combination
        return Response(CombinedResultOut(rows, many=True, context=self.get_serializer_context()).data)


def _current(results: Iterable[Any]) -> Any:
    """Of results that were read the one nothing has replaced."""
    return next((result for result in results if result.replaced_at is None), None)
