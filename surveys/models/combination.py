"""Combinations: several surveys that belong together, and what they come to as one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from surveys.models.base import Record
from surveys.models.result import Cause, Recomputation, Result
from surveys.models.site import Site
from surveys.models.survey import Survey

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager


class Combination(Record):
    """Surveys taken together: the paths at one point, a sum of branches, supply less return, the mean of parallel runs.

    The one of kind `paths` is made of itself when the log of a further path comes in; people make the others.
    """

    class Kind(models.TextChoices):
        MULTIPATH = "multipath", "paths at one point"
        SUM = "sum", "sum"
        DIFFERENCE = "difference", "difference"
        MEAN = "mean", "mean"

    CLIENT_PATH = "site__client"
    SITE_PATH = "site"

    site = models.ForeignKey(Site, models.PROTECT, related_name="combinations")
    name = models.CharField(max_length=200)
    kind = models.CharField(max_length=10, choices=Kind)
    survey = models.OneToOneField(
        Survey,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="paths_combination",
        help_text="Of paths: the first one's survey.",
    )
    note = models.TextField(blank=True)
    blocked_reason = models.TextField(
        blank=True, help_text="Why the parts, though each has a result, could not be combined."
    )
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    retired_at = models.DateTimeField(null=True, blank=True)

    if TYPE_CHECKING:
        parts: RelatedManager[CombinationPart]
        results: RelatedManager[CombinedResult]

    class Meta:
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
    """A survey of a combination, and its place: of a difference the first is what the second is taken from."""

    CLIENT_PATH = "combination__site__client"
    SITE_PATH = "combination__site"

    combination = models.ForeignKey(Combination, models.PROTECT, related_name="parts")
    survey = models.ForeignKey(Survey, models.PROTECT, related_name="combination_parts")
    sequence = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["combination", "sequence"]
        constraints = [
            models.UniqueConstraint(fields=["combination", "survey"], name="combination_part_once"),
            models.UniqueConstraint(fields=["combination", "sequence"], name="combination_part_place_once"),
        ]


class CombinedResult(Record):
    """What a combination came to: immutable, with the results it was computed from.

    One is current for each combination; a replaced one stays and is marked with the time it was replaced.
    """

    CLIENT_PATH = "combination__site__client"
    SITE_PATH = "combination__site"

    combination = models.ForeignKey(Combination, models.PROTECT, related_name="results")
    results = models.ManyToManyField(Result, related_name="combined_results")
    method_version = models.CharField(max_length=20)
    cause = models.CharField(max_length=24, choices=Cause)
    recomputation = models.ForeignKey(
        Recomputation, models.PROTECT, null=True, blank=True, related_name="combined_results"
    )
    replaces = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="replaced_by")
    replaced_at = models.DateTimeField(null=True, blank=True)
    computed_at = models.DateTimeField()

    volume_flow_m3_s = models.FloatField()
    combined_standard_uncertainty_m3_s = models.FloatField()
    expanded_uncertainty_m3_s = models.FloatField()
    coverage_factor = models.FloatField()
    effective_degrees_of_freedom = models.FloatField(null=True, help_text="Null: without limit.")
    averaged_from = models.DateTimeField(help_text="The first time it rests on.")
    averaged_to = models.DateTimeField(help_text="The last time it rests on.")
    steps = models.BigIntegerField(
        null=True, help_text="Steps of time in which all parts have readings; null for paths."
    )
    shared_variance_fraction = models.FloatField(
        help_text="Of the variance: what comes from inputs the parts share."
    )
    range_m3_s = models.FloatField(
        null=True, help_text="Of paths and runs: the largest flow less the smallest."
    )
    parts = models.JSONField(help_text="Of each part: its survey, result, coefficient and flow as combined.")
    findings = models.JSONField()
    budget = models.JSONField()
    change_breakdown = models.JSONField(
        null=True, help_text="By how much it differs from what it replaces, and which part moved."
    )

    class Meta:
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
