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
    JOB_PATH = "pk"

    site = models.ForeignKey(Site, models.PROTECT, related_name="jobs")
    title = models.CharField(max_length=200)
    state = models.CharField(max_length=10, choices=JobState, default=JobState.DRAFT)
    starts_at = models.DateTimeField(help_text="The planned span; bookings hold people and kit for it.")
    ends_at = models.DateTimeField()
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="jobs"
    )
    measuring_points = models.ManyToManyField(MeasuringPoint, blank=True, related_name="jobs")
    kit = models.ManyToManyField(Instrument, blank=True, related_name="jobs")
    note = models.TextField(blank=True)
    earliest_start = models.DateTimeField(
        null=True, blank=True, help_text="Window it must lie in; none: not before the planned start."
    )
    latest_end = models.DateTimeField(null=True, blank=True)
    expected_hours = models.FloatField(null=True, blank=True, help_text="Of work on site.")
    priority = models.PositiveSmallIntegerField(default=3, help_text="1 most pressing, 5 least.")
    required_qualifications = models.JSONField(
        default=list, blank=True, help_text="Slugs of what its technician must be qualified for."
    )

    class Meta:
        ordering = ["-starts_at", "-id"]
        indexes = [models.Index(fields=["-starts_at", "-id"], name="job_by_time")]
        constraints = [
            models.CheckConstraint(name="job_ends_after_it_starts", condition=Q(ends_at__gt=F("starts_at"))),
            models.CheckConstraint(
                name="job_window_ends_after_it_starts",
                condition=Q(earliest_start__isnull=True)
                | Q(latest_end__isnull=True)
                | Q(latest_end__gt=F("earliest_start")),
            ),
            models.CheckConstraint(
                name="job_lies_in_its_window",
                condition=(Q(earliest_start__isnull=True) | Q(starts_at__gte=F("earliest_start")))
                & (Q(latest_end__isnull=True) | Q(ends_at__lte=F("latest_end"))),
            ),
            models.CheckConstraint(
                name="job_expected_hours_positive",
                condition=Q(expected_hours__isnull=True) | Q(expected_hours__gt=0),
            ),
            models.CheckConstraint(name="job_priority_1_to_5", condition=Q(priority__gte=1, priority__lte=5)),
        ]

    def __str__(self) -> str:
        return self.title


class JobStatusChange(Record):
    """One move of a job from state to state: who, when and why; never changed."""

    CLIENT_PATH = "job__site__client"
    JOB_PATH = "job"

    job = models.ForeignKey(Job, models.PROTECT, related_name="status_changes")
    before = models.CharField(max_length=10, choices=JobState)
    state = models.CharField(max_length=10, choices=JobState)
    reason = models.TextField()
    changed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ["-changed_at", "-id"]
        constraints = [models.CheckConstraint(name="job_status_change_has_reason", condition=~Q(reason=""))]
