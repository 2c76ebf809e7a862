"""Combinations of several surveys, and their combined results."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record
from surveys.models.result import Cause, Recomputation, Result
from surveys.models.site import Site
from surveys.models.survey import MAX_LOG_BYTES, Survey

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager


class Combination(Record):
    """Combined surveys: the paths at one point, a sum of branches, supply less return, the mean of parallel runs.

    A combination of paths is created automatically when the log of a further path is imported; users create the others.
    """

    class Kind(models.TextChoices):
        MULTIPATH = "multipath", _("multipath at one measuring point")
        SUM = "sum", _("sum")
        DIFFERENCE = "difference", _("difference")
        MEAN = "mean", _("mean")

    CLIENT_PATH = "site__client"
    SITE_PATH = "site"

    site = models.ForeignKey(Site, models.PROTECT, related_name="combinations", verbose_name=_("site"))
    name = models.CharField(_("name"), max_length=200)
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    survey = models.OneToOneField(
        Survey,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="paths_combination",
        help_text=_("Multipath: survey of the first path."),
        verbose_name=_("survey"),
    )
    note = models.TextField(_("note"), blank=True)
    blocked_reason = models.JSONField(
        _("blocked reason"),
        null=True,
        blank=True,
        help_text=_("Reason why the results could not be combined."),
    )
    created_at = models.DateTimeField(_("created at"))
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("created by")
    )
    retired_at = models.DateTimeField(_("retired at"), null=True, blank=True)

    if TYPE_CHECKING:
        parts: RelatedManager[CombinationPart]
        results: RelatedManager[CombinedResult]

    class Meta:
        verbose_name = _("combination")
        verbose_name_plural = _("combinations")
        ordering = ["-created_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="combination_of_paths_has_a_first_survey",
                condition=Q(kind="multipath", survey__isnull=False)
                | (~Q(kind="multipath") & Q(survey__isnull=True)),
            )
        ]

    def __str__(self) -> str:
        return self.name


class CombinationPart(Record):
    """Survey of a combination, and its position: in a difference the others are subtracted from the first."""

    CLIENT_PATH = "combination__site__client"
    SITE_PATH = "combination__site"

    combination = models.ForeignKey(
        Combination, models.PROTECT, related_name="parts", verbose_name=_("combination")
    )
    survey = models.ForeignKey(
        Survey, models.PROTECT, related_name="combination_parts", verbose_name=_("survey")
    )
    sequence = models.PositiveSmallIntegerField(_("sequence"))

    class Meta:
        verbose_name = _("combination part")
        verbose_name_plural = _("combination parts")
        ordering = ["combination", "sequence"]
        constraints = [
            models.UniqueConstraint(fields=["combination", "survey"], name="combination_part_once"),
            models.UniqueConstraint(fields=["combination", "sequence"], name="combination_part_place_once"),
        ]


class CombinedResult(Record):
    """Result of a combination: immutable, with the results it was calculated from.

    One is current for each combination; a replaced one is kept and marked with the time of its replacement.
    """

    CLIENT_PATH = "combination__site__client"
    SITE_PATH = "combination__site"

    combination = models.ForeignKey(
        Combination, models.PROTECT, related_name="results", verbose_name=_("combination")
    )
    results = models.ManyToManyField(Result, related_name="combined_results", verbose_name=_("results"))
    method_version = models.CharField(_("method version"), max_length=20)
    cause = models.CharField(_("cause"), max_length=24, choices=Cause)
    recomputation = models.ForeignKey(
        Recomputation,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="combined_results",
        verbose_name=_("recalculation"),
    )
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by", verbose_name=_("replaces")
    )
    replaced_at = models.DateTimeField(_("replaced at"), null=True, blank=True)
    computed_at = models.DateTimeField(_("calculated at"))

    volume_flow_m3_s = models.FloatField(_("volume flow (m³/s)"))
    combined_standard_uncertainty_m3_s = models.FloatField(_("combined standard uncertainty (m³/s)"))
    expanded_uncertainty_m3_s = models.FloatField(_("expanded uncertainty (m³/s)"))
    coverage_factor = models.FloatField(_("coverage factor"))
    effective_degrees_of_freedom = models.FloatField(
        _("effective degrees of freedom"),
        null=True,
        help_text=_("Effective degrees of freedom; null if infinite."),
    )
    averaged_from = models.DateTimeField(_("averaged from"), help_text=_("Time of the first reading used."))
    averaged_to = models.DateTimeField(_("averaged to"), help_text=_("Time of the last reading used."))
    steps = models.BigIntegerField(
        _("steps"),
        null=True,
        validators=[MinValueValidator(0), MaxValueValidator(MAX_LOG_BYTES)],
        help_text=_("Number of time steps in which all surveys have readings; null for multipath."),
    )
    shared_variance_fraction = models.FloatField(
        _("shared variance fraction"),
        help_text=_("Fraction of the variance from inputs common to the surveys."),
    )
    range_m3_s = models.FloatField(
        _("spread (m³/s)"), null=True, help_text=_("Multipath and mean: largest flow minus smallest flow.")
    )
    parts = models.JSONField(_("parts"), help_text=_("Survey, result, coefficient and flow of each part."))
    findings = models.JSONField(_("findings"))
    budget = models.JSONField(_("budget"))
    change_breakdown = models.JSONField(
        _("change breakdown"), null=True, help_text=_("Difference from the replaced result, by part.")
    )

    class Meta:
        verbose_name = _("combined result")
        verbose_name_plural = _("combined results")
        ordering = ["-computed_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                name="combined_result_one_current",
                fields=["combination"],
                condition=Q(replaced_at__isnull=True),
            ),
            models.CheckConstraint(
                name="combined_result_not_replaced_by_itself", condition=~Q(replaces=F("id"))
            ),
            models.CheckConstraint(
                name="combined_result_window_in_order", condition=Q(averaged_to__gte=F("averaged_from"))
            ),
        ]
