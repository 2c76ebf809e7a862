"""Reviews of calibration intervals, and intermediate checks of instruments."""

from __future__ import annotations

from datetime import date

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record, as_entered_field
from surveys.models.calibration import MAX_INTERVAL_DAYS, IntervalPolicy
from surveys.models.instrument import Instrument
from surveys.models.tolerance import OfficeQuerySet


class IntervalReview(Record):
    """Proposed interval with its reasons, and the decision on it."""

    class Method(models.TextChoices):
        STAIRCASE = "staircase", _("staircase (last as-found result)")
        CONTROL_CHART = "control-chart", _("control chart (drift of one point)")
        IN_USE_TIME = "in-use-time", _("time in use")
        RELIABILITY = "reliability", _("reliability (fraction of the type in tolerance)")

    class Decision(models.TextChoices):
        ACCEPTED = "accepted", _("accepted")
        REJECTED = "rejected", _("rejected")

    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="interval_reviews", verbose_name=_("instrument")
    )
    method = models.CharField(_("method"), max_length=14, choices=Method)
    current_days = models.PositiveIntegerField(
        _("current days"),
        help_text=_("Days from the calibration date to the due date of the latest certificate."),
        validators=[MaxValueValidator(date.max.toordinal())],
    )
    proposed_days = models.PositiveIntegerField(
        _("proposed days"), validators=[MaxValueValidator(MAX_INTERVAL_DAYS)]
    )
    proposed_hours = models.FloatField(_("proposed hours"), null=True, blank=True)
    reasoning = models.JSONField(_("reasoning"))
    inputs = models.JSONField(_("inputs"), help_text=_("Input values of the method by name."))
    findings = models.JSONField(_("findings"), default=list)
    chart = models.JSONField(_("chart"))
    history_from = models.DateField(_("history from"), help_text=_("Day 0 of the chart."))
    calculated_at = models.DateTimeField(_("calculated at"))
    calculated_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("calculated by")
    )
    decision = models.CharField(_("decision"), max_length=8, choices=Decision, blank=True)
    reason = models.TextField(_("reason"), blank=True)
    decided_at = models.DateTimeField(_("decided at"), null=True, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("decided by"),
    )
    interval_policy = models.OneToOneField(
        IntervalPolicy,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="interval_review",
        verbose_name=_("interval policy"),
    )

    objects = OfficeQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        verbose_name = _("interval review")
        verbose_name_plural = _("interval reviews")
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
    """Check of an instrument between its calibrations; never changed, one that `corrects` another replaces it."""

    class Kind(models.TextChoices):
        ZERO_FLOW = "zero-flow", _("zero flow check")
        STEP_BLOCK = "step-block", _("thickness gauge on a step block")
        REFERENCE = "reference", _("comparison with a reference")
        TWO_METERS = "two-meters", _("comparison of two meters")

    class Outcome(models.TextChoices):
        WITHIN = "within", _("within limits")
        WARNING = "warning", _("warning")
        OUT = "out", _("out of limits")

    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="checks", verbose_name=_("instrument")
    )
    other_instrument = models.ForeignKey(
        Instrument,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="comparison_checks",
        help_text=_("Second meter."),
        verbose_name=_("other instrument"),
    )
    corrects = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="corrected_by", verbose_name=_("corrects")
    )
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    performed_at = models.DateTimeField(_("performed at"))
    outcome = models.CharField(_("outcome"), max_length=7, choices=Outcome)
    deviation_si = models.FloatField(_("deviation (SI)"))
    expanded_uncertainty_si = models.FloatField(_("expanded uncertainty (SI)"))
    quantity = models.CharField(
        _("quantity"), max_length=24, help_text=_("Quantity of the deviation and its limits.")
    )
    warning_limit_si = models.FloatField(_("warning limit (SI)"))
    action_limit_si = models.FloatField(_("action limit (SI)"))
    figures = models.JSONField(_("figures"), default=list)
    sentences = models.JSONField(_("sentences"), default=list)
    findings = models.JSONField(_("findings"), default=list)
    note = models.TextField(_("note"), blank=True)
    as_entered = as_entered_field()
    recorded_at = models.DateTimeField(_("recorded at"))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )

    class Meta:
        verbose_name = _("intermediate check")
        verbose_name_plural = _("intermediate checks")
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
