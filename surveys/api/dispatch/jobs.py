"""Jobs, and their moves."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.http import Http404
from django.utils import timezone
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from compute.base.messages import at
from surveys.api.dispatch.bookings import BookingOut, conflicting_bookings
from surveys.api.dispatch.suitability import CandidateOut, KitRowOut, candidate_shown, kit_shown
from surveys.api.dispatch.technicians import technicians_visible_to
from surveys.api.fields import units_of
from surveys.api.filters import RecordFilter, SearchFilter, filters, period
from surveys.api.messages import ReasonTextField
from surveys.api.views import Records, documented
from surveys.dispatch.suitable_kits import suitable_kits
from surveys.dispatch.suitable_technicians import suitable_technicians
from surveys.inputs.fields import IntegerField, NumberField, StrictSerializer, TextField, VisibleRecord
from surveys.inputs.rejections import rejection
from surveys.models import (
    Booking,
    Instrument,
    Job,
    JobStatusChange,
    MeasuringPoint,
    Role,
    Site,
    User,
)
from surveys.models.job import JobState
from surveys.models.role import OFFICE
from surveys.services.dispatch.jobs import POINTLESS, job_move, plannable
from surveys.services.records import record_create


class JobIn(StrictSerializer):
    site = VisibleRecord(Site)
    title = TextField(max_length=200)
    state = serializers.ChoiceField(
        [JobState.DRAFT, JobState.PLANNED],
        required=False,
        help_text="Status of a new job; `status-changes/` changes the status later.",
    )
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    technician = serializers.PrimaryKeyRelatedField(
        queryset=User.objects.filter(role=Role.TECHNICIAN, is_active=True), required=False, allow_null=True
    )
    measuring_points = VisibleRecord(MeasuringPoint, many=True, required=False)
    kit = VisibleRecord(Instrument, many=True, required=False)
    note = TextField(max_length=5000, required=False, allow_blank=True)
    earliest_start = serializers.DateTimeField(required=False, allow_null=True)
    latest_end = serializers.DateTimeField(required=False, allow_null=True)
    expected_hours = NumberField(required=False, allow_null=True, min_value=0.01, max_value=10_000)
    priority = IntegerField(required=False, min_value=1, max_value=5)
    required_qualifications = serializers.ListField(
        child=serializers.SlugField(max_length=60), max_length=50, required=False
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        start, end = self._then(attrs, "starts_at"), self._then(attrs, "ends_at")
        if end <= start:
            raise rejection("ends-too-early/time-range", field="ends_at")
        earliest, latest = self._then(attrs, "earliest_start"), self._then(attrs, "latest_end")
        if earliest and latest and latest <= earliest:
            raise rejection("ends-too-early/time-range", field="latest_end")
        if earliest and start < earliest:
            raise rejection("outside-window/start", field="starts_at", earliest=at(earliest))
        if latest and end > latest:
            raise rejection("outside-window/end", field="ends_at", latest=at(latest))
        site = self._then(attrs, "site")
        if any(point.pipe.site_id != site.pk for point in attrs.get("measuring_points", [])):
            raise rejection("other-site/measuring-point", field="measuring_points")
        return attrs

    def _then(self, attrs: dict[str, Any], name: str) -> Any:
        """What would stand in the job: as asked for, or as it is."""
        return attrs[name] if name in attrs else getattr(self.instance, name, None)


class JobChangeIn(JobIn):
    site = None
    state = serializers.ChoiceField(
        JobState.choices, help_text="Status of the job; a change requires a `reason`."
    )
    reason = TextField(
        max_length=2000, required=False, allow_blank=True, help_text="Reason for a status change."
    )


class JobOut(serializers.ModelSerializer):
    required_qualifications = serializers.ListField(child=serializers.SlugField(), read_only=True)

    class Meta:
        model = Job
        fields = [
            "id",
            "site",
            "title",
            "state",
            "starts_at",
            "ends_at",
            "technician",
            "measuring_points",
            "kit",
            "note",
            "earliest_start",
            "latest_end",
            "expected_hours",
            "priority",
            "required_qualifications",
        ]


class JobStatusChangeIn(StrictSerializer):
    state = serializers.ChoiceField(JobState.choices)
    reason = TextField(max_length=2000)


class JobStatusChangeOut(serializers.ModelSerializer):
    reason = ReasonTextField()
    changed_by = serializers.CharField(source="changed_by.username", read_only=True)

    class Meta:
        model = JobStatusChange
        fields = ["id", "before", "state", "reason", "changed_by", "changed_at"]


class JobChangedOut(JobOut):
    booking_conflicts = BookingOut(many=True, help_text="Bookings of the job with a current conflict.")

    class Meta(JobOut.Meta):
        fields = [*JobOut.Meta.fields, "booking_conflicts"]


class Jobs(Records):
    """Visits to sites to survey measuring points."""

    model = Job
    serializer_class = JobOut
    writers = OFFICE
    prefetched = ("measuring_points", "kit")
    filterset_class = filters(
        Job,
        "site",
        "state",
        "technician",
        client=RecordFilter("site__client"),
        search=SearchFilter("title"),
        **period("starts_at"),
    )
    ordering_fields = ("starts_at", "title")

    @documented(request=JobIn, responses={201: JobOut})
    def create(self, request: Request) -> Response:
        columns, related = _split(self.checked(JobIn))
        if columns.get("state") == JobState.PLANNED:
            plannable(related.get("measuring_points", []))
        return self.answer(record_create(Job(**columns), related=related), 201)

    @documented(request=JobChangeIn(partial=True), responses=JobChangedOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        """Change it, and move it on if another `state` is asked for; both or neither."""
        job = self.get_object()
        columns, related = _split(self.checked(JobChangeIn, partial=True, instance=job))
        state, reason = columns.pop("state", job.state), columns.pop("reason", "")
        with transaction.atomic():
            if state == job.state and state not in POINTLESS and "measuring_points" in related:
                plannable(related["measuring_points"])
            answer = self.change(request, columns, related)
            if state != job.state:
                job_move(job=job, state=state, reason=reason, by=self.user, now=timezone.now())
                answer = self.answer(self.read_again(job))
        answer.data["booking_conflicts"] = conflicting_bookings(Booking.objects.filter(job=pk), self.user)
        return answer

    @documented(responses=CandidateOut(many=True))
    @action(
        detail=True,
        methods=["get"],
        pagination_class=None,
        filterset_class=None,
        url_path="suitable-technicians",
    )
    def suitable_technicians(self, request: Request, pk: Any = None) -> Response:
        """Technicians for the job's span: qualified, there, free, in working hours; those who can first, the nearest first."""
        job = self.get_object()
        found = suitable_technicians(job, technicians_visible_to(self.user), self.user)
        return Response([candidate_shown(one) for one in found])

    @documented(responses=KitRowOut(many=True))
    @action(
        detail=True, methods=["get"], pagination_class=None, filterset_class=None, url_path="suitable-kits"
    )
    def suitable_kits(self, request: Request, pk: Any = None) -> Response:
        """Instruments for the job's span and points: each pair set up against each pipe; the suitable first. For staff."""
        job = self.get_object()
        if self.user.role == Role.CLIENT:
            raise Http404
        return Response(
            [kit_shown(row, units_of(request)) for row in suitable_kits(job, self.user, timezone.now())]
        )

    @documented(request=JobStatusChangeIn, responses={201: JobStatusChangeOut})
    @action(
        detail=True, methods=["post"], pagination_class=None, filterset_class=None, url_path="status-changes"
    )
    def status_changes(self, request: Request, pk: Any = None) -> Response:
        """Move it to another state, with the reason."""
        move = job_move(
            job=self.get_object(), **self.checked(JobStatusChangeIn), by=self.user, now=timezone.now()
        )
        return Response(JobStatusChangeOut(move, context=self.get_serializer_context()).data, status=201)

    @documented(responses=JobStatusChangeOut(many=True))
    @status_changes.mapping.get
    def list_status_changes(self, request: Request, pk: Any = None) -> Response:
        """Every move, the latest first."""
        return Response(
            JobStatusChangeOut(
                self.get_object().status_changes.select_related("changed_by"),
                many=True,
                context=self.get_serializer_context(),
            ).data
        )


def _split(requested: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Columns, and what goes into tables of relations."""
    related: dict[str, Any] = {
        name: requested.pop(name) for name in ("measuring_points", "kit") if name in requested
    }
    return requested, related
