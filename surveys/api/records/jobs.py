"""Technicians, and the jobs they go to."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import StrictSerializer, TextField, VisibleRecord
from surveys.api.permissions import OFFICE
from surveys.api.views import Records, documented
from surveys.models import Instrument, Job, MeasuringPoint, Role, Site, User
from surveys.models.job import JobState
from surveys.services.records import record_create


class TechnicianOut(serializers.ModelSerializer):
    name = serializers.CharField(source="get_full_name", read_only=True)

    class Meta:
        model = User
        fields = ["id", "username", "name"]


class Technicians(Records):
    """People who go to sites."""

    model = User
    serializer_class = TechnicianOut
    filterset_fields = {"username": ["exact"]}
    ordering_fields = ("username",)

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return User.objects.none()
        return technicians_visible_to(self.request.user)


def technicians_visible_to(user: Any) -> Any:
    """Technicians a user may see: staff all, a technician themself, a client none."""
    rows = User.objects.filter(role=Role.TECHNICIAN, is_active=True).order_by("username")
    if user.role in Role.office_roles():
        return rows
    return rows.filter(pk=user.pk)


class JobIn(StrictSerializer):
    site = VisibleRecord(Site)
    title = TextField(max_length=200)
    state = serializers.ChoiceField(JobState.choices, required=False)
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    technician = serializers.PrimaryKeyRelatedField(
        queryset=User.objects.filter(role=Role.TECHNICIAN, is_active=True), required=False, allow_null=True
    )
    measuring_points = VisibleRecord(MeasuringPoint, many=True, required=False)
    kit = VisibleRecord(Instrument, many=True, required=False)
    note = TextField(max_length=5000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        start, end = attrs.get("starts_at"), attrs.get("ends_at")
        if start and end and end <= start:
            raise serializers.ValidationError(
                {"ends_at": "A job ends after it starts."}, code="ends-too-early"
            )
        site = attrs.get("site")
        if site and any(point.pipe.site_id != site.id for point in attrs.get("measuring_points", [])):
            raise serializers.ValidationError(
                {"measuring_points": "A point is at another site."}, code="other-site"
            )
        return attrs


class JobChangeIn(JobIn):
    site = None


class JobOut(serializers.ModelSerializer):
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
        ]


class Jobs(Records):
    """Visits to sites to survey measuring points."""

    model = Job
    serializer_class = JobOut
    writers = OFFICE
    prefetched = ("measuring_points", "kit")
    filterset_fields = {
        "site": ["exact"],
        "state": ["exact"],
        "technician": ["exact"],
        "starts_at": ["gte", "lte"],
    }
    ordering_fields = ("starts_at", "title")

    @documented(request=JobIn, responses={201: JobOut})
    def create(self, request: Request) -> Response:
        columns, related = _split(self.checked(JobIn))
        return self.answer(record_create(Job(**columns), related=related), 201)

    @documented(request=JobChangeIn(partial=True), responses=JobOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        columns, related = _split(self.checked(JobChangeIn, partial=True))
        return self.change(request, columns, related)


def _split(asked: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Columns, and what goes into tables of relations."""
    related: dict[str, Any] = {name: asked.pop(name) for name in ("measuring_points", "kit") if name in asked}
    return asked, related
