"""Bookings: an instrument or a technician held for a job over a span, never twice at once."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from surveys.core.no_overlap import NoOverlap
from surveys.models.base import Record
from surveys.models.instrument import Instrument
from surveys.models.job import Job


class Booking(Record):
    """An instrument or a technician held for a job from `starts_at` up to `ends_at`, which is not in it."""

    CLIENT_PATH = "job__site__client"
    JOB_PATH = "job"

    job = models.ForeignKey(Job, models.PROTECT, related_name="bookings")
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="bookings")
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="bookings"
    )
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    expected_back = models.DateTimeField(null=True, blank=True, help_text="If told to be late: when.")
    cancelled_at = models.DateTimeField(null=True, blank=True)
    booked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    booked_at = models.DateTimeField()

    class Meta:
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
        """What is to be handed over next of an instrument; None where all was."""
        done = {one.what for one in self.events.all()}
        return next((one for one in Handover if one not in done), None)


class Handover(models.TextChoices):
    CHECK_OUT = "check-out", "check-out"
    CHECK_IN = "check-in", "check-in"


class BookingEvent(Record):
    """An instrument handed out for a booking or brought back, and its condition; never changed."""

    CLIENT_PATH = "booking__job__site__client"
    JOB_PATH = "booking__job"

    booking = models.ForeignKey(Booking, models.PROTECT, related_name="events")
    what = models.CharField(max_length=10, choices=Handover)
    at = models.DateTimeField()
    condition = models.CharField(max_length=200)
    note = models.TextField(blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["booking", "what"], name="booking_handed_over_once"),
        ]
