"""Dispatch plans of jobs, technicians and kits: requested, calculated in the background, accepted completely or in part."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record
from surveys.models.tolerance import OfficeQuerySet


class DispatchPlan(Record):
    """Requested plan, the work on it, and its result. `outcome` holds assignments, jobs left out, objective and bound."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("running")
        FINISHED = "finished", _("finished")
        FAILED = "failed", _("failed")

    jobs = models.JSONField(_("jobs"), help_text=_("Ids of the jobs to schedule."))
    time_limit_seconds = models.PositiveSmallIntegerField(
        _("time limit seconds"), validators=[MaxValueValidator(120)]
    )
    keeps = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="replans",
        help_text=_("Plan to change as little as possible."),
        verbose_name=_("keeps"),
    )
    state = models.CharField(_("state"), max_length=8, choices=State, default=State.WAITING)
    progress = models.FloatField(_("progress"), default=0.0)
    attempts = models.PositiveSmallIntegerField(_("attempts"), default=0)
    claimed_by = models.UUIDField(_("claimed by"), null=True, blank=True)
    lease_until = models.DateTimeField(_("lease until"), null=True, blank=True)
    error = models.JSONField(_("error"), null=True, blank=True, help_text=_("Message of the last failure."))
    outcome = models.JSONField(_("outcome"), null=True, blank=True)
    accepted = models.JSONField(
        _("accepted"), default=list, help_text=_("Ids of the jobs with an accepted assignment.")
    )
    requested_at = models.DateTimeField(_("requested at"))
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("requested by")
    )
    started_at = models.DateTimeField(_("started at"), null=True, blank=True)
    finished_at = models.DateTimeField(_("finished at"), null=True, blank=True)

    objects = OfficeQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        verbose_name = _("dispatch plan")
        verbose_name_plural = _("dispatch plans")
        ordering = ["-requested_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="dispatch_plan_time_limit_possible",
                condition=Q(time_limit_seconds__gte=1, time_limit_seconds__lte=120),
            ),
            models.CheckConstraint(
                name="dispatch_plan_finished_with_an_outcome",
                condition=~Q(state="finished") | Q(outcome__isnull=False),
            ),
        ]
        indexes = [
            models.Index(
                fields=["requested_at"],
                name="dispatch_plan_open",
                condition=Q(state__in=["waiting", "running"]),
            )
        ]
