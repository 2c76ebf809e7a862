"""Technicians: where they live and work, what they are qualified for, when they are away."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.dispatch.bookings import conflicting_bookings
from surveys.api.dispatch.technician_forms import (
    AbsenceCreatedOut,
    AbsenceIn,
    AbsenceOut,
    QualificationIn,
    QualificationOut,
    QualificationWithdrawnOut,
    TechnicianIn,
    TechnicianOut,
)
from surveys.api.views import Records, documented
from surveys.models import Absence, Booking, Qualification, Role, User
from surveys.models.role import OFFICE
from surveys.services.dispatch.technicians import absence_cancel, profile_change, qualification_withdraw
from surveys.services.records import record_create


class Technicians(Records):
    """People who go to sites."""

    model = User
    serializer_class = TechnicianOut
    writers = OFFICE
    checks_if_match = False
    related = ("profile",)
    filterset_fields = {"username": ["exact"]}
    ordering_fields = ("username",)

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return User.objects.none()
        return technicians_visible_to(self.request.user).select_related(*self.related)

    @documented(request=TechnicianIn(partial=True), responses=TechnicianOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        """Change where they live and when they work."""
        person = self.get_object()
        self._check_if_match(person)
        profile_change(technician=person, changes=self.checked(TechnicianIn, partial=True))
        return self.answer(self.read_again(person))

    @documented(request=QualificationIn, responses={201: QualificationOut})
    @action(detail=True, methods=["post"], pagination_class=None, filterset_fields=[])
    def qualifications(self, request: Request, pk: Any = None) -> Response:
        """Record what they are qualified for."""
        requested = Qualification(technician=self.get_object(), **self.checked(QualificationIn))
        return Response(QualificationOut(record_create(requested)).data, status=201)

    @documented(responses=QualificationOut(many=True))
    @qualifications.mapping.get
    def list_qualifications(self, request: Request, pk: Any = None) -> Response:
        """What they are or were qualified for."""
        held = self.get_object().qualifications.select_related("certificate_file__received_by")
        return Response(QualificationOut(held, many=True).data)

    @documented(request=None, responses=QualificationWithdrawnOut)
    @action(detail=True, methods=["post"], url_path="qualifications/<uuid:qualification>/withdraw")
    def withdraw(self, request: Request, pk: Any = None, qualification: Any = None) -> Response:
        """Withdraw a qualification; the answer lists the booking conflicts."""
        person = self.get_object()
        found = get_object_or_404(person.qualifications, pk=qualification)
        shown = QualificationOut(qualification_withdraw(qualification=found, now=timezone.now())).data
        broken = conflicting_bookings(Booking.objects.filter(technician=person), self.user)
        return Response(shown | {"booking_conflicts": broken})

    @documented(request=AbsenceIn, responses={201: AbsenceCreatedOut})
    @action(detail=True, methods=["post"], pagination_class=None, filterset_fields=[])
    def absences(self, request: Request, pk: Any = None) -> Response:
        """Record an absence of the technician; the answer lists the booking conflicts."""
        person, now = self.get_object(), timezone.now()
        absence = Absence(
            technician=person, **self.checked(AbsenceIn), recorded_by=self.user, recorded_at=now
        )
        shown = AbsenceOut(record_create(absence), context={"office": True}).data
        broken = conflicting_bookings(Booking.objects.filter(technician=person), self.user)
        return Response(shown | {"booking_conflicts": broken}, status=201)

    @documented(request=None, responses=AbsenceOut)
    @action(detail=True, methods=["post"], url_path="absences/<uuid:absence>/cancel")
    def cancel_absence(self, request: Request, pk: Any = None, absence: Any = None) -> Response:
        """They are there after all."""
        found = get_object_or_404(self.get_object().absences, pk=absence)
        cancelled = absence_cancel(absence=found, now=timezone.now())
        return Response(AbsenceOut(cancelled, context={"office": True}).data)

    @documented(responses=AbsenceOut(many=True))
    @absences.mapping.get
    def list_absences(self, request: Request, pk: Any = None) -> Response:
        """When they are away; why, only to the office."""
        context = {"office": self.user.role in Role.office_roles()}
        return Response(AbsenceOut(self.get_object().absences.all(), many=True, context=context).data)


def technicians_visible_to(user: Any) -> Any:
    """Technicians a user may see: staff all, a technician themself, a client none."""
    rows = User.objects.filter(role=Role.TECHNICIAN, is_active=True).order_by("username")
    if user.role in Role.office_roles():
        return rows
    return rows.filter(pk=user.pk)
