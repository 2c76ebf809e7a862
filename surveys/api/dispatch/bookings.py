"""Bookings of technicians and equipment for jobs, with conflicts and alternatives."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django_filters import BooleanFilter
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import in_units
from surveys.api.filters import SetFilter, filters, period
from surveys.api.messages import MessageOut
from surveys.api.views import Records, documented
from surveys.dispatch.availability import (
    conflicts_of,
    instrument_unsuitable_reasons,
    technician_unsuitable_reasons,
)
from surveys.dispatch.suitable_kits import fit_for_every_point
from surveys.inputs.dispatch import HandoverIn
from surveys.inputs.fields import StrictSerializer, VisibleRecord
from surveys.inputs.rejections import rejection
from surveys.models import Booking, BookingEvent, Instrument, Job, Role, User
from surveys.models.instrument import Kind
from surveys.models.role import FIELD, OFFICE
from surveys.services.dispatch.bookings import (
    HandoverNote,
    booking_cancel,
    booking_check_in,
    booking_check_out,
    booking_expect,
    booking_make,
    booking_move,
)

SHOWN = ("instrument", "technician", "job")


class BookingIn(StrictSerializer):
    job = VisibleRecord(Job)
    instrument = VisibleRecord(Instrument, required=False, allow_null=True)
    technician = serializers.PrimaryKeyRelatedField(
        queryset=User.objects.filter(role=Role.TECHNICIAN, is_active=True), required=False, allow_null=True
    )
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if (attrs.get("instrument") is None) == (attrs.get("technician") is None):
            raise rejection("instrument-or-technician", field="instrument")
        return in_order(attrs)


def in_order(attrs: dict[str, Any]) -> dict[str, Any]:
    """Reject a span that ends before it starts."""
    if attrs["ends_at"] <= attrs["starts_at"]:
        raise rejection("ends-too-early/time-range", field="ends_at")
    return attrs


class SpanIn(StrictSerializer):
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return in_order(attrs)


class ExpectedBackIn(StrictSerializer):
    expected_back = serializers.DateTimeField(
        allow_null=True, help_text="Expected time of return; null if the instrument returns in time."
    )


class BookingEventOut(serializers.ModelSerializer):
    class Meta:
        model = BookingEvent
        fields = ["id", "booking", "what", "at", "condition", "note", "recorded_by", "recorded_at"]


class BookingOut(serializers.ModelSerializer):
    conflicts = serializers.SerializerMethodField(help_text="Current conflicts of the booking.")

    class Meta:
        model = Booking
        fields = [
            "id", "job", "instrument", "technician", "starts_at", "ends_at", "expected_back", "cancelled_at",
            "conflicts",
        ]  # fmt: skip

    @extend_schema_field(MessageOut(many=True))
    def get_conflicts(self, booking: Booking) -> Any:
        found = self.context.get("has_conflicts")
        if found is None:
            found = conflicts_of([booking], timezone.now(), self.context["request"].user)
        reasons = found.get(booking.pk, [])
        return in_units([one.stored() for one in reasons], "metric")


class BookingLateOut(BookingOut):
    booking_conflicts = BookingOut(many=True, help_text="Bookings of the instrument with a conflict.")

    class Meta(BookingOut.Meta):
        fields = [*BookingOut.Meta.fields, "booking_conflicts"]


class ReplacementOut(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()


def conflicting_bookings(rows: Any, user: User) -> list[dict[str, Any]]:
    """Those of the bookings that something stands against, with the reasons."""
    ones = list(rows.select_related(*SHOWN))
    found = conflicts_of(ones, timezone.now(), user)
    return list(
        BookingOut([one for one in ones if one.pk in found], many=True, context={"has_conflicts": found}).data
    )


class BookingFilters(filters(Booking, cancelled=SetFilter("cancelled_at"), **period("starts_at"))):  # type: ignore[misc]
    has_conflicts = BooleanFilter(method="by_conflicts")

    class Meta:
        model = Booking
        fields = {
            "job": ["exact"], "instrument": ["exact"], "technician": ["exact"],
        }  # fmt: skip

    def by_conflicts(self, rows: Any, name: str, value: bool) -> Any:
        """Only those something stands against, or only the others."""
        now = timezone.now()
        current = rows.filter(cancelled_at__isnull=True, ends_at__gt=now)
        found = conflicts_of(current, now, self.request.user)
        return rows.filter(pk__in=found) if value else rows.exclude(pk__in=found)


class Bookings(Records):
    """Instruments and technicians held for jobs."""

    model = Booking
    serializer_class = BookingOut
    checks_if_match = False
    related = SHOWN
    filterset_class = BookingFilters
    ordering_fields = ("starts_at",)

    @property
    def writers(self) -> frozenset[str]:  # type: ignore[override]
        """The office books; who works in the field fetches and brings back."""
        return FIELD if self.action in ("check_out", "check_in", "expected_back") else OFFICE

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        context = dict(self.get_serializer_context()) | {
            "has_conflicts": conflicts_of(page or [], timezone.now(), self.user)
        }
        return self.get_paginated_response(BookingOut(page, many=True, context=context).data)

    @documented(request=BookingIn, responses={201: BookingOut})
    def create(self, request: Request) -> Response:
        requested = Booking(**self.checked(BookingIn))
        return self.answer(booking_make(booking=requested, by=self.user, now=timezone.now()), 201)

    @documented(request=SpanIn, responses=BookingOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        """Hold the same for another span."""
        moved = booking_move(
            booking=self.get_object(), **self.checked(SpanIn), by=self.user, now=timezone.now()
        )
        return self.answer(moved)

    @documented(request=None, responses=BookingOut)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: Any = None) -> Response:
        """Let go of what was held."""
        return self.answer(booking_cancel(booking=self.get_object(), now=timezone.now()))

    @documented(request=HandoverIn, responses={201: BookingEventOut})
    @action(detail=True, methods=["post"], url_path="check-out")
    def check_out(self, request: Request, pk: Any = None) -> Response:
        """Hand the instrument out; its holder and location follow."""
        return self._handed_over(booking_check_out)

    @documented(request=HandoverIn, responses={201: BookingEventOut})
    @action(detail=True, methods=["post"], url_path="check-in")
    def check_in(self, request: Request, pk: Any = None) -> Response:
        """Take the instrument back."""
        return self._handed_over(booking_check_in)

    @documented(request=ExpectedBackIn, responses=BookingLateOut)
    @action(detail=True, methods=["post"], url_path="expected-back")
    def expected_back(self, request: Request, pk: Any = None) -> Response:
        """Enter the return date of an instrument; the answer lists the booking conflicts."""
        expected = self.checked(ExpectedBackIn)["expected_back"]
        booking = booking_expect(booking=self.get_object(), expected_back=expected)
        visible = Booking.objects.visible_to(self.user).filter(instrument=booking.instrument_id)
        shown = self.get_serializer(booking).data
        return Response(shown | {"booking_conflicts": conflicting_bookings(visible, self.user)})

    def _handed_over(self, do: Any) -> Response:
        booking, now = self.get_object(), timezone.now()
        event = do(
            booking=booking,
            note=HandoverNote(**({"at": now} | self.checked(HandoverIn))),
            by=self.user,
            now=now,
        )
        location = reverse("booking-detail", kwargs={"pk": booking.pk})
        return Response(BookingEventOut(event).data, status=201, headers={"Location": location})

    @documented(responses=ReplacementOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None, filterset_class=None)
    def alternatives(self, request: Request, pk: Any = None) -> Response:
        """Other instruments of the kind, its own type first, or other technicians, that could be booked instead."""
        booking = self.get_object()
        return Response([{"id": one.pk, "name": str(one)} for one in alternatives_to(booking, self.user)])


def alternatives_to(booking: Booking, user: User) -> Iterable[Any]:
    """What could take the place of what is booked: free, in date, and fit for every point of the job."""
    span = (booking.starts_at, booking.ends_at)
    if booking.instrument is not None:
        own = booking.instrument
        others: list[Any] = list(Instrument.objects.visible_to(user).filter(kind=own.kind).exclude(pk=own.pk))
        others.sort(key=lambda one: one.type_name != own.type_name)
        if own.kind in (Kind.TRANSDUCER_PAIR, Kind.THICKNESS_GAUGE) and booking.job.measuring_points.exists():
            fit = fit_for_every_point(booking.job, user, timezone.now())
            others = [one for one in others if one.pk in fit]
        against = instrument_unsuitable_reasons(others, *span, viewer=user, now=timezone.now())
    else:
        others = list(User.objects.filter(role=Role.TECHNICIAN, is_active=True).exclude(bookings=booking))
        if user.role not in Role.office_roles():
            others = []
        against = technician_unsuitable_reasons(
            others, *span, booking.job.required_qualifications, viewer=user
        )
    return [one for one in others if not against[one.pk]]
