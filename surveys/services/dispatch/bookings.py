"""Bookings of instruments and technicians for jobs, and check-out and check-in of instruments."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from compute.base.messages import Message, at, message, record, term
from surveys.core.errors import Conflict
from surveys.dispatch.availability import instrument_unsuitable_reasons, technician_unsuitable_reasons
from surveys.models import Booking, BookingEvent, User
from surveys.models.booking import Handover
from surveys.models.job import JobState
from surveys.models.reasons import system_reason
from surveys.services.fleet.calibrations import instrument_lock
from surveys.services.fleet.instruments import InstrumentLocation, instrument_state_change
from surveys.services.records import record_change, record_create

CLOSED = frozenset({JobState.IN_REVIEW, JobState.ISSUED, JobState.CANCELLED})


@transaction.atomic
def booking_make(*, booking: Booking, by: User, now: datetime) -> Booking:
    """Book an instrument or a technician. Raises Conflict with the first reason against it.

    The row of the instrument or technician is locked first: of concurrent requests one succeeds, the others get a conflict.
    """
    if booking.job.state in CLOSED:
        raise Conflict("job-closed/booking", field="job", state=term(booking.job.state))
    _allowed(booking, by, now)
    booking.booked_by, booking.booked_at = by, now
    return record_create(booking)


@transaction.atomic
def booking_move(
    *, booking: Booking, starts_at: datetime, ends_at: datetime, by: User, now: datetime
) -> Booking:
    """Move a booking to another span; as `booking_make`."""
    booking = _open(booking)
    booking.starts_at, booking.ends_at = starts_at, ends_at
    _allowed(booking, by, now)
    return record_change(booking, {"starts_at": starts_at, "ends_at": ends_at})


@transaction.atomic
def booking_cancel(*, booking: Booking, now: datetime) -> Booking:
    """Cancel a booking. Raises Conflict if it is already cancelled or checked out."""
    booking = _open(booking)
    if booking.events.exists():
        raise Conflict("checked-out/cancel")
    return record_change(booking, {"cancelled_at": now})


@dataclass(frozen=True, slots=True)
class HandoverNote:
    """Time and condition of a check-out or check-in."""

    at: datetime
    condition: str
    note: str = ""


@transaction.atomic
def booking_check_out(*, booking: Booking, note: HandoverNote, by: User, now: datetime) -> BookingEvent:
    """Check the booked instrument out; its holder and location follow."""
    booking = _open(booking)
    if booking.events.exists():
        raise Conflict("checked-out/again")
    holder = booking.job.technician or by
    return _hand_over(
        booking, Handover.CHECK_OUT, note, InstrumentLocation(None, str(booking.job.site), holder), by, now
    )


@transaction.atomic
def booking_check_in(*, booking: Booking, note: HandoverNote, by: User, now: datetime) -> BookingEvent:
    """Check the instrument in; it is in the store without a holder then."""
    booking = _open(booking)
    done = {one.what: one for one in booking.events.all()}
    if Handover.CHECK_OUT not in done or Handover.CHECK_IN in done:
        raise Conflict("not-checked-out")
    if note.at < done[Handover.CHECK_OUT].at:
        raise Conflict("back-too-early", field="at", checked_out_at=at(done[Handover.CHECK_OUT].at))
    return _hand_over(booking, Handover.CHECK_IN, note, InstrumentLocation(None, "store", None), by, now)


@transaction.atomic
def booking_expect(*, booking: Booking, expected_back: datetime | None) -> Booking:
    """Set the expected return. Raises Conflict if the instrument is not checked out."""
    booking = _open(booking)
    done = set(booking.events.values_list("what", flat=True))
    if done != {Handover.CHECK_OUT}:
        raise Conflict("not-checked-out")
    return record_change(booking, {"expected_back": expected_back})


def _hand_over(
    booking: Booking, what: Handover, note: HandoverNote, to: InstrumentLocation, by: User, now: datetime
) -> BookingEvent:
    instrument = booking.instrument
    if instrument is None:
        raise Conflict("not-an-instrument")
    if (instrument.location, instrument.holder) != (to.location, to.holder):
        key = "handed-over" if what == Handover.CHECK_OUT else "handed-over/back"
        job = record("job", booking.job_id, booking.job.title)
        reason = system_reason(message(key, job=job, condition=note.condition or None))
        instrument_state_change(instrument=instrument, to=to, reason=reason, by=by, now=now)
    return BookingEvent.objects.create(
        booking=booking, what=what, at=note.at, condition=note.condition, note=note.note,
        recorded_by=by, recorded_at=now,
    )  # fmt: skip


def _open(booking: Booking) -> Booking:
    """Return the booking, locked until the transaction ends."""
    found = Booking.objects.select_for_update().get(pk=booking.pk)
    if found.cancelled_at is not None:
        raise Conflict("cancelled/booking")
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


def _reject_unsuitable(reasons: Iterable[Message], field: str) -> None:
    for one in reasons:
        raise Conflict(one.key, field=field, **one.parameters)
