"""Clients and their sites."""

from __future__ import annotations

from typing import Self
from zoneinfo import ZoneInfo, available_timezones

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from surveys.core.messages import model_error
from surveys.models.base import Record, VisibleQuerySet
from surveys.models.user import User


class ClientQuerySet(VisibleQuerySet):
    def _of_technician(self, user: User) -> Self:
        return self.filter(pk__in=Site.objects.visible_to(user).values("client"))


class Client(Record):
    """Organisation whose flows are measured."""

    CLIENT_PATH = "pk"

    name = models.CharField(_("name"), max_length=200, unique=True)
    contact = models.TextField(_("contact"), blank=True)
    notice_threshold = models.FloatField(
        _("notice threshold"),
        default=0.01,
        help_text=_("Relative change of a result above which the client is notified."),
    )
    retired_at = models.DateTimeField(_("retired at"), null=True, blank=True)

    objects = ClientQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        verbose_name = _("client")
        verbose_name_plural = _("clients")
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
    """Reject a name that is not in the time zone database."""
    if name not in available_timezones():
        raise model_error("time-zone-unknown", name=name[:60])


def coordinates_possible(owner: str) -> models.CheckConstraint:
    """Constraint: both coordinates or neither, in degrees on the globe."""
    neither = Q(latitude_deg__isnull=True, longitude_deg__isnull=True)
    # A comparison with null is neither true nor false, and a check constraint accepts that: require both explicitly.
    both = Q(latitude_deg__isnull=False, longitude_deg__isnull=False)
    on_globe = Q(latitude_deg__range=(-90, 90), longitude_deg__range=(-180, 180))
    return models.CheckConstraint(name=f"{owner}_coordinates_possible", condition=neither | (both & on_globe))


class Site(Record):
    """Site of one client with pipes."""

    CLIENT_PATH = "client"
    SITE_PATH = "pk"

    client = models.ForeignKey(Client, models.PROTECT, related_name="sites", verbose_name=_("client"))
    name = models.CharField(_("name"), max_length=200)
    address = models.TextField(_("address"), blank=True)
    time_zone = models.CharField(
        _("time zone"), max_length=64, default="UTC", validators=[validate_time_zone]
    )
    access_notes = models.TextField(
        _("access notes"), blank=True, help_text=_("Access to the site and permits.")
    )
    contacts = models.TextField(
        _("contacts"), blank=True, help_text=_("Contact persons with telephone numbers.")
    )
    hazards = models.TextField(_("hazards"), blank=True, help_text=_("Hazards and permit rules of the site."))
    latitude_deg = models.FloatField(_("latitude (°)"), null=True, blank=True)
    longitude_deg = models.FloatField(_("longitude (°)"), null=True, blank=True)
    retired_at = models.DateTimeField(_("retired at"), null=True, blank=True)

    class Meta:
        verbose_name = _("site")
        verbose_name_plural = _("sites")
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(fields=["client", "name"], name="site_name_once_for_a_client"),
            coordinates_possible("site"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        """Return the time zone of the site."""
        return ZoneInfo(self.time_zone)
