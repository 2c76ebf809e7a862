"""Policies of the office: what errors are acceptable, how long calibrations hold."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.dispatch.bookings import BookingOut, conflicting_bookings
from surveys.api.fields import in_units, units_of
from surveys.api.fleet.acceptance import DecisionRuleOut, PermissibleErrorOut
from surveys.api.messages import ReasonTextField
from surveys.api.views import Records, documented
from surveys.calibration.conformity import permissible_json
from surveys.calibration.policies import instruments_of_policy
from surveys.inputs.calibrations import DecisionRuleIn, PermissibleErrorIn, limits_and_rule
from surveys.inputs.fields import IntegerField, NumberField, StrictSerializer, TextField, VisibleRecord
from surveys.inputs.rejections import rejection
from surveys.models import AcceptancePolicy, Booking, ErrorCorrectionPolicy, Instrument, IntervalPolicy
from surveys.models.calibration import MAX_INTERVAL_DAYS, MAX_INTERVAL_MONTHS
from surveys.models.instrument import Kind
from surveys.models.role import FLEET
from surveys.services.fleet.calibrations import error_correction_policy_record, policy_record

ABOUT = ["id", "kind", "type_name", "instrument", "reason", "recorded_at", "recorded_by"]


class PolicyIn(StrictSerializer):
    """About one instrument, or about a kind or a type of it."""

    instrument = VisibleRecord(Instrument, required=False)
    kind = serializers.ChoiceField(Kind.choices, required=False)
    type_name = TextField(
        max_length=100, required=False, help_text="Name of the type. Default: every type of the kind."
    )
    reason = TextField(max_length=2000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("instrument" in attrs) == ("kind" in attrs):
            raise rejection("one-of/instrument-or-kind", field="instrument")
        if "instrument" in attrs and "type_name" in attrs:
            raise rejection("one-of/type-without-kind", field="type_name")
        return attrs


class AcceptancePolicyIn(PolicyIn):
    maximum_permissible_error = PermissibleErrorIn()
    decision_rule = DecisionRuleIn()


class AcceptancePolicyOut(serializers.ModelSerializer):
    reason = ReasonTextField(required=False)
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    maximum_permissible_error = serializers.SerializerMethodField()
    decision_rule = serializers.SerializerMethodField()

    class Meta:
        model = AcceptancePolicy
        fields = [*ABOUT, "maximum_permissible_error", "decision_rule"]

    @extend_schema_field(PermissibleErrorOut)
    def get_maximum_permissible_error(self, policy: AcceptancePolicy) -> Any:
        kind = policy.instrument.kind if policy.instrument else policy.kind
        return in_units(permissible_json(policy.limit(), kind), units_of(self.context["request"]))

    @extend_schema_field(DecisionRuleOut)
    def get_decision_rule(self, policy: AcceptancePolicy) -> Any:
        return {"rule": policy.rule().rule, "guard_factor": policy.rule().guard_factor}


class AcceptancePolicies(Records):
    """Permissible error and decision rule for certificates that state none; the latest recorded holds."""

    model = AcceptancePolicy
    serializer_class = AcceptancePolicyOut
    writers = FLEET
    related = ("recorded_by", "instrument")
    filterset_fields = {"instrument": ["exact"], "kind": ["exact"], "type_name": ["exact"]}
    ordering_fields = ("recorded_at",)

    @documented(request=AcceptancePolicyIn, responses={201: AcceptancePolicyOut})
    def create(self, request: Request) -> Response:
        """Record a policy; certificates recorded before keep what they were judged by."""
        requested = self.checked(AcceptancePolicyIn)
        kind = requested["instrument"].kind if "instrument" in requested else requested["kind"]
        limits, typed = limits_and_rule(
            requested["maximum_permissible_error"], requested["decision_rule"], kind
        )
        about = {
            name: requested[name]
            for name in ("instrument", "kind", "type_name", "reason")
            if name in requested
        }
        policy = AcceptancePolicy(**about, as_entered=typed)
        policy.set_acceptance(limits.permissible, limits.rule)
        policy_record(policy, by=self.user, now=timezone.now())
        return self.answer(self.read_again(policy), 201)


class ErrorCorrectionPolicyIn(PolicyIn):
    applied = serializers.BooleanField(help_text="Whether results are corrected by error curves.")
    valid_from = serializers.DateField(help_text="Date of the first survey to which the policy applies.")


class ErrorCorrectionPolicyOut(serializers.ModelSerializer):
    reason = ReasonTextField(required=False)
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    recomputation = serializers.SerializerMethodField(
        help_text="Recalculation of the affected results; null if none."
    )

    class Meta:
        model = ErrorCorrectionPolicy
        fields = [*ABOUT, "applied", "valid_from", "recomputation"]

    @extend_schema_field(serializers.UUIDField(allow_null=True))
    def get_recomputation(self, policy: ErrorCorrectionPolicy) -> Any:
        return next((one.pk for one in policy.recomputations.all()), None)


class ErrorCorrectionPolicies(Records):
    """Whether results are corrected by the error curves of calibrations; without a policy they are not."""

    model = ErrorCorrectionPolicy
    serializer_class = ErrorCorrectionPolicyOut
    writers = FLEET
    related = ("recorded_by", "instrument")
    prefetched = ("recomputations",)
    filterset_fields = {"instrument": ["exact"], "kind": ["exact"], "type_name": ["exact"]}
    ordering_fields = ("recorded_at",)

    @documented(request=ErrorCorrectionPolicyIn, responses={201: ErrorCorrectionPolicyOut})
    def create(self, request: Request) -> Response:
        """Record a policy; what was computed by another decision is recomputed, and the old results stay."""
        policy, _ = error_correction_policy_record(
            policy=ErrorCorrectionPolicy(**self.checked(ErrorCorrectionPolicyIn)),
            by=self.user,
            now=timezone.now(),
        )
        return self.answer(self.read_again(policy), 201)


class IntervalPolicyIn(PolicyIn):
    months = IntegerField(required=False, min_value=1, max_value=MAX_INTERVAL_MONTHS)
    days = IntegerField(required=False, min_value=1, max_value=MAX_INTERVAL_DAYS)
    hours = NumberField(required=False, help_text="Hours of use; needs months or days beside it.")
    remind_days = serializers.ListField(
        child=IntegerField(min_value=1, max_value=730),
        min_length=1,
        max_length=6,
        required=False,
        help_text="Days before the due date at which users are notified, in ascending order. Default: 30, 60 and 90.",
    )

    def validate_remind_days(self, value: list[int]) -> list[int]:
        return sorted(set(value))


class IntervalPolicyOut(serializers.ModelSerializer):
    reason = ReasonTextField(required=False)
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    remind_days = serializers.ListField(child=serializers.IntegerField())

    class Meta:
        model = IntervalPolicy
        fields = [*ABOUT, "months", "days", "hours", "remind_days"]


class IntervalPolicyCreatedOut(IntervalPolicyOut):
    booking_conflicts = BookingOut(
        many=True, help_text="Bookings of the policy's instruments with a current conflict."
    )

    class Meta(IntervalPolicyOut.Meta):
        fields = [*IntervalPolicyOut.Meta.fields, "booking_conflicts"]


class IntervalPolicies(Records):
    """How long calibrations hold: months, days, hours of use, whichever comes first; the latest recorded holds."""

    model = IntervalPolicy
    serializer_class = IntervalPolicyOut
    writers = FLEET
    related = ("recorded_by", "instrument")
    filterset_fields = {"instrument": ["exact"], "kind": ["exact"], "type_name": ["exact"]}
    ordering_fields = ("recorded_at",)

    @documented(request=IntervalPolicyIn, responses={201: IntervalPolicyCreatedOut})
    def create(self, request: Request) -> Response:
        """Record a policy; due dates already set by an earlier one stay."""
        policy = IntervalPolicy(**self.checked(IntervalPolicyIn))
        policy_record(policy, by=self.user, now=timezone.now())
        answer = self.answer(self.read_again(policy), 201)
        held = Booking.objects.visible_to(self.user).filter(instrument__in=instruments_of_policy(policy))
        answer.data["booking_conflicts"] = conflicting_bookings(held, self.user)
        return answer
