"""Measuring points and the set-ups calculated for them."""

from typing import Any

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from compute.measuring.location import HAZARDS, MOUNTINGS, ORIENTATIONS, straight_lengths
from surveys.core.messages import model_error
from surveys.core.messages.terms import TERMS
from surveys.models.base import Record, as_entered_field
from surveys.models.pipe import Pipe, PipeData, TemperatureSource

ORIENTATION_CHOICES = [(orientation, TERMS[orientation]) for orientation in ORIENTATIONS]
MOUNTING_CHOICES = [(mounting, TERMS[mounting]) for mounting in MOUNTINGS]


def validate_disturbance(name: str) -> None:
    """Reject a disturbance without a recommended straight length; `unknown` has one."""
    if name not in straight_lengths():
        raise model_error("unknown-name/disturbance", name=name[:60], known=list(straight_lengths()))


def validate_hazards(hazards: Any) -> None:
    """Reject hazards without a safety note."""
    if not isinstance(hazards, list) or not all(isinstance(h, str) and h in HAZARDS for h in hazards):
        raise model_error("unknown-name/hazards", known=list(HAZARDS))


class MeasuringPoint(Record):
    """Measuring location on a pipe, with the straight lengths around it."""

    CLIENT_PATH = "pipe__site__client"
    SITE_PATH = "pipe__site"

    pipe = models.ForeignKey(Pipe, models.PROTECT, related_name="measuring_points", verbose_name=_("pipe"))
    name = models.CharField(_("name"), max_length=200)
    description = models.TextField(_("description"), blank=True)
    upstream_disturbance = models.CharField(
        _("upstream disturbance"), max_length=40, blank=True, help_text=_("Type of the upstream disturbance.")
    )
    upstream_straight_length_m = models.FloatField(_("upstream straight length (m)"), null=True, blank=True)
    downstream_straight_length_m = models.FloatField(
        _("downstream straight length (m)"), null=True, blank=True
    )
    orientation = models.CharField(_("orientation"), max_length=20, blank=True, choices=ORIENTATION_CHOICES)
    mounting = models.CharField(_("mounting"), max_length=20, blank=True, choices=MOUNTING_CHOICES)
    full_pipe = models.BooleanField(
        _("full pipe"), null=True, blank=True, help_text=_("Pipe is always full; empty if not known.")
    )
    hazards = models.JSONField(
        _("hazards"),
        default=list,
        blank=True,
        help_text=_("Hazards such as hazardous-area or work-at-height."),
    )
    retired_at = models.DateTimeField(_("retired at"), null=True, blank=True)
    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("measuring point")
        verbose_name_plural = _("measuring points")
        ordering = ["name", "id"]
        indexes = [models.Index(fields=["name", "id"], name="measuring_point_by_name")]
        constraints = [
            models.UniqueConstraint(fields=["pipe", "name"], name="measuring_point_name_once_on_a_pipe"),
            models.CheckConstraint(
                name="measuring_point_straight_lengths_not_negative",
                condition=(Q(upstream_straight_length_m__isnull=True) | Q(upstream_straight_length_m__gte=0))
                & (Q(downstream_straight_length_m__isnull=True) | Q(downstream_straight_length_m__gte=0)),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Setup(Record):
    """Mounting of a transducer pair at a point: calculated once, stored unchanged.

    `outcome` is the result of the physics in SI, with its findings and safety notes.
    """

    CLIENT_PATH = "measuring_point__pipe__site__client"
    SITE_PATH = "measuring_point__pipe__site"

    measuring_point = models.ForeignKey(
        MeasuringPoint, models.PROTECT, related_name="setups", verbose_name=_("measuring point")
    )
    pipe_data = models.ForeignKey(
        PipeData, models.PROTECT, related_name="setups", verbose_name=_("pipe data")
    )
    transducer_data = models.ForeignKey(
        "TransducerData", models.PROTECT, related_name="setups", verbose_name=_("transducer data")
    )
    based_on = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("based on")
    )
    traverses = models.PositiveSmallIntegerField(_("traverses"), validators=[MaxValueValidator(16)])
    spacing_m = models.FloatField(_("spacing (m)"))
    expected_velocity_m_s = models.FloatField(_("expected velocity (m/s)"), null=True, blank=True)
    medium_temperature_k = models.FloatField(_("medium temperature (K)"), null=True, blank=True)
    medium_temperature_source = models.CharField(
        _("medium temperature source"), max_length=10, choices=TemperatureSource, blank=True
    )
    outcome = models.JSONField(_("outcome"))
    method_version = models.CharField(_("method version"), max_length=20)
    calculated_at = models.DateTimeField(_("calculated at"))
    calculated_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("calculated by")
    )
    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("setup")
        verbose_name_plural = _("setups")
        ordering = ["-calculated_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="setup_traverses_in_range", condition=Q(traverses__gte=1, traverses__lte=16)
            )
        ]
