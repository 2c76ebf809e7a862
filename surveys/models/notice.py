"""Notices: what a client is told, and that somebody has seen it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from surveys.models.base import Record
from surveys.models.result import Result
from surveys.models.site import Client


class Notice(Record):
    """A result changed by more than the client's threshold: before, after, and why."""

    CLIENT_PATH = "client"
    SITE_PATH = "after__survey__measuring_point__pipe__site"

    client = models.ForeignKey(Client, models.PROTECT, related_name="notices")
    before = models.ForeignKey(Result, models.PROTECT, related_name="+")
    after = models.OneToOneField(Result, models.PROTECT, related_name="notice")
    relative_change = models.FloatField(null=True, help_text="Null: the flow before was 0.")
    threshold = models.FloatField()
    reason = models.TextField()
    made_at = models.DateTimeField()
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="notice_acknowledged_by_somebody",
                condition=Q(acknowledged_at__isnull=True, acknowledged_by__isnull=True)
                | Q(acknowledged_at__isnull=False, acknowledged_by__isnull=False),
            )
        ]
