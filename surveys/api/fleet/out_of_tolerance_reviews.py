"""Reviews of affected results, and the results of an instrument."""

from __future__ import annotations

from typing import Any

from django.db.models import Count, Prefetch, Q
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.calculated import FindingOut
from surveys.api.fields import QuantityOut, in_units, units_of
from surveys.api.messages import MessagesField, ReasonTextField
from surveys.api.views import Records, documented
from surveys.inputs.fields import StrictSerializer, TextField
from surveys.inputs.fleet import DECISION_CHOICES
from surveys.models import CombinationPart, OutOfToleranceReview, Result, ReviewedSurvey
from surveys.models.role import FLEET, OFFICE
from surveys.services.fleet.out_of_tolerance_reviews import Decision, review_decide

State = ReviewedSurvey.State
MAX_DECISIONS = 500
COUNTS = {
    f"count_{state.name.lower()}": Count("surveys", filter=Q(surveys__state=state.value)) for state in State
}


class AffectedResultOut(serializers.ModelSerializer):
    """A result an instrument had a part in."""

    survey = serializers.UUIDField(source="survey_id")
    started_at = serializers.DateTimeField(source="survey.started_at")
    measuring_point = serializers.UUIDField(source="survey.measuring_point_id")
    site = serializers.CharField(source="survey.measuring_point.pipe.site.name")
    client = serializers.CharField(source="survey.measuring_point.pipe.site.client.name")
    volume_flow = serializers.SerializerMethodField()

    class Meta:
        model = Result
        fields = ["id", "survey", "started_at", "measuring_point", "site", "client", "volume_flow"]

    @extend_schema_field(QuantityOut)
    def get_volume_flow(self, result: Result) -> Any:
        return _flow(result.volume_flow_m3_s, self)


class ReviewedOut(serializers.ModelSerializer):
    """Survey of a review; `corrected_flow` is its result with the error found, or null before the calculation."""

    started_at = serializers.DateTimeField(source="survey.started_at")
    client = serializers.CharField(source="survey.measuring_point.pipe.site.client.name")
    site = serializers.CharField(source="survey.measuring_point.pipe.site.name")
    volume_flow = serializers.SerializerMethodField(help_text="Flow of the affected result.")
    corrected_flow = serializers.SerializerMethodField()
    corrected_flow_expanded_uncertainty = serializers.SerializerMethodField()
    relative_change = serializers.SerializerMethodField(
        help_text="Change of the flow; null before the calculation, and for a flow of 0."
    )
    outdated = serializers.SerializerMethodField(
        help_text="Whether a newer result replaces the affected result."
    )
    findings = serializers.SerializerMethodField()
    combinations = serializers.SerializerMethodField(help_text="Combinations that also use the survey.")
    reason = ReasonTextField(required=False, help_text="Reason for the decision.")
    decided_by = serializers.CharField(source="decided_by.username", allow_null=True, read_only=True)

    class Meta:
        model = ReviewedSurvey
        fields = [
            "id", "survey", "result", "state", "started_at", "client", "site", "volume_flow", "corrected_flow",
            "corrected_flow_expanded_uncertainty", "relative_change", "outdated", "findings", "combinations",
            "reason", "decided_at", "decided_by",
        ]  # fmt: skip

    @extend_schema_field(QuantityOut)
    def get_volume_flow(self, one: ReviewedSurvey) -> Any:
        return _flow(one.result.volume_flow_m3_s, self)

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_corrected_flow(self, one: ReviewedSurvey) -> Any:
        return _flow(one.volume_flow_m3_s, self)

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_corrected_flow_expanded_uncertainty(self, one: ReviewedSurvey) -> Any:
        return _flow(one.expanded_uncertainty_m3_s, self)

    def get_relative_change(self, one: ReviewedSurvey) -> float | None:
        before = one.result.volume_flow_m3_s
        return None if one.volume_flow_m3_s is None or not before else one.volume_flow_m3_s / before - 1

    def get_outdated(self, one: ReviewedSurvey) -> bool:
        return one.result.replaced_at is not None

    @extend_schema_field(FindingOut(many=True))
    def get_findings(self, one: ReviewedSurvey) -> Any:
        return in_units(one.findings, units_of(self.context["request"]))

    @extend_schema_field({"type": "array", "items": {"type": "string", "format": "uuid"}})
    def get_combinations(self, one: ReviewedSurvey) -> list[str]:
        return [str(part.combination_id) for part in one.survey.combination_parts.all()]


