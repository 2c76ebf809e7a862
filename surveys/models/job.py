"""Jobs: who goes where, when, with what."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from surveys.models.base import Record
from surveys.models.instrument import Instrument
from surveys.models.measuring_point import MeasuringPoint
from surveys.models.site import Site


class JobState(models.TextChoices):
    DRAFT = "draft", "draft"
    PLANNED = "planned", "planned"
    ON_SITE = "on-site", "on site"
    IN_REVIEW = "in-review", "in review"
    ISSUED = "issued", "issued"
    CANCELLED = "cancelled", "cancelled"


class Job(Record):
    """A visit to a site to survey some of its measuring points."""

    CLIENT_PATH = "site__client"
    SITE_PATH = "site"

    site = models.ForeignKey(Site, models.PROTECT, related_name="jobs")
    title = models.CharField(max_length=200)
    state = models.CharField(max_length=10, choices=JobState, default=JobState.DRAFT)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="jobs"
    )
    measuring_points = models.ManyToManyField(MeasuringPoint, blank=True, related_name="jobs")
    kit = models.ManyToManyField(Instrument, blank=True, related_name="jobs")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-starts_at", "-id"]
        constraints = [
            models.CheckConstraint(name="job_ends_after_it_starts", condition=Q(ends_at__gt=F("starts_at")))
        ]

    def __str__(self) -> str:
        return self.title
