"""Technicians: qualifications, home base, working hours and absences."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record, VisibleQuerySet
from surveys.models.site import coordinates_possible, validate_time_zone
from surveys.models.user import User


class OfTechnicianQuerySet(VisibleQuerySet):
    """Rows of technicians: the office sees all, technicians their own, clients none."""

    def _of_technician(self, user: User) -> Any:
        return self.filter(technician=user)


class TechnicianProfile(Record):
    """Home base and working hours of a technician.

    `working_hours` is weekday ("0" Monday to "6" Sunday) -> ["08:00", "16:00"] in `time_zone`; a weekday left out is free, and
    an empty mapping means that none are entered.
    """

    technician = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="profile", verbose_name=_("technician")
    )
    home_base = models.CharField(_("home base"), max_length=200, blank=True)
    latitude_deg = models.FloatField(_("latitude (°)"), null=True, blank=True)
    longitude_deg = models.FloatField(_("longitude (°)"), null=True, blank=True)
    time_zone = models.CharField(
        _("time zone"), max_length=64, default="UTC", validators=[validate_time_zone]
    )
    working_hours = models.JSONField(_("working hours"), default=dict, blank=True)

    objects = OfTechnicianQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        verbose_name = _("technician profile")
        verbose_name_plural = _("technician profiles")
        constraints = [coordinates_possible("technician")]


class Qualification(Record):
    """Qualification of a technician, and its last valid day."""

    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="qualifications", verbose_name=_("technician")
    )
    slug = models.SlugField(
        _("slug"), max_length=60, help_text=_("Identifier used by jobs, e.g. confined-space.")
    )
    name = models.CharField(_("name"), max_length=200)
    certificate_number = models.CharField(_("certificate number"), max_length=100, blank=True)
    issued_on = models.DateField(_("issued on"))
    expires_on = models.DateField(
        _("expires on"), null=True, blank=True, help_text=_("Last valid day; empty: does not expire.")
    )
    withdrawn_at = models.DateTimeField(_("withdrawn at"), null=True, blank=True)

    objects = OfTechnicianQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        verbose_name = _("qualification")
        verbose_name_plural = _("qualifications")
        ordering = ["slug", "-issued_on", "-id"]
        constraints = [
            models.CheckConstraint(
                name="qualification_expires_after_issue",
                condition=Q(expires_on__isnull=True) | Q(expires_on__gte=F("issued_on")),
            )
        ]


class Absence(Record):
    """Span in which a technician is absent; only the office sees the reason."""

    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="absences", verbose_name=_("technician")
    )
    starts_at = models.DateTimeField(_("start"))
    ends_at = models.DateTimeField(_("end"))
    reason = models.TextField(_("reason"), blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )
    recorded_at = models.DateTimeField(_("recorded at"))
    cancelled_at = models.DateTimeField(_("cancelled at"), null=True, blank=True)

    objects = OfTechnicianQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        verbose_name = _("absence")
        verbose_name_plural = _("absences")
        ordering = ["starts_at", "id"]
        constraints = [
            models.CheckConstraint(
                name="absence_ends_after_it_starts", condition=Q(ends_at__gt=F("starts_at"))
            )
        ]
