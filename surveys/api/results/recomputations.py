"""Results and recomputations: read only; services make them."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.db.models import Count, Prefetch, Q
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django_filters.rest_framework import BooleanFilter
from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from compute.statistics.monte_carlo import MAX_TRIALS
from surveys.api.calculated import FindingOut
from surveys.api.compute.uncertainty import BudgetRowOut, IntervalOut
from surveys.api.fields import NULL, NUMBER, QUANTITY, TEXT, QuantityOut, in_units, units_of
from surveys.api.filters import InstantFilter, RecordFilter, filters, period
from surveys.api.messages import MessageField, ReasonTextField
from surveys.api.results.result_rows import result_documents
from surveys.api.views import ReadByKeys, Records, documented
from surveys.models import (
    CombinedResult,
    Recomputation,
    RecomputationItem,
    Result,
)
from surveys.models.role import OFFICE
from surveys.results.recalculation_summary import ITEM_RELATED, item_change, recomputation_summary
from surveys.results.traceability import traceability_steps, traceable_results
from surveys.services.results.recomputations import recomputation_retry


class SegmentOut(serializers.Serializer):
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    reason = serializers.CharField()


class ReviewNoticeOut(serializers.Serializer):
    state = serializers.CharField()
    found_on = serializers.DateField()
    sentence = serializers.CharField()


FIGURE = [QUANTITY, NUMBER, TEXT, NULL]


@extend_schema_field(
    {
        "oneOf": [
            *FIGURE,
            {
                "type": "array",
                "items": {
                    "type": "object",
                    "properties": {
                        "field": {"type": "string", "description": "Path of the part."},
                        "value": {"oneOf": FIGURE, "description": "Quantity, number or text; null for none."},
                    },
                    "required": ["field", "value"],
                },
            },
        ]
    }
)
class ChangedInputField(serializers.JSONField):
    """Value of an input, or the values of its parts."""


class ChangeCauseOut(serializers.Serializer):
    field = serializers.CharField(help_text="Path of the changed input, such as pipe.wall_thickness.")
    before = ChangedInputField(help_text="Value before the change; a list for an input with several parts.")
    after = ChangedInputField(help_text="Value after the change; a list for an input with several parts.")
    effect = QuantityOut(
        help_text="Contribution of the input to the change of the flow. All contributions add up to the change."
    )


class FlowChangeOut(serializers.Serializer):
    before = QuantityOut(help_text="Volume flow of the replaced result.")
    after = QuantityOut(help_text="Volume flow of the new result.")
    change = QuantityOut(help_text="New flow minus replaced flow.")
    relative_change = serializers.FloatField(
        allow_null=True, help_text="Change divided by the replaced flow; null if the replaced flow was 0."
    )
    method_before = serializers.CharField(
        help_text="Version of the calculation method of the replaced result."
    )
    method_after = serializers.CharField(help_text="Version of the calculation method of the new result.")
    new_findings = serializers.ListField(
        child=serializers.CharField(), help_text="Codes of findings that only the new result has."
    )
    settled_findings = serializers.ListField(
        child=serializers.CharField(), help_text="Codes of findings that only the replaced result had."
    )


class ChangeBreakdownOut(FlowChangeOut):
    spacing_before = QuantityOut(help_text="Transducer spacing used for the replaced result.")
    spacing_after = QuantityOut(help_text="Transducer spacing used for the new result.")
    causes = ChangeCauseOut(many=True, help_text="Changed inputs with their effects.")
    readings_before = serializers.IntegerField(help_text="Number of readings of the replaced result.")
    readings_after = serializers.IntegerField(help_text="Number of readings of the new result.")


class ChangedPartOut(serializers.Serializer):
    survey = serializers.UUIDField()
    result_before = serializers.UUIDField(
        allow_null=True, help_text="Id of the survey's result in the replaced combination; null if none."
    )
    result_after = serializers.UUIDField(help_text="Id of the survey's result in the new combination.")
    before = QuantityOut(allow_null=True, help_text="Volume flow of the survey before the change.")
    after = QuantityOut(help_text="Volume flow of the survey after the change.")
    effect = QuantityOut(help_text="Change of the combined flow that the survey causes.")


class CombinedChangeBreakdownOut(FlowChangeOut):
    parts = ChangedPartOut(many=True, help_text="Surveys of the combination with their effects.")


class LayerBeamOut(serializers.Serializer):
    layer = serializers.CharField(help_text="`wall`, `lining` or `further-lining`, from the outside in.")
    wave_mode = serializers.ChoiceField(["longitudinal", "shear"])
    sound_speed = QuantityOut(help_text="Sound speed of this wave at the temperature of the survey.")
    angle = QuantityOut(help_text="Angle of the beam from the radius.")
    thickness = QuantityOut(help_text="Thickness of the wall or lining.")


class CalculationOut(serializers.Serializer):
    layers = LayerBeamOut(many=True, help_text="Wall and linings, from the outside in.")
    bore = QuantityOut(help_text="Inner diameter of the wall or of the innermost lining.")
    traverses = serializers.IntegerField()
    wedge_sound_speed = QuantityOut(help_text="Sound speed of the wedge at the temperature of the survey.")
    wedge_angle = QuantityOut()
    axial_slowness = serializers.FloatField(
        help_text="sin(wedge angle) / wedge sound speed in s/m, the same in every layer."
    )
    time_in_solids = QuantityOut(help_text="Transit time in both walls, linings and wedges.")
    mounted_spacing = QuantityOut(
        allow_null=True, help_text="Recorded spacing that the calculation uses; null: the required spacing."
    )
    density = QuantityOut(help_text="Density of the medium.")
    dynamic_viscosity = QuantityOut(help_text="Dynamic viscosity of the medium.")


class ResultOut(serializers.ModelSerializer):
    """A result of a survey, with everything it was computed from."""

    calibrations = serializers.ListField(child=serializers.UUIDField())
    error_corrections = serializers.ListField(
        child=serializers.UUIDField(), help_text="Instruments whose error curve was applied."
    )
    as_found_corrections = serializers.ListField(
        child=serializers.UUIDField(),
        help_text="Certificates whose as-found errors were applied, by decision.",
    )
    current = serializers.BooleanField()
    replaced_by = serializers.UUIDField(allow_null=True)
    volume_flow = QuantityOut()
    volume_flow_standard_deviation = QuantityOut()
    expanded_uncertainty = QuantityOut()
    combined_standard_uncertainty = QuantityOut()
    coverage_interval = IntervalOut(
        help_text="Interval that contains the flow with a probability of 95 %, equally likely to be missed on both sides."
    )
    monte_carlo_trials = serializers.IntegerField(allow_null=True, min_value=1000, max_value=MAX_TRIALS)
    monte_carlo_seed = serializers.IntegerField(allow_null=True, min_value=0, max_value=2**32 - 1)
    transit_time = QuantityOut(help_text="Mean transit time of the readings used.")
    time_difference = QuantityOut(help_text="Mean time difference of the readings used.")
    mean_velocity = QuantityOut()
    path_velocity = QuantityOut()
    measured_sound_speed = QuantityOut()
    expected_sound_speed = QuantityOut()
    spacing = QuantityOut()
    correlation_time = QuantityOut(
        allow_null=True, help_text="Time between independent readings; null if the log does not show it."
    )
    segments = SegmentOut(
        many=True, help_text="Segments of the log that the result uses; an empty list means the whole log."
    )
    review_notices = ReviewNoticeOut(
        many=True, help_text="Review notices for instruments found out of tolerance."
    )
    findings = FindingOut(many=True)
    budget = BudgetRowOut(many=True)
    calculation = CalculationOut(help_text="Values that the flow is calculated with, to verify it by hand.")
    change_breakdown = ChangeBreakdownOut(
        allow_null=True, help_text="Difference from the replaced result, with its causes."
    )

    class Meta:
        model = Result
        fields = [
            "id", "survey", "current", "cause", "computed_at", "replaces", "replaced_by", "replaced_at", "recomputation",
            "method_version", "survey_data", "pipe_data", "transducer_data", "wall_measurement", "log", "calibrations",
            "error_corrections", "as_found_corrections", "segments",
            "readings_used", "readings_outside", "readings_excluded", "effective_readings", "correlation_time", "volume_flow",
            "volume_flow_standard_deviation", "expanded_uncertainty", "coverage_factor",
            "combined_standard_uncertainty", "effective_degrees_of_freedom", "coverage_interval", "propagation_method",
            "monte_carlo_trials", "monte_carlo_seed", "transit_time", "time_difference", "mean_velocity", "path_velocity",
            "reynolds", "profile_factor", "measured_sound_speed", "expected_sound_speed", "spacing", "findings", "budget",
            "calculation", "change_breakdown", "review_notices",
        ]  # fmt: skip


@extend_schema_field({"oneOf": [QUANTITY, NUMBER, TEXT, {"type": "boolean"}, NULL]})
class FactField(serializers.JSONField):
    """Text, number, date, time, boolean or quantity; null if not known."""


class FactOut(serializers.Serializer):
    """A named value of a record."""

    name = serializers.CharField()
    label = serializers.CharField(help_text="Name of the fact in words.")
    value = FactField(help_text="Text, number, date, time, boolean or quantity; null if not known.")


class StepOut(serializers.Serializer):
    """One record on the way back from a result."""

    step = serializers.CharField()
    title = serializers.CharField()
    record = serializers.CharField(help_text="Identifier of the input; for a method, the version.")
    by = serializers.CharField(allow_blank=True)
    at = serializers.DateTimeField(allow_null=True)
    reason = serializers.CharField(allow_blank=True)
    facts = FactOut(many=True)


class Results(ReadByKeys):
    """Results of surveys; `?current=true` excludes replaced results."""

    model = Result
    serializer_class = ResultOut
    documents = staticmethod(result_documents)
    filterset_class = filters(
        Result,
        "survey",
        "cause",
        current=BooleanFilter(
            "replaced_at", "isnull", label="Only current results, or only superseded ones."
        ),
        measuring_point=RecordFilter("survey__measuring_point"),
        pipe=RecordFilter("survey__measuring_point__pipe"),
        site=RecordFilter("survey__measuring_point__pipe__site"),
        client=RecordFilter("survey__measuring_point__pipe__site__client"),
        updated_since=InstantFilter("computed_at", "gte", label="Calculated at this time or later."),
        **period("survey__started_at"),
    )
    ordering_fields = ("computed_at",)

    @documented(responses=StepOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None, filterset_class=None)
    def traceability(self, request: Request, pk: Any = None) -> Response:
        """Trace a result back to its inputs, step by step, with the user of each step."""
        result = get_object_or_404(traceable_results().visible_to(request.user), pk=pk)
        steps = [in_units(asdict(step), units_of(request)) for step in traceability_steps(result)]
        return Response(StepOut(steps, many=True).data)


class ItemOut(serializers.ModelSerializer):
    before = serializers.SerializerMethodField()
    after = serializers.SerializerMethodField()
    result_before = serializers.PrimaryKeyRelatedField(source="before", read_only=True, allow_null=True)
    result_after = serializers.PrimaryKeyRelatedField(source="after", read_only=True, allow_null=True)
    combined_before = serializers.PrimaryKeyRelatedField(
        source="before_combined", read_only=True, allow_null=True
    )
    combined_after = serializers.PrimaryKeyRelatedField(
        source="after_combined", read_only=True, allow_null=True
    )
    difference = serializers.SerializerMethodField()
    relative_change = serializers.SerializerMethodField(
        help_text="Difference divided by the previous flow; null before the recalculation, and for a previous flow of 0."
    )
    exceeds_threshold = serializers.SerializerMethodField(
        help_text="Whether the change requires notification of the client; null before the recalculation."
    )
    notice = serializers.SerializerMethodField(help_text="Id of the notice for the client; null if none.")
    change_breakdown = serializers.SerializerMethodField()
    error = MessageField(read_only=True, help_text="Message of the latest failure; null if none.")

    class Meta:
        model = RecomputationItem
        fields = [
            "survey", "combination", "state", "attempts", "error", "finished_at", "before", "after", "difference",
            "relative_change", "exceeds_threshold", "notice", "result_before", "result_after", "combined_before", "combined_after",
            "change_breakdown",
        ]  # fmt: skip

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_difference(self, item: RecomputationItem) -> Any:
        change = item_change(item)
        flow = {"si": change.difference_m3_s, "kind": "volume_flow"} if change else None
        return in_units(flow, units_of(self.context["request"]))

    def get_relative_change(self, item: RecomputationItem) -> float | None:
        change = item_change(item)
        return change.relative if change else None

    def get_exceeds_threshold(self, item: RecomputationItem) -> bool | None:
        change = item_change(item)
        return change.exceeds_threshold if change else None

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_notice(self, item: RecomputationItem) -> str | None:
        notice = getattr(item.after or item.after_combined, "notice", None)
        return str(notice.pk) if notice else None

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_before(self, item: RecomputationItem) -> Any:
        return self._flow(item.before or item.before_combined)

    @extend_schema_field(QuantityOut(allow_null=True))
    def get_after(self, item: RecomputationItem) -> Any:
        return self._flow(item.after or item.after_combined)

    @extend_schema_field(
        PolymorphicProxySerializer(
            "ItemChangeBreakdownOut",
            [ChangeBreakdownOut, CombinedChangeBreakdownOut],
            resource_type_field_name=None,
            allow_null=True,
        )
    )
    def get_change_breakdown(self, item: RecomputationItem) -> Any:
        after = item.after or item.after_combined
        return in_units(after.change_breakdown if after else None, units_of(self.context["request"]))

    def _flow(self, result: Result | CombinedResult | None) -> Any:
        flow = {"si": result.volume_flow_m3_s, "kind": "volume_flow"} if result else None
        return in_units(flow, units_of(self.context["request"]))


# Of all rows of a list in its one query.
COUNTS = {
    f"count_{state}": Count("items", filter=Q(items__state=state)) for state in RecomputationItem.State.values
}


class RecomputationOut(serializers.ModelSerializer):
    reason = ReasonTextField()
    requested_by = serializers.CharField(source="requested_by.username", read_only=True)
    counts = serializers.SerializerMethodField(
        help_text="Surveys, and combinations of them, by state of their item."
    )
    progress = serializers.SerializerMethodField(help_text="Share of the items that are done or failed.")
    per_second = serializers.SerializerMethodField(
        help_text="Completed items per second since the start; null before the start."
    )

    class Meta:
        model = Recomputation
        fields = [
            "id", "pipe", "pipe_data", "survey_data", "transducer_data", "calibration", "error_correction_policy", "cause", "reason",
            "state", "requested_at",
            "requested_by", "started_at", "finished_at", "counts", "progress", "per_second",
        ]  # fmt: skip

    @extend_schema_field({"type": "object", "additionalProperties": {"type": "integer"}})
    def get_counts(self, recomputation: Recomputation) -> dict[str, int]:
        counted = recomputation
        if not hasattr(recomputation, "count_done"):  # one just made, not read by this view
            counted = Recomputation.objects.annotate(**COUNTS).get(pk=recomputation.pk)
        return {state: getattr(counted, f"count_{state}") for state in RecomputationItem.State.values}

    def get_per_second(self, recomputation: Recomputation) -> float | None:
        if recomputation.started_at is None:
            return None
        until = recomputation.finished_at or timezone.now()
        seconds = max((until - recomputation.started_at).total_seconds(), 0.001)
        return round(self.get_counts(recomputation)["done"] / seconds, 3)

    def get_progress(self, recomputation: Recomputation) -> float:
        counts = self.get_counts(recomputation)
        total = sum(counts.values())
        return (counts["done"] + counts["failed"]) / total if total else 1.0


class RecomputationDetailOut(RecomputationOut):
    items = ItemOut(many=True)

    class Meta(RecomputationOut.Meta):
        fields = [*RecomputationOut.Meta.fields, "items"]


class ClientSummaryOut(serializers.Serializer):
    client = serializers.UUIDField()
    name = serializers.CharField()
    surveys = serializers.IntegerField()
    notices = serializers.IntegerField()
    acknowledged = serializers.IntegerField()


class LargestOut(serializers.Serializer):
    survey = serializers.UUIDField()
    relative_change = serializers.FloatField(allow_null=True)


class FailureOut(serializers.Serializer):
    error = MessageField()
    surveys = serializers.IntegerField()
    combinations = serializers.IntegerField()


class SummaryOut(serializers.Serializer):
    surveys = serializers.IntegerField()
    combinations = serializers.IntegerField(
        help_text="Combinations of which a survey moved; not counted below."
    )
    done = serializers.IntegerField()
    unchanged = serializers.IntegerField(help_text="Number of completed items with an unchanged flow.")
    within_threshold = serializers.IntegerField()
    exceeding_threshold = serializers.IntegerField()
    median_relative_change = serializers.FloatField(allow_null=True)
    largest = LargestOut(many=True)
    clients = ClientSummaryOut(many=True)
    failures = FailureOut(many=True, help_text="Errors of the failed recalculations.")


class Recomputations(Records):
    """Background runs that calculate new results after a change of their inputs."""

    model = Recomputation
    serializer_class = RecomputationOut
    writers = OFFICE
    related = ("requested_by",)
    filterset_fields = {"pipe": ["exact"], "state": ["exact"], "cause": ["exact"]}
    ordering_fields = ("requested_at",)

    @documented(request=None, responses={202: RecomputationOut})
    @action(detail=True, methods=["post"])
    def retries(self, request: Request, pk: Any = None) -> Response:
        """Set what is failed of this recomputation to work again."""
        recomputation = self.get_object()
        recomputation_retry(recomputation=recomputation, now=timezone.now())
        answer = self.answer(self.read_again(recomputation), 202)
        answer["Location"] = reverse("recomputation-detail", kwargs={"pk": recomputation.pk})
        return answer

    @documented(responses=SummaryOut)
    @action(detail=True, methods=["get"], pagination_class=None, filterset_fields=[])
    def summary(self, request: Request, pk: Any = None) -> Response:
        """Summarize a recomputation: changed results, size of the changes, notified clients and failures."""
        document = asdict(recomputation_summary(self.get_object()))
        return Response(SummaryOut(document, context=self.get_serializer_context()).data)

    def get_serializer_class(self) -> Any:
        return RecomputationDetailOut if self.action == "retrieve" else RecomputationOut

    def get_queryset(self) -> Any:
        rows = super().get_queryset().annotate(**COUNTS)
        if self.action != "retrieve":
            return rows
        items = RecomputationItem.objects.select_related(*ITEM_RELATED).order_by("id")
        return rows.prefetch_related(Prefetch("items", queryset=items))
