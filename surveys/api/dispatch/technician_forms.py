"""What is said of a technician: home base and hours, qualifications, absences."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from surveys.api.dispatch.bookings import BookingOut, in_order
from surveys.api.files import DocumentOut
from surveys.inputs.fields import NumberField, StrictSerializer, TextField
from surveys.inputs.rejections import rejection
from surveys.models import Absence, Qualification, User

WEEKDAYS = frozenset("0123456")


@extend_schema_field({"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$", "examples": ["08:00"]})
class ClockTimeField(serializers.TimeField):
    """A time of day without a time zone."""


class TechnicianIn(StrictSerializer):
    home_base = TextField(max_length=200, allow_blank=True)
    latitude = NumberField(source="latitude_deg", allow_null=True, min_value=-90, max_value=90)
    longitude = NumberField(source="longitude_deg", allow_null=True, min_value=-180, max_value=180)
    time_zone = TextField(
        max_length=64, help_text="Time zone of the working hours, such as Europe/Copenhagen."
    )
    working_hours = serializers.DictField(
        child=serializers.ListField(child=ClockTimeField(format="%H:%M"), min_length=2, max_length=2),
        help_text='Weekday ("0" Monday to "6" Sunday) to begin and end; a day without an entry is free, an empty object means no entry.',
    )

    def validate_working_hours(self, hours: dict[str, Any]) -> dict[str, list[str]]:
        for day, (begin, end) in hours.items():
            if day not in WEEKDAYS:
                raise rejection("weekday-unknown", given=str(day)[:20])
            if end <= begin:
                raise rejection("ends-too-early/time-range")
        return {day: [f"{time:%H:%M}" for time in both] for day, both in hours.items()}


class TechnicianOut(serializers.ModelSerializer):
    """What was never stated of somebody is null."""

    name = serializers.CharField(source="get_full_name", read_only=True)
    home_base = serializers.CharField(source="profile.home_base", allow_null=True, read_only=True)
    latitude = serializers.FloatField(source="profile.latitude_deg", allow_null=True, read_only=True)
    longitude = serializers.FloatField(source="profile.longitude_deg", allow_null=True, read_only=True)
    time_zone = serializers.CharField(source="profile.time_zone", allow_null=True, read_only=True)
    working_hours = serializers.DictField(
        child=serializers.ListField(child=serializers.CharField()),
        source="profile.working_hours", allow_null=True, read_only=True,
    )  # fmt: skip

    class Meta:
        model = User
        fields = [
            "id", "username", "name", "home_base", "latitude", "longitude", "time_zone", "working_hours",
        ]  # fmt: skip


class QualificationIn(StrictSerializer):
    slug = serializers.SlugField(max_length=60, help_text="Code by which jobs require the qualification.")
    name = TextField(max_length=200)
    certificate_number = TextField(max_length=100, required=False, allow_blank=True)
    issued_on = serializers.DateField()
    expires_on = serializers.DateField(
        required=False,
        allow_null=True,
        help_text="Last day on which the qualification is valid; null: no expiry.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        expires = attrs.get("expires_on")
        if expires and expires < attrs["issued_on"]:
            raise rejection("expires-too-early", field="expires_on")
        return attrs


class QualificationOut(serializers.ModelSerializer):
    certificate_file = serializers.SerializerMethodField()

    class Meta:
        model = Qualification
        fields = [
            "id", "slug", "name", "certificate_number", "issued_on", "expires_on", "withdrawn_at", "certificate_file",
        ]  # fmt: skip

    @extend_schema_field(DocumentOut(allow_null=True))
    def get_certificate_file(self, qualification: Qualification) -> Any:
        document = getattr(qualification, "certificate_file", None)
        return document and DocumentOut(document).data


class QualificationWithdrawnOut(QualificationOut):
    booking_conflicts = BookingOut(many=True, help_text="Bookings of the technician with a current conflict.")

    class Meta(QualificationOut.Meta):
        fields = [*QualificationOut.Meta.fields, "booking_conflicts"]


class AbsenceIn(StrictSerializer):
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    reason = TextField(max_length=2000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return in_order(attrs)


class AbsenceOut(serializers.ModelSerializer):
    reason = serializers.SerializerMethodField(
        help_text="Reason for the absence; empty for users outside the office."
    )

    class Meta:
        model = Absence
        fields = ["id", "starts_at", "ends_at", "reason", "cancelled_at"]

    def get_reason(self, absence: Absence) -> str:
        return absence.reason if self.context.get("office") else ""


class AbsenceCreatedOut(AbsenceOut):
    booking_conflicts = BookingOut(many=True, help_text="Bookings of the technician with a current conflict.")

    class Meta(AbsenceOut.Meta):
        fields = [*AbsenceOut.Meta.fields, "booking_conflicts"]