def _flow(value: float | None, serializer: Any) -> Any:
    flow = None if value is None else {"si": value, "kind": "volume_flow"}
    return in_units(flow, units_of(serializer.context["request"]))


class OutOfToleranceReviewOut(serializers.ModelSerializer):
    opened_by = serializers.CharField(source="opened_by.username", read_only=True)
    reasoning = MessagesField(read_only=True)
    counts = serializers.SerializerMethodField(help_text="Surveys by state.")

    class Meta:
        model = OutOfToleranceReview
        fields = [
            "id", "instrument", "calibration", "last_in_tolerance_on", "found_on", "reasoning", "recomputation", "opened_at", "opened_by", "counts",
        ]  # fmt: skip

    @extend_schema_field({"type": "object", "additionalProperties": {"type": "integer"}})
    def get_counts(self, review: OutOfToleranceReview) -> dict[str, int]:
        return {state.value: getattr(review, f"count_{state.name.lower()}") for state in State}


@extend_schema_field({"type": "string", "format": "uuid"})
class ReviewedField(serializers.PrimaryKeyRelatedField):
    """A survey of this review."""

    def get_queryset(self) -> Any:
        view = self.context.get("view")
        review = view.kwargs.get("pk") if view else None
        return ReviewedSurvey.objects.filter(review=review) if review else ReviewedSurvey.objects.none()


class DecisionIn(StrictSerializer):
    item = ReviewedField(help_text="Id of a survey of the review.")
    decision = serializers.ChoiceField(DECISION_CHOICES)
    reason = TextField(max_length=2000)


class DecisionsIn(StrictSerializer):
    decisions = serializers.ListField(child=DecisionIn(), min_length=1, max_length=MAX_DECISIONS)


class OutOfToleranceReviews(Records):
    """Instruments found out of tolerance, and the affected results."""

    model = OutOfToleranceReview
    serializer_class = OutOfToleranceReviewOut
    writers = OFFICE | FLEET
    related = ("opened_by",)
    filterset_fields = {"instrument": ["exact"], "calibration": ["exact"]}
    ordering_fields = ("opened_at", "found_on")

    def get_queryset(self) -> Any:
        return super().get_queryset().annotate(**COUNTS)

    @documented(
        responses=ReviewedOut(many=True),
        parameters=[OpenApiParameter("state", str, enum=list(State.values), description="Only those.")],
    )
    @action(detail=True, methods=["get"], filterset_fields={})
    def surveys(self, request: Request, pk: Any = None) -> Response:
        """List the affected surveys in pages."""
        rows = ReviewedSurvey.objects.filter(review=self.get_object()).select_related(
            "result", "decided_by", "survey__measuring_point__pipe__site__client"
        )
        if "state" in request.query_params:
            wanted = serializers.ChoiceField(State.choices).run_validation(request.query_params["state"])
            rows = rows.filter(state=wanted)
        in_use = CombinationPart.objects.filter(combination__retired_at__isnull=True)
        rows = rows.prefetch_related(Prefetch("survey__combination_parts", in_use))
        page = self.paginate_queryset(rows.order_by("id"))
        return self.get_paginated_response(
            ReviewedOut(page, many=True, context=self.get_serializer_context()).data
        )

    @documented(request=DecisionsIn, responses={200: OutOfToleranceReviewOut, 202: OutOfToleranceReviewOut})
    @action(detail=True, methods=["post"])
    def decisions(self, request: Request, pk: Any = None) -> Response:
        """Decide some surveys, all or none: 202 if any is recomputed for it."""
        review = self.get_object()
        requested = self.checked(DecisionsIn)["decisions"]
        recomputation = review_decide(
            review=review,
            decisions=[Decision(one["item"], State(one["decision"]), one["reason"]) for one in requested],
            by=self.user,
            now=timezone.now(),
        )
        return self.answer(self.read_again(review), 202 if recomputation else 200)
