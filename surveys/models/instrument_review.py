"""Reviews of calibration intervals, and checks of instruments between calibrations."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from surveys.models.base import Record, as_entered_field
from surveys.models.calibration import IntervalPolicy
from surveys.models.instrument import Instrument
from surveys.models.tolerance import OfficeQuerySet


class IntervalReview(Record):
    """A proposed interval with its reasoning, and what a person decided of it."""

    class Method(models.TextChoices):
        STAIRCASE = "staircase", "staircase, by the last as-found result"
        CONTROL_CHART = "control-chart", "control chart, by the drift of one point"
        IN_USE_TIME = "in-use-time", "time in use"
        RELIABILITY = "reliability", "share of the type found in tolerance"

    class Decision(models.TextChoices):
        ACCEPTED = "accepted", "accepted"
        REJECTED = "rejected", "rejected"

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="interval_reviews")
    method = models.CharField(max_length=14, choices=Method)
    current_days = models.PositiveIntegerField(
        help_text="Between the latest certificate's date and its due date."
    )
    proposed_days = models.PositiveIntegerField()
    proposed_hours = models.FloatField(null=True, blank=True)
    reasoning = models.JSONField()
    inputs = models.JSONField(help_text="Figures the method used, by name.")
    findings = models.JSONField(default=list)
    chart = models.JSONField()
    history_from = models.DateField(help_text="Day 0 of the chart.")
    calculated_at = models.DateTimeField()
    calculated_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    decision = models.CharField(max_length=8, choices=Decision, blank=True)
    reason = models.TextField(blank=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    interval_policy = models.OneToOneField(
        IntervalPolicy, models.PROTECT, null=True, blank=True, related_name="interval_review"
    )

    objects = OfficeQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        ordering = ["-calculated_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="interval_review_decided_with_reason_by_somebody",
                condition=Q(decision="", reason="", decided_at__isnull=True, decided_by__isnull=True)
                | (~Q(decision="") & ~Q(reason="") & Q(decided_at__isnull=False, decided_by__isnull=False)),
            ),
            models.CheckConstraint(
                name="interval_review_accepted_makes_a_policy",
                condition=Q(decision="accepted", interval_policy__isnull=False)
                | (~Q(decision="accepted") & Q(interval_policy__isnull=True)),
            ),
        ]


class IntermediateCheck(Record):
    """A check of an instrument between its calibrations; never changed, one that `corrects` another takes its place."""

    class Kind(models.TextChoices):
        ZERO_FLOW = "zero-flow", "zero with the flow shut off"
        STEP_BLOCK = "step-block", "gauge on its step block"
        REFERENCE = "reference", "readings against a reference"
        TWO_METERS = "two-meters", "two meters on one pipe"

    class Outcome(models.TextChoices):
        WITHIN = "within", "within its limits"
        WARNING = "warning", "warning"
        OUT = "out", "out of limits"

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="checks")
    other_instrument = models.ForeignKey(
        Instrument,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="checks_beside",
        help_text="The second meter.",
    )
    corrects = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    kind = models.CharField(max_length=10, choices=Kind)
    performed_at = models.DateTimeField()
    outcome = models.CharField(max_length=7, choices=Outcome)
    deviation_si = models.FloatField()
    expanded_uncertainty_si = models.FloatField()
    quantity = models.CharField(max_length=24, help_text="Kind of quantity of the deviation and its limits.")
    warning_limit_si = models.FloatField()
    action_limit_si = models.FloatField()
    figures = models.JSONField(default=list)
    sentences = models.JSONField(default=list)
    findings = models.JSONField(default=list)
    note = models.TextField(blank=True)
    as_entered = as_entered_field()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-performed_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="intermediate_check_second_meter_where_two",
                condition=Q(kind="two-meters", other_instrument__isnull=False)
                | (~Q(kind="two-meters") & Q(other_instrument__isnull=True)),
            ),
            models.CheckConstraint(
                name="intermediate_check_of_two_instruments",
                condition=Q(other_instrument__isnull=True) | ~Q(other_instrument=F("instrument")),
            ),
            models.CheckConstraint(
                name="intermediate_check_limits_in_order",
                condition=Q(warning_limit_si__gt=0, action_limit_si__gte=F("warning_limit_si")),
            ),
        ]
