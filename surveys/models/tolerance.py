"""Instruments found out of tolerance: affected results, and the decision of the office on each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record, VisibleQuerySet
from surveys.models.calibration import Calibration
from surveys.models.instrument import Instrument
from surveys.models.reasons import ReasonField
from surveys.models.result import Recomputation, Result
from surveys.models.survey import Survey

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager

    from surveys.models.user import User


class OfficeQuerySet(VisibleQuerySet):
    """Rows visible to the office only."""

    def _of_technician(self, user: User) -> Self:
        return self.none()


class OutOfToleranceReview(Record):
    """Calibration that found an instrument out of tolerance, and the range of dates of the affected results."""

    calibration = models.OneToOneField(
        Calibration, models.PROTECT, related_name="out_of_tolerance_review", verbose_name=_("calibration")
    )
    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="out_of_tolerance_reviews", verbose_name=_("instrument")
    )
    last_in_tolerance_on = models.DateField(
        _("last in tolerance on"),
        null=True,
        blank=True,
        help_text=_(
            "Date of the last calibration in tolerance; empty: none, all earlier surveys are affected."
        ),
    )
    found_on = models.DateField(
        _("found on"), help_text=_("Date on which the instrument was found out of tolerance.")
    )
    reasoning = models.JSONField(_("reasoning"), default=list)
    recomputation = models.OneToOneField(
        Recomputation,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="out_of_tolerance_review",
        verbose_name=_("recalculation"),
    )
    opened_at = models.DateTimeField(_("opened at"))
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("opened by")
    )

    objects = OfficeQuerySet.as_manager()  # type: ignore[misc]

    if TYPE_CHECKING:
        surveys: RelatedManager[ReviewedSurvey]

    class Meta:
        verbose_name = _("out of tolerance review")
        verbose_name_plural = _("out of tolerance reviews")
        ordering = ["-opened_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="out_of_tolerance_review_span_in_order",
                condition=Q(last_in_tolerance_on__isnull=True)
                | Q(last_in_tolerance_on__lt=models.F("found_on")),
            )
        ]


class ReviewedSurvey(Record):
    """Affected survey: its result, the result with the as-found error applied, and the decision."""

    class State(models.TextChoices):
        UNDER_REVIEW = "under-review", _("under review")
        CONFIRMED = "confirmed", _("result confirmed")
        CORRECTED = "corrected", _("corrected, report reissued")
        WITHDRAWN = "withdrawn", _("withdrawn")
        VOID = "void", _("void: certificate entered wrongly")

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    review = models.ForeignKey(
        OutOfToleranceReview, models.PROTECT, related_name="surveys", verbose_name=_("review")
    )
    survey = models.ForeignKey(
        Survey, models.PROTECT, related_name="out_of_tolerance_reviews", verbose_name=_("survey")
    )
    result = models.ForeignKey(
        Result, models.PROTECT, related_name="+", help_text=_("Affected result."), verbose_name=_("result")
    )
    state = models.CharField(_("state"), max_length=12, choices=State, default=State.UNDER_REVIEW)
    # With the as-found error applied; calculated in the background.
    volume_flow_m3_s = models.FloatField(_("volume flow (m³/s)"), null=True, blank=True)
    expanded_uncertainty_m3_s = models.FloatField(_("expanded uncertainty (m³/s)"), null=True, blank=True)
    coverage_factor = models.FloatField(_("coverage factor"), null=True, blank=True)
    findings = models.JSONField(_("findings"), default=list)
    calculated_at = models.DateTimeField(_("calculated at"), null=True, blank=True)
    reason = ReasonField(_("reason"), blank=True, default=str, help_text=_("Reason for the decision."))
    decided_at = models.DateTimeField(_("decided at"), null=True, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("decided by"),
    )

    class Meta:
        verbose_name = _("reviewed survey")
        verbose_name_plural = _("reviewed surveys")
        ordering = ["review", "id"]
        constraints = [
            models.UniqueConstraint(fields=["review", "survey"], name="reviewed_survey_once_in_a_review"),
            models.CheckConstraint(
                name="reviewed_survey_decided_with_reason_by_somebody",
                condition=Q(state="under-review", decided_at__isnull=True, decided_by__isnull=True, reason="")
                | (
                    ~Q(state="under-review")
                    & ~Q(reason="")
                    & Q(decided_at__isnull=False, decided_by__isnull=False)
                ),
            ),
            models.CheckConstraint(
                name="reviewed_survey_corrected_flow_whole",
                condition=Q(
                    volume_flow_m3_s__isnull=True,
                    expanded_uncertainty_m3_s__isnull=True,
                    calculated_at__isnull=True,
                )
                | Q(
                    volume_flow_m3_s__isnull=False,
                    expanded_uncertainty_m3_s__isnull=False,
                    calculated_at__isnull=False,
                ),
            ),
        ]
        indexes = [
            models.Index(fields=["survey"], name="reviewed_survey_open", condition=Q(state="under-review"))
        ]
