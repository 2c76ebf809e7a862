"""What the site's own meter said while a survey was made."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from surveys.models.base import Record, as_entered_field
from surveys.models.survey import Survey


class SiteMeterReading(Record):
    """The flow by the site's own meter over the time of a survey: immutable; stated anew, the old one stays.

    Nothing is computed from it. It stands beside the survey's result and moves with none of its doubts.
    """

    class ReadingType(models.TextChoices):
        AVERAGE = "average", "mean over the time of the survey"
        SPOT = "spot", "read once"

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    survey = models.ForeignKey(Survey, models.PROTECT, related_name="site_meter_readings")
    meter = models.CharField(max_length=100, help_text="What the site calls its meter.")
    reading_type = models.CharField(max_length=7, choices=ReadingType)
    volume_flow_m3_s = models.FloatField()
    expanded_uncertainty_m3_s = models.FloatField(
        null=True, blank=True, help_text="For about 95 % (k = 2), as the site states it; null: not stated."
    )
    note = models.TextField(blank=True)
    reason = models.TextField(blank=True, help_text="Why it was stated anew.")
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    replaced_at = models.DateTimeField(null=True, blank=True)
    as_entered = as_entered_field()

    class Meta:
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
