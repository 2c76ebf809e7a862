"""Jobs: visits to sites with technicians, times and instruments."""

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record
from surveys.models.instrument import Instrument
from surveys.models.measuring_point import MeasuringPoint
from surveys.models.reasons import ReasonField
from surveys.models.site import Site


class JobState(models.TextChoices):
    DRAFT = "draft", _("draft")
    PLANNED = "planned", _("planned")
    ON_SITE = "on-site", _("on site")
    IN_REVIEW = "in-review", _("in review")
    ISSUED = "issued", _("issued")
    CANCELLED = "cancelled", _("cancelled")


class Job(Record):
    """Visit to a site to survey some of its measuring points."""

    CLIENT_PATH = "site__client"
    JOB_PATH = "pk"

    site = models.ForeignKey(Site, models.PROTECT, related_name="jobs", verbose_name=_("site"))
    title = models.CharField(_("title"), max_length=200)
    state = models.CharField(_("state"), max_length=10, choices=JobState, default=JobState.DRAFT)
    starts_at = models.DateTimeField(
        _("start"), help_text=_("Start of the planned period; people and kit are booked for this period.")
    )
    ends_at = models.DateTimeField(_("end"))
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="jobs",
        verbose_name=_("technician"),
    )
    measuring_points = models.ManyToManyField(
        MeasuringPoint, blank=True, related_name="jobs", verbose_name=_("measuring points")
    )
    kit = models.ManyToManyField(Instrument, blank=True, related_name="jobs", verbose_name=_("kit"))
    note = models.TextField(_("note"), blank=True)
    earliest_start = models.DateTimeField(
        _("earliest start"),
        null=True,
        blank=True,
        help_text=_("Start of the time window; empty: planned start."),
    )
    latest_end = models.DateTimeField(_("latest end"), null=True, blank=True)
    expected_hours = models.FloatField(
        _("expected hours"), null=True, blank=True, help_text=_("Hours of work on site.")
    )
    priority = models.PositiveSmallIntegerField(
        _("priority"),
        default=3,
        validators=[MaxValueValidator(5)],
        help_text=_("1: most urgent, 5: least urgent."),
    )
    required_qualifications = models.JSONField(
        _("required qualifications"),
        default=list,
        blank=True,
        help_text=_("Slugs of the qualifications required of the technician."),
    )

    class Meta:
        verbose_name = _("job")
        verbose_name_plural = _("jobs")
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
    """Change of a job's status, with user, time and reason; never changed."""

    CLIENT_PATH = "job__site__client"
    JOB_PATH = "job"

    job = models.ForeignKey(Job, models.PROTECT, related_name="status_changes", verbose_name=_("job"))
    before = models.CharField(_("before"), max_length=10, choices=JobState)
    state = models.CharField(_("state"), max_length=10, choices=JobState)
    reason = ReasonField(_("reason"))
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("changed by")
    )
    changed_at = models.DateTimeField(_("changed at"))

    class Meta:
        verbose_name = _("job status change")
        verbose_name_plural = _("job status changes")
        ordering = ["-changed_at", "-id"]
        constraints = [models.CheckConstraint(name="job_status_change_has_reason", condition=~Q(reason=""))]
