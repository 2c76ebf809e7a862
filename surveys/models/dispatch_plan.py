"""Plans of who does which job when with which kit: asked for, made in the background, accepted whole or in part."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from surveys.models.base import Record
from surveys.models.tolerance import OfficeQuerySet


class DispatchPlan(Record):
    """A plan asked for, the work on it, and what came of it. `outcome` holds assignments, jobs left out, objective and bound."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        FINISHED = "finished", "finished"
        FAILED = "failed", "failed"

    jobs = models.JSONField(help_text="Ids of the jobs to plan.")
    time_limit_seconds = models.PositiveSmallIntegerField()
    keeps = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="replans",
        help_text="The plan to move as little of as can be.",
    )
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    progress = models.FloatField(default=0.0)
    attempts = models.PositiveSmallIntegerField(default=0)
    claimed_by = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    error = models.TextField(blank=True)
    outcome = models.JSONField(null=True, blank=True)
    accepted = models.JSONField(default=list, help_text="Ids of the jobs whose assignment was accepted.")
    requested_at = models.DateTimeField()
    requested_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = OfficeQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
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
