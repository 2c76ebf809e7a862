"""Interval reviews, and checks of instruments between calibrations."""

from __future__ import annotations

from typing import Any, cast, get_args

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from compute.base.messages import field_name, message
from compute.calibration.check_trend import RunKind
from compute.calibration.intermediate_checks import CheckLimits, Measured, Step
from surveys.api.calculated import FindingOut
from surveys.api.fields import QuantityOut, in_units, units_of
from surveys.api.files import NamedRenderer
from surveys.api.messages import MessageOut, MessagesField
from surveys.api.rendering import JSONRenderer
from surveys.api.views import Once, Records, UnitsMixin, documented
from surveys.documents.interval_chart import review_chart
from surveys.inputs.fields import (
    IntegerField,
    NumberField,
    QuantityIn,
    StrictSerializer,
    TextField,
    VisibleRecord,
    texts,
)
from surveys.inputs.fleet import IntervalDecisionIn
from surveys.inputs.quantity_schema import quantity_schema
from surveys.inputs.rejections import error_detail, rejection
from surveys.models import Instrument, IntermediateCheck, IntervalReview, User
from surveys.models.calibration import MAX_INTERVAL_DAYS
from surveys.models.role import FIELD, FLEET
from surveys.services.fleet.intermediate_checks import (
    Statement,
    check_history,
    check_record,
    check_trend_of,
    trend_json,
)
from surveys.services.fleet.interval_reviews import (
    MethodSettings,
    interval_review_calculate,
    interval_review_decide,
)

Method = IntervalReview.Method
CheckKind = IntermediateCheck.Kind
MAX_READINGS = 10_000


class SVGRenderer(NamedRenderer):
    media_type = "image/svg+xml"
    format = "svg"


class IntervalReviewIn(StrictSerializer):
    """The bounds are what the office's policy allows: months to years, unless stated."""

    instrument = VisibleRecord(Instrument)
    method = serializers.ChoiceField(Method.choices)
    min_days = IntegerField(
        min_value=1, max_value=MAX_INTERVAL_DAYS, required=False, help_text="Default: 30."
    )
    max_days = IntegerField(
        min_value=1, max_value=MAX_INTERVAL_DAYS, required=False, help_text="Default: 1826 (five years)."
    )
    min_hours = NumberField(required=False, help_text="Minimum in-use time. Default: 50.")
    max_hours = NumberField(required=False, help_text="Maximum in-use time. Default: 4000.")
    target = NumberField(
        required=False,
        help_text="Reliability target, the fraction of instruments in tolerance. Default: 0.9.",
    )


class IntervalReviewOut(serializers.ModelSerializer):
    calculated_by = serializers.CharField(source="calculated_by.username", read_only=True)
    decided_by = serializers.CharField(source="decided_by.username", read_only=True, allow_null=True)
    reasoning = MessagesField(read_only=True)
    inputs = serializers.SerializerMethodField(help_text="Figures the method used.")
    findings = serializers.SerializerMethodField()

    class Meta:
        model = IntervalReview
        fields = [
            "id", "instrument", "method", "current_days", "proposed_days", "proposed_hours", "reasoning", "inputs", "findings",
            "calculated_at", "calculated_by", "decision", "reason", "decided_at", "decided_by", "interval_policy",
        ]  # fmt: skip

    @extend_schema_field({"type": "object", "additionalProperties": {"type": "number"}})
    def get_inputs(self, review: IntervalReview) -> Any:
        return dict(review.inputs)

    @extend_schema_field(FindingOut(many=True))
    def get_findings(self, review: IntervalReview) -> Any:
        return in_units(review.findings, units_of(self.context["request"]))


