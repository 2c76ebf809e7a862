"""Reports issued to clients."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record
from surveys.models.result import Result
from surveys.models.survey import Survey


class Report(Record):
    """One issue of a survey's report: the PDF, the result it states, and the issue it replaces."""

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    survey = models.ForeignKey(Survey, models.PROTECT, related_name="reports", verbose_name=_("survey"))
    result = models.ForeignKey(Result, models.PROTECT, related_name="reports", verbose_name=_("result"))
    revision = models.PositiveIntegerField(_("revision"), validators=[MaxValueValidator(9999)])
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by", verbose_name=_("replaces")
    )
    replaced_at = models.DateTimeField(_("replaced at"), null=True, blank=True)
    units = models.CharField(_("units"), max_length=6, choices=[("metric", "metric"), ("us", "US")])
    notices = models.JSONField(
        _("notices"), default=list, help_text=_("Notes about reviews of the instruments.")
    )
    reason = models.TextField(_("reason"), blank=True, help_text=_("Reason for the reissue."))
    content = models.BinaryField(_("content"))
    sha256 = models.CharField(_("SHA-256"), max_length=64)
    issued_at = models.DateTimeField(_("issued at"))
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("issued by")
    )

    class Meta:
        verbose_name = _("report")
        verbose_name_plural = _("reports")
        ordering = ["-issued_at", "-id"]
        indexes = [models.Index(fields=["-issued_at", "-id"], name="report_by_time")]
        constraints = [
            models.UniqueConstraint(fields=["survey", "revision"], name="report_revision_once"),
            models.UniqueConstraint(
                fields=["survey"],
                condition=Q(replaced_at__isnull=True),
                name="report_one_current_for_a_survey",
            ),
            models.CheckConstraint(
                name="report_issued_again_says_why",
                condition=Q(revision=1, replaces__isnull=True)
                | (Q(revision__gt=1, replaces__isnull=False) & ~Q(reason="")),
            ),
        ]

    @property
    def number(self) -> str:
        """Return the number of the report: the year, the survey, the revision."""
        return report_number(self.survey_id, self.issued_at.year, self.revision)


def report_number(survey_id: object, year: int, revision: int) -> str:
    """Return a report's number; a survey's id ends in random letters."""
    return f"{year}-{str(survey_id)[-8:].upper()}-{revision}"
