"""Readings of the site's own meter during a survey."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record, as_entered_field
from surveys.models.survey import Survey


class SiteMeterReading(Record):
    """Flow by the site's own meter during a survey: immutable; a replacement keeps the old row.

    Nothing is calculated from it. It is compared with the result of the survey and is independent of its uncertainties.
    """

    class ReadingType(models.TextChoices):
        AVERAGE = "average", _("average over the survey")
        SPOT = "spot", _("spot reading")

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    survey = models.ForeignKey(
        Survey, models.PROTECT, related_name="site_meter_readings", verbose_name=_("survey")
    )
    meter = models.CharField(_("meter"), max_length=100, help_text=_("Name of the site meter."))
    reading_type = models.CharField(_("reading type"), max_length=7, choices=ReadingType)
    volume_flow_m3_s = models.FloatField(_("volume flow (m³/s)"))
    expanded_uncertainty_m3_s = models.FloatField(
        _("expanded uncertainty (m³/s)"),
        null=True,
        blank=True,
        help_text=_("Coverage probability about 95 % (k = 2), as stated by the site; empty if not stated."),
    )
    note = models.TextField(_("note"), blank=True)
    reason = models.TextField(_("reason"), blank=True, help_text=_("Reason for the replacement."))
    recorded_at = models.DateTimeField(_("recorded at"))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )
    replaced_at = models.DateTimeField(_("replaced at"), null=True, blank=True)
    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("site meter reading")
        verbose_name_plural = _("site meter readings")
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                name="site_meter_reading_one_in_force",
                fields=["survey"],
                condition=Q(replaced_at__isnull=True),
            ),
            models.CheckConstraint(
                name="site_meter_reading_uncertainty_above_zero",
                condition=Q(expanded_uncertainty_m3_s__isnull=True) | Q(expanded_uncertainty_m3_s__gt=0),
            ),
        ]