class IntervalReviews(Records):
    """Proposed calibration intervals, with reasoning and chart, for a person to accept or reject."""

    model = IntervalReview
    serializer_class = IntervalReviewOut
    writers = FLEET
    related = ("calculated_by", "decided_by")
    filterset_fields = {"instrument": ["exact"], "decision": ["exact"], "method": ["exact"]}
    ordering_fields = ("calculated_at",)

    @documented(request=IntervalReviewIn, responses={201: IntervalReviewOut})
    def create(self, request: Request) -> Response:
        """Calculate the next interval from the calibration results."""
        requested = self.checked(IntervalReviewIn)
        settings = MethodSettings(
            Method(requested["method"]),
            requested.get("min_days", 30),
            requested.get("max_days", 1826),
            requested.get("min_hours", 50.0),
            requested.get("max_hours", 4000.0),
            requested.get("target", 0.9),
        )
        review = interval_review_calculate(
            instrument=requested["instrument"], settings=settings, by=self.user, now=timezone.now()
        )
        return self.answer(self.read_again(review), 201)

    @documented(request=IntervalDecisionIn, responses=IntervalReviewOut)
    @action(detail=True, methods=["post"])
    def decision(self, request: Request, pk: Any = None) -> Response:
        """Accept or reject the interval for new certificates; certificates in force keep their due dates."""
        requested = self.checked(IntervalDecisionIn)
        review = interval_review_decide(
            review=self.get_object(),
            decision=IntervalReview.Decision(requested["decision"]),
            reason=requested["reason"],
            by=self.user,
            now=timezone.now(),
        )
        return self.answer(self.read_again(review))


class IntervalReviewChart(UnitsMixin):
    """The chart of a review."""

    throttled_as = "report"
    renderer_classes = [JSONRenderer, SVGRenderer]

    @documented(responses={(200, "image/svg+xml"): OpenApiTypes.STR})
    def get(self, request: Request, pk: Any) -> Any:
        """What calibrations found over time, with limits, line and the date proposed, as SVG."""
        review = get_object_or_404(IntervalReview.objects.visible_to(request.user), pk=pk)
        svg = review_chart(review.chart, review.history_from, review.proposed_days, units_of(request))
        return HttpResponse(svg, content_type="image/svg+xml")


class StepIn(StrictSerializer):
    certified = QuantityIn("length")
    standard_uncertainty = QuantityIn("length", lowest=0.0)
    readings = serializers.ListField(child=QuantityIn("length"), min_length=1, max_length=100)


@extend_schema_field(quantity_schema("time_difference"))
class CheckQuantityIn(serializers.JSONField):
    """A quantity whose kind depends on the check, so that `CheckIn` reads it."""


class CheckLimitsIn(StrictSerializer):
    """In the quantity of the check: a time difference, a length, a difference of temperatures."""

    warning = CheckQuantityIn(
        help_text="Warning limit: time difference, length or temperature difference, as the kind of the check."
    )
    action = CheckQuantityIn(
        help_text="Action limit: time difference, length or temperature difference, as the kind of the check."
    )


class MeasuredIn(StrictSerializer):
    value = QuantityIn("volume_flow")
    standard_uncertainty = QuantityIn("volume_flow", lowest=0.0)


class ReferenceIn(StrictSerializer):
    value = QuantityIn("temperature")
    standard_uncertainty = QuantityIn("temperature_difference", lowest=0.0)


