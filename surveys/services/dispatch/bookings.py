"""Holding instruments and technicians for jobs, and handing instruments out and taking them back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from surveys.core.errors import Conflict
from surveys.dispatch.availability import (
    UnsuitableReason,
    instrument_unsuitable_reasons,
    technician_unsuitable_reasons,
)
from surveys.models import Booking, BookingEvent, User
from surveys.models.booking import Handover
from surveys.models.job import JobState
from surveys.services.fleet.calibrations import instrument_lock
from surveys.services.fleet.instruments import InstrumentLocation, instrument_state_change
from surveys.services.records import record_change, record_create

CLOSED = frozenset({JobState.IN_REVIEW, JobState.ISSUED, JobState.CANCELLED})


@transaction.atomic
def booking_make(*, booking: Booking, by: User, now: datetime) -> Booking:
    """Hold an instrument or a technician. Raises Conflict with the first reason against it.

    The row of what is held is locked first: of many at once one gets it, the others see that it is held.
    """
    if booking.job.state in CLOSED:
        raise Conflict(
            f"The job is {booking.job.get_state_display()}; nothing is booked for it any more.",
            code="job-closed",
            field="job",
        )
    _allowed(booking, by, now)
    booking.booked_by, booking.booked_at = by, now
    return record_create(booking)


@transaction.atomic
def booking_move(
    *, booking: Booking, starts_at: datetime, ends_at: datetime, by: User, now: datetime
) -> Booking:
    """Hold the same for another span; as `booking_make`."""
    booking = _open(booking)
    booking.starts_at, booking.ends_at = starts_at, ends_at
    _allowed(booking, by, now)
    return record_change(booking, {"starts_at": starts_at, "ends_at": ends_at})


@transaction.atomic
def booking_cancel(*, booking: Booking, now: datetime) -> Booking:
    """Let go of what was held. Raises Conflict if it is cancelled or was handed out already."""
    booking = _open(booking)
    if booking.events.exists():
        raise Conflict("It was handed out; check it in instead.", code="checked-out")
    return record_change(booking, {"cancelled_at": now})


@dataclass(frozen=True, slots=True)
class HandoverNote:
    """When something changed hands, in which condition."""

    at: datetime
    condition: str
    note: str = ""


@transaction.atomic
def booking_check_out(*, booking: Booking, said: HandoverNote, by: User, now: datetime) -> BookingEvent:
    """Hand the booked instrument to who fetches it; its holder and location follow."""
    booking = _open(booking)
    if booking.events.exists():
        raise Conflict("It was checked out already.", code="checked-out")
    holder = booking.job.technician or by
    return _hand_over(
        booking, Handover.CHECK_OUT, said, InstrumentLocation(None, str(booking.job.site), holder), by, now
    )


@transaction.atomic
def booking_check_in(*, booking: Booking, said: HandoverNote, by: User, now: datetime) -> BookingEvent:
    """Take the instrument back to the store; nobody holds it then."""
    booking = _open(booking)
    done = {one.what: one for one in booking.events.all()}
    if Handover.CHECK_OUT not in done or Handover.CHECK_IN in done:
        raise Conflict("It is not checked out.", code="not-checked-out")
    if said.at < done[Handover.CHECK_OUT].at:
        raise Conflict("It comes back after it was checked out.", code="back-too-early", field="at")
    return _hand_over(booking, Handover.CHECK_IN, said, InstrumentLocation(None, "store", None), by, now)


@transaction.atomic
def booking_expect(*, booking: Booking, expected_back: datetime | None) -> Booking:
    """Say when what is checked out comes back. Raises Conflict if it is not out."""
    booking = _open(booking)
    done = set(booking.events.values_list("what", flat=True))
    if done != {Handover.CHECK_OUT}:
        raise Conflict("It is not checked out.", code="not-checked-out")
    return record_change(booking, {"expected_back": expected_back})


def _hand_over(
    booking: Booking, what: Handover, said: HandoverNote, to: InstrumentLocation, by: User, now: datetime
) -> BookingEvent:
    instrument = booking.instrument
    if instrument is None:
        raise Conflict("A technician is not handed over; book an instrument.", code="not-an-instrument")
    if (instrument.location, instrument.holder) != (to.location, to.holder):
        reason = f"{what.label} for {booking.job.title}: {said.condition}"
        instrument_state_change(instrument=instrument, to=to, reason=reason, by=by, now=now)
    return BookingEvent.objects.create(
        booking=booking, what=what, at=said.at, condition=said.condition, note=said.note,
        recorded_by=by, recorded_at=now,
    )  # fmt: skip


def _open(booking: Booking) -> Booking:
    """The booking, held until the transaction ends."""
    found = Booking.objects.select_for_update().get(pk=booking.pk)
    if found.cancelled_at is not None:
        raise Conflict("The booking is cancelled.", code="cancelled")
    return found


def _allowed(booking: Booking, by: User, now: datetime) -> None:
    span = (booking.starts_at, booking.ends_at)
    if booking.instrument_id:
        instrument = instrument_lock(booking.instrument_id)
        found = instrument_unsuitable_reasons([instrument], *span, viewer=by, now=now, without=booking)[
            instrument.pk
        ]
        _reject_unsuitable(found, "instrument")
    elif booking.technician_id:
        person = User.objects.select_for_update(no_key=True).get(pk=booking.technician_id)
        required = booking.job.required_qualifications
        _reject_unsuitable(
            technician_unsuitable_reasons([person], *span, required, viewer=by, without=booking)[person.pk],
            "technician",
        )


def _reject_unsuitable(reasons: Iterable[UnsuitableReason], field: str) -> None:
    for one in reasons:
        raise Conflict(one.said, code=one.code, field=field)
