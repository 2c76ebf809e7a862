"""Technicians: what they are qualified for, where they live, when they work and when they are away."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from surveys.models.base import Record, VisibleQuerySet
from surveys.models.site import coordinates_possible, validate_time_zone
from surveys.models.user import User


class OfTechnicianQuerySet(VisibleQuerySet):
    """The office sees all, a technician their own, a client none."""

    def _of_technician(self, user: User) -> Any:
        return self.filter(technician=user)


class TechnicianProfile(Record):
    """Home base and working hours of a technician.

    `working_hours` is weekday ("0" Monday to "6" Sunday) -> ["08:00", "16:00"] by the clocks of `time_zone`; a weekday left out is
    free, and no hours at all means that none were stated.
    """

    technician = models.OneToOneField(settings.AUTH_USER_MODEL, models.PROTECT, related_name="profile")
    home_base = models.CharField(max_length=200, blank=True)
    latitude_deg = models.FloatField(null=True, blank=True)
    longitude_deg = models.FloatField(null=True, blank=True)
    time_zone = models.CharField(max_length=64, default="UTC", validators=[validate_time_zone])
    working_hours = models.JSONField(default=dict, blank=True)

    objects = OfTechnicianQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [coordinates_possible("technician")]


class Qualification(Record):
    """What a technician is qualified for, and the last day it holds."""

    technician = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="qualifications")
    slug = models.SlugField(max_length=60, help_text="What jobs require it by, such as confined-space.")
    name = models.CharField(max_length=200)
    certificate_number = models.CharField(max_length=100, blank=True)
    issued_on = models.DateField()
    expires_on = models.DateField(null=True, blank=True, help_text="The last day; none: does not expire.")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = OfTechnicianQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        ordering = ["slug", "-issued_on", "-id"]
        constraints = [
            models.CheckConstraint(
                name="qualification_expires_after_issue",
                condition=Q(expires_on__isnull=True) | Q(expires_on__gte=F("issued_on")),
            )
        ]


class Absence(Record):
    """A span in which a technician is away; only the office sees why."""

    technician = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="absences")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    reason = models.TextField(blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    cancelled_at = models.DateTimeField(null=True, blank=True)

    objects = OfTechnicianQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        ordering = ["starts_at", "id"]
        constraints = [
            models.CheckConstraint(
                name="absence_ends_after_it_starts", condition=Q(ends_at__gt=F("starts_at"))
            )
        ]
