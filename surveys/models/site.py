"""Clients and their sites."""

from __future__ import annotations

from typing import Self
from zoneinfo import ZoneInfo, available_timezones

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q

from surveys.models.base import Record, VisibleQuerySet
from surveys.models.user import User


class ClientQuerySet(VisibleQuerySet):
    def _of_technician(self, user: User) -> Self:
        return self.filter(pk__in=Site.objects.visible_to(user).values("client"))


class Client(Record):
    """An organisation that has its flows measured."""

    CLIENT_PATH = "pk"

    name = models.CharField(max_length=200, unique=True)
    contact = models.TextField(blank=True)
    notice_threshold = models.FloatField(
        default=0.01, help_text="Told of a result that changed by more than this part of it."
    )
    retired_at = models.DateTimeField(null=True, blank=True)

    objects = ClientQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(
                name="client_notice_threshold_a_share",
                condition=Q(notice_threshold__gte=0, notice_threshold__lte=1),
            )
        ]

    def __str__(self) -> str:
        return self.name


def validate_time_zone(name: str) -> None:
    """Refuse what the time zone database does not know."""
    if name not in available_timezones():
        raise ValidationError(
            f"{name!r} is no time zone; write one such as Europe/Copenhagen.", code="time-zone-unknown"
        )


class Site(Record):
    """A place of one client where pipes are."""

    CLIENT_PATH = "client"
    SITE_PATH = "pk"

    client = models.ForeignKey(Client, models.PROTECT, related_name="sites")
    name = models.CharField(max_length=200)
    address = models.TextField(blank=True)
    time_zone = models.CharField(max_length=64, default="UTC", validators=[validate_time_zone])
    access_notes = models.TextField(blank=True, help_text="Access, permits, contacts on the site.")
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [models.UniqueConstraint(fields=["client", "name"], name="site_name_once_for_a_client")]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        """The zone of the clocks on site."""
        return ZoneInfo(self.time_zone)
