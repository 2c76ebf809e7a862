"""Plans of who does which job when with which kit."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.calculated import FindingOut
from surveys.api.fields import in_units, units_of
from surveys.api.messages import MessageOut, MessageTextField
from surveys.api.views import Records, documented
from surveys.inputs.fields import IntegerField, StrictSerializer, VisibleRecord
from surveys.inputs.rejections import rejection
from surveys.models import DispatchPlan, Job
from surveys.models.job import JobState
from surveys.models.role import OFFICE
from surveys.services.dispatch.plans import plan_accept, plan_request

MAX_JOBS = 500


class PlanIn(StrictSerializer):
    """Name the jobs, or a span in which drafts start."""

    jobs = VisibleRecord(Job, many=True, required=False)
    starts_from = serializers.DateTimeField(
        required=False,
        help_text="Earliest start of the draft jobs to plan; with `starts_to` instead of `jobs`.",
    )
    starts_to = serializers.DateTimeField(required=False)
    time_limit_seconds = IntegerField(
        min_value=1,
        max_value=120,
        required=False,
        help_text="Time limit of the planner in seconds. Default: 30.",
    )
    keep_plan = VisibleRecord(
        DispatchPlan,
        required=False,
        help_text="Id of an earlier plan from which the new plan deviates as little as possible.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        start, end = attrs.get("starts_from"), attrs.get("starts_to")
        if ("jobs" in attrs) == (start is not None or end is not None):
            raise rejection("one-of/jobs-or-period", field="jobs")
        if "jobs" in attrs and not attrs["jobs"]:
            raise rejection("empty", field="jobs")
        if "jobs" not in attrs and (start is None or end is None):
            raise rejection("required/period", field="starts_to")
        if start is not None and end is not None and end <= start:
            raise rejection("ends-too-early/time-range", field="starts_to")
        return attrs


class PlanOut(serializers.ModelSerializer):
    requested_by = serializers.CharField(source="requested_by.username", read_only=True)
    jobs = serializers.ListField(child=serializers.UUIDField())
    accepted = serializers.ListField(child=serializers.UUIDField())
    error = MessageTextField(read_only=True)
    keep_plan = serializers.PrimaryKeyRelatedField(source="keeps", read_only=True, allow_null=True)

    class Meta:
        model = DispatchPlan
        fields = [
            "id", "state", "progress", "error", "jobs", "time_limit_seconds", "keep_plan", "accepted", "requested_at", "requested_by", "started_at",
            "finished_at",
        ]  # fmt: skip


class AssignmentOut(serializers.Serializer):
    job = serializers.UUIDField()
    title = serializers.CharField()
    technician = serializers.UUIDField()
    technician_name = serializers.CharField()
    kit = serializers.CharField()
    instruments = serializers.ListField(child=serializers.UUIDField())
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()


class UnscheduledOut(serializers.Serializer):
    job = serializers.UUIDField()
    title = serializers.CharField(help_text="Title of the job.")
    reason = MessageOut()


class PlanResultOut(serializers.Serializer):
    assignments = AssignmentOut(many=True)
    unscheduled = UnscheduledOut(many=True)
    objective = serializers.IntegerField()
    bound = serializers.IntegerField(help_text="Upper bound of the value of all possible plans.")
    optimality_gap = serializers.FloatField(
        help_text="Largest possible loss against the bound, as a fraction of the bound."
    )
    status = serializers.CharField(help_text="optimal (proven), feasible, or greedy.")
    greedy_objective = serializers.IntegerField()
    explanation = MessageOut(many=True)
    findings = FindingOut(many=True)


class PlanDetailOut(PlanOut):
    outcome = serializers.SerializerMethodField(
        help_text="Result of the plan; null until the plan is finished."
    )

    class Meta(PlanOut.Meta):
        fields = [*PlanOut.Meta.fields, "outcome"]

    @extend_schema_field(PlanResultOut(allow_null=True))
    def get_outcome(self, plan: DispatchPlan) -> Any:
        return in_units(plan.outcome, units_of(self.context["request"]))


class AcceptanceIn(StrictSerializer):
    assignments = serializers.ListField(
        child=serializers.UUIDField(),
        required=False,
        min_length=1,
        max_length=MAX_JOBS,
        help_text="Jobs to plan. Default: all jobs.",
    )


class DispatchPlans(Records):
    """Proposed assignments of jobs to technicians and kits."""

    model = DispatchPlan
    serializer_class = PlanOut
    writers = OFFICE
    related = ("requested_by", "keeps")
    filterset_fields = {"state": ["exact"]}
    ordering_fields = ("requested_at",)

    def get_serializer_class(self) -> Any:
        return PlanOut if self.action == "list" else PlanDetailOut

    @documented(request=PlanIn, responses={202: PlanDetailOut})
    def create(self, request: Request) -> Response:
        """Ask for a plan: it is made in the background, follow it at its own address."""
        requested = self.checked(PlanIn)
        jobs = requested.get("jobs")
        if jobs is None:
            span = {"starts_at__gte": requested["starts_from"], "starts_at__lt": requested["starts_to"]}
            drafts = Job.objects.visible_to(self.user).filter(state=JobState.DRAFT, **span)
            jobs = list(
                drafts.exclude(measuring_points__isnull=True)
                .distinct()
                .order_by("starts_at", "id")[: MAX_JOBS + 1]
            )
        if not 1 <= len(jobs) <= MAX_JOBS:
            raise rejection("jobs-number", field="jobs", jobs=len(jobs), most=MAX_JOBS)
        plan = plan_request(
            jobs=jobs,
            time_limit_seconds=requested.get("time_limit_seconds", 30),
            keeps=requested.get("keep_plan"),
            by=self.user,
            now=timezone.now(),
        )
        return self.answer(self.read_again(plan), 202)

    @documented(request=AcceptanceIn, responses=PlanDetailOut)
    @action(detail=True, methods=["post"])
    def acceptance(self, request: Request, pk: Any = None) -> Response:
        """Book what it proposes, for all of its jobs or those named; all of these or none."""
        named = self.checked(AcceptanceIn).get("assignments")
        jobs = None if named is None else [str(one) for one in named]
        plan = plan_accept(plan=self.get_object(), jobs=jobs, by=self.user, now=timezone.now())
        return self.answer(self.read_again(plan))