class CheckIn(StrictSerializer):
    kind = serializers.ChoiceField(CheckKind.choices)
    performed_at = serializers.DateTimeField()
    limits = CheckLimitsIn(required=False, help_text="Warning and action limit; not for two meters.")
    time_differences = serializers.ListField(
        child=QuantityIn("time_difference"),
        min_length=8,
        max_length=MAX_READINGS,
        required=False,
        help_text="Time differences at zero flow, for the kind `zero-flow`.",
    )
    steps = serializers.ListField(
        child=StepIn(),
        min_length=1,
        max_length=50,
        required=False,
        help_text="Steps of the block with their readings, for the kind `step-block`.",
    )
    resolution = CheckQuantityIn(
        required=False, help_text="Smallest step of the display, in the quantity of the limits."
    )
    temperatures = serializers.ListField(
        child=QuantityIn("temperature"),
        min_length=1,
        max_length=100,
        required=False,
        help_text="Indicated temperatures, for the kind `reference`.",
    )
    reference = ReferenceIn(required=False, help_text="Reference temperature, for the kind `reference`.")
    other_instrument = VisibleRecord(
        Instrument, required=False, help_text="Id of the second meter, for the kind `two-meters`."
    )
    reading = MeasuredIn(
        required=False, help_text="Volume flow indicated by this meter, for the kind `two-meters`."
    )
    other_reading = MeasuredIn(
        required=False, help_text="Volume flow indicated by the second meter, for the kind `two-meters`."
    )
    shared_uncertainty = QuantityIn(
        "volume_flow",
        required=False,
        lowest=0.0,
        help_text="Common standard uncertainty of both meters, for two-meters.",
    )
    note = TextField(max_length=2000, required=False, allow_blank=True)
    corrects = VisibleRecord(IntermediateCheck, required=False)
    reason = TextField(
        max_length=2000, required=False, allow_blank=True, help_text="Reason for a correction."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """What each kind takes, and nothing else; limits in the quantity of the check."""
        kind = attrs["kind"]
        wanted = NEEDED[kind]
        missing = {
            name: error_detail(message("required", quantity=field_name(name)))
            for name in wanted
            if name not in attrs
        }
        if missing:
            raise serializers.ValidationError(missing)
        odd = [name for names in NEEDED.values() for name in names if name in attrs and name not in wanted]
        if odd:
            raise rejection("not-taken", field=odd[0])
        quantity = QUANTITY.get(kind)
        if quantity:
            for name in ("warning", "action"):
                attrs["limits"][name] = _read(quantity, attrs["limits"][name], f"limits.{name}")
            if "resolution" in attrs:
                attrs["resolution"] = _read(quantity, attrs["resolution"], "resolution")
        return attrs


NEEDED: dict[str, tuple[str, ...]] = {
    CheckKind.ZERO_FLOW: ("limits", "time_differences"),
    CheckKind.STEP_BLOCK: ("limits", "steps"),
    CheckKind.REFERENCE: ("limits", "temperatures", "reference"),
    CheckKind.TWO_METERS: ("other_instrument", "reading", "other_reading"),
}
QUANTITY = {
    CheckKind.ZERO_FLOW: "time_difference",
    CheckKind.STEP_BLOCK: "length",
    CheckKind.REFERENCE: "temperature_difference",
}


def _read(kind: str, value: Any, name: str) -> Any:
    try:
        return QuantityIn(kind).run_validation(value)
    except serializers.ValidationError as error:
        raise serializers.ValidationError({name: error.detail}) from None


class CheckOut(serializers.ModelSerializer):
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    deviation = serializers.SerializerMethodField()
    expanded_uncertainty = serializers.SerializerMethodField()
    warning_limit = serializers.SerializerMethodField()
    action_limit = serializers.SerializerMethodField()
    sentences = MessagesField(read_only=True)
    findings = serializers.SerializerMethodField()
    instrument_state = serializers.CharField(source="instrument.state", read_only=True)

    class Meta:
        model = IntermediateCheck
        fields = [
            "id", "instrument", "other_instrument", "kind", "performed_at", "outcome", "deviation", "expanded_uncertainty", "warning_limit",
            "action_limit", "sentences", "findings", "note", "corrects", "recorded_at", "recorded_by", "instrument_state",
        ]  # fmt: skip

    def _shown(self, check: IntermediateCheck, value: float) -> Any:
        return in_units({"si": value, "kind": check.quantity}, units_of(self.context["request"]))

    @extend_schema_field(QuantityOut)
    def get_deviation(self, check: IntermediateCheck) -> Any:
        return self._shown(check, check.deviation_si)

    @extend_schema_field(QuantityOut)
    def get_expanded_uncertainty(self, check: IntermediateCheck) -> Any:
        return self._shown(check, check.expanded_uncertainty_si)

    @extend_schema_field(QuantityOut)
    def get_warning_limit(self, check: IntermediateCheck) -> Any:
        return self._shown(check, check.warning_limit_si)

    @extend_schema_field(QuantityOut)
    def get_action_limit(self, check: IntermediateCheck) -> Any:
        return self._shown(check, check.action_limit_si)

    @extend_schema_field(FindingOut(many=True))
    def get_findings(self, check: IntermediateCheck) -> Any:
        return in_units(check.findings, units_of(self.context["request"]))


class RunOut(serializers.Serializer):
    kind = serializers.ChoiceField(get_args(RunKind), help_text="Pattern of the checks.")
    first = serializers.IntegerField(help_text="Index of the first check of the run, from 0.")
    last = serializers.IntegerField(help_text="Index of the last check of the run, from 0.")


class TrendOut(serializers.Serializer):
    significant = serializers.BooleanField()
    days_to_action = serializers.FloatField(allow_null=True)
    runs = RunOut(many=True)
    sentences = MessageOut(many=True)
    findings = FindingOut(many=True)


class ChecksOut(serializers.Serializer):
    kind = serializers.CharField()
    trend = TrendOut(allow_null=True, help_text="Trend of the checks; null with fewer than three checks.")
    checks = CheckOut(many=True)


class InstrumentChecks(Once):
    """Checks of one instrument between its calibrations."""

    writers = FIELD | FLEET

    @documented(responses=ChecksOut(many=True))
    def get(self, request: Request, pk: Any) -> Response:
        """Its checks by kind, in order of time, with where they lead."""
        instrument = _instrument(request, pk)
        answer = []
        for kind in CheckKind:
            history = check_history(instrument, kind)
            if not history:
                continue
            trend = check_trend_of(instrument, kind)
            checks = CheckOut(history, many=True, context={"request": request}).data
            answer.append(
                {
                    "kind": kind.value,
                    "trend": in_units(trend_json(trend), units_of(request)) if trend else None,
                    "checks": checks,
                }
            )
        return Response(answer)

    @documented(request=CheckIn, responses={201: CheckOut})
    def post(self, request: Request, pk: Any) -> Response:
        """Record a check; out of limits the instrument is quarantined."""
        instrument = _instrument(request, pk)
        form = CheckIn(data=request.data, context={"request": request})
        form.is_valid(raise_exception=True)
        requested = form.validated_data
        check = IntermediateCheck(
            instrument=instrument,
            other_instrument=requested.get("other_instrument"),
            corrects=requested.get("corrects"),
            kind=requested["kind"],
            performed_at=requested["performed_at"],
            note=requested.get("note", ""),
        )
        check_record(
            check=check,
            statement=_stated(requested),
            reason=requested.get("reason", ""),
            by=cast(User, request.user),
            now=timezone.now(),
        )
        instrument.refresh_from_db()
        check.instrument = instrument
        return Response(CheckOut(check, context={"request": request}).data, status=201)


def _stated(requested: dict[str, Any]) -> Statement:
    limits = requested.get("limits")
    names = ("shared_uncertainty", "resolution", "limits")
    typed: dict[str, Any] = {name: requested[name] for name in names if name in requested}
    readings = requested.get("time_differences") or requested.get("temperatures") or ()
    return Statement(
        readings=[one.si for one in readings],
        steps=[
            Step(
                step["certified"].si,
                step["standard_uncertainty"].si,
                tuple(one.si for one in step["readings"]),
            )
            for step in requested.get("steps", ())
        ],
        reference=_measured(requested.get("reference")),
        resolution=requested["resolution"].si if "resolution" in requested else 0.0,
        limits=CheckLimits(limits["warning"].si, limits["action"].si) if limits else None,
        reading=_measured(requested.get("reading")),
        other_reading=_measured(requested.get("other_reading")),
        shared_uncertainty=requested["shared_uncertainty"].si if "shared_uncertainty" in requested else 0.0,
        as_entered=texts(typed),
    )


def _measured(stated: dict[str, Any] | None) -> Measured | None:
    return Measured(stated["value"].si, stated["standard_uncertainty"].si) if stated else None


def _instrument(request: Request, pk: Any) -> Instrument:
    instrument: Instrument = get_object_or_404(Instrument.objects.visible_to(request.user), pk=pk)
    return instrument
