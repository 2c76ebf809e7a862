"""Bookings: an instrument or a technician reserved for a job over a span, without overlap."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from surveys.core.no_overlap import NoOverlap
from surveys.models.base import Record
from surveys.models.instrument import Instrument
from surveys.models.job import Job


class Booking(Record):
    """Instrument or technician reserved for a job from `starts_at` to `ends_at`, the end excluded."""

    CLIENT_PATH = "job__site__client"
    JOB_PATH = "job"

    job = models.ForeignKey(Job, models.PROTECT, related_name="bookings", verbose_name=_("job"))
    instrument = models.ForeignKey(
        Instrument,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="bookings",
        verbose_name=_("instrument"),
    )
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="bookings",
        verbose_name=_("technician"),
    )
    starts_at = models.DateTimeField(_("start"))
    ends_at = models.DateTimeField(_("end"))
    expected_back = models.DateTimeField(
        _("expected back"),
        null=True,
        blank=True,
        help_text=_(
            "Expected time of return if the instrument returns late; null if the instrument returns in time."
        ),
    )
    cancelled_at = models.DateTimeField(_("cancelled at"), null=True, blank=True)
    booked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("booked by")
    )
    booked_at = models.DateTimeField(_("booked at"))

    class Meta:
        verbose_name = _("booking")
        verbose_name_plural = _("bookings")
        ordering = ["starts_at", "id"]
        indexes = [models.Index(fields=["starts_at", "id"], name="booking_by_time")]
        constraints = [
            NoOverlap(column="instrument_id", name="booking_instrument_never_twice"),
            NoOverlap(column="technician_id", name="booking_technician_never_twice"),
            models.CheckConstraint(
                name="booking_ends_after_it_starts", condition=Q(ends_at__gt=F("starts_at"))
            ),
            models.CheckConstraint(
                name="booking_of_instrument_or_technician",
                condition=Q(instrument__isnull=True, technician__isnull=False)
                | Q(instrument__isnull=False, technician__isnull=True),
            ),
        ]

    @property
    def coming(self) -> Handover | None:
        """Return the next event of an instrument's handover; None if there is no further one."""
        done = {one.what for one in self.events.all()}
        return next((one for one in Handover if one not in done), None)


class Handover(models.TextChoices):
    CHECK_OUT = "check-out", _("check-out")
    CHECK_IN = "check-in", _("check-in")


class BookingEvent(Record):
    """Handover or return of an instrument for a booking, and its condition; never changed."""

    CLIENT_PATH = "booking__job__site__client"
    JOB_PATH = "booking__job"

    booking = models.ForeignKey(Booking, models.PROTECT, related_name="events", verbose_name=_("booking"))
    what = models.CharField(_("action"), max_length=10, choices=Handover)
    at = models.DateTimeField(_("time"))
    condition = models.CharField(_("condition"), max_length=200)
    note = models.TextField(_("note"), blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )
    recorded_at = models.DateTimeField(_("recorded at"))

    class Meta:
        verbose_name = _("booking event")
        verbose_name_plural = _("booking events")
        ordering = ["at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["booking", "what"], name="booking_handed_over_once"),
        ]
