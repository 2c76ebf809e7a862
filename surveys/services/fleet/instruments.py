"""Instruments, their states, and the versions of a transducer pair's data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from compute.measuring.beam import axial_slowness
from compute.measuring.entries import TransducerEntry, resolve_transducers
from surveys.core.errors import Conflict, ServiceError
from surveys.models import Instrument, InstrumentState, Recomputation, TransducerData, User
from surveys.models.instrument import Kind
from surveys.models.result import Cause
from surveys.services.fleet.calibrations import (
    calibration_record,
    instrument_lock,
    results_outdated_by_instruments,
)
from surveys.services.records import record_change, record_create, said
from surveys.services.results.recomputations import Change, recomputation_start

__all__ = [
    "InstrumentLocation",
    "calibration_record",
    "instrument_create",
    "instrument_state_change",
    "transducer_data_correct",
    "transducer_data_record",
]


@transaction.atomic
def instrument_create(
    *,
    instrument: Instrument,
    entry: TransducerEntry | None,
    as_entered: Mapping[str, str],
    by: User,
    now: datetime,
) -> Instrument:
    """A new instrument of the fleet with its first state; a transducer pair with its data."""
    record_create(instrument)
    _state_store(instrument, "", "first entry", by, now)
    if entry is not None:
        transducer_data_record(
            instrument=instrument, entry=entry, reason="first entry", as_entered=as_entered, by=by, now=now
        )
    return instrument


@dataclass(frozen=True, slots=True)
class InstrumentLocation:
    """In what state an instrument is, where, and who has it; a state of None stays as it was."""

    state: str | None
    location: str
    holder: User | None


@transaction.atomic
def instrument_state_change(
    *, instrument: Instrument, to: InstrumentLocation, reason: str, by: User, now: datetime
) -> InstrumentState:
    """Put an instrument into another state or place, with the reason; the history keeps every step.

    Raises Conflict if it is there already: somebody else did it meanwhile, or nothing would be said.
    """
    reason, instrument = said(reason), instrument_lock(instrument.pk)
    before = instrument.state
    state = before if to.state is None else to.state
    if (state, to.location, to.holder) == (before, instrument.location, instrument.holder):
        raise Conflict("That is how it stands already.", code="state-unchanged", field="state")
    record_change(instrument, {"state": state, "location": to.location, "holder": to.holder})
    return _state_store(instrument, before, reason, by, now)


def _state_store(
    instrument: Instrument, before: str, reason: str, by: User, now: datetime
) -> InstrumentState:
    return InstrumentState.objects.create(
        instrument=instrument,
        before=before,
        state=instrument.state,
        reason=reason,
        location=instrument.location,
        holder=instrument.holder,
        recorded_by=by,
        recorded_at=now,
    )


@transaction.atomic
def transducer_data_record(
    *,
    instrument: Instrument,
    entry: TransducerEntry,
    reason: str,
    as_entered: Mapping[str, str],
    by: User,
    now: datetime,
    corrects: TransducerData | None = None,
) -> TransducerData:
    """A new version of a pair's data; set-ups worked out from now on use it, earlier ones keep theirs.

    With `corrects` it says that a version was always wrong: see `transducer_data_correct`, which recomputes. Raises
    ComputeError for a wedge that cannot be, ServiceError if the instrument is no transducer pair.
    """
    if instrument.kind != Kind.TRANSDUCER_PAIR:
        raise ServiceError("That instrument is no transducer pair.", code="wrong-instrument")
    # As far as it can be judged without a pipe: at the temperature its wedge was stated for.
    transducers, _ = resolve_transducers(entry, entry.wedge_reference_temperature)
    axial_slowness(transducers)
    data = TransducerData(
        instrument=instrument, corrects=corrects, reason=said(reason), recorded_at=now, recorded_by=by
    )
    data.set_entry(entry)
    data.as_entered = dict(as_entered)
    data.save(force_insert=True)
    return data


@transaction.atomic
def transducer_data_correct(
    *,
    corrects: TransducerData,
    entry: TransducerEntry,
    reason: str,
    as_entered: Mapping[str, str],
    by: User,
    now: datetime,
) -> tuple[TransducerData, Recomputation]:
    """New data of a pair because a version was always wrong: every survey made with that version is recomputed.

    Raises Conflict if that version was corrected already, else as `transducer_data_record`.
    """
    instrument = instrument_lock(corrects.instrument_id)
    if TransducerData.objects.filter(corrects=corrects).exists():
        raise Conflict(
            "That version was corrected already; correct the one that took its place.",
            code="already-corrected",
            field="corrects",
        )
    data = transducer_data_record(
        instrument=instrument,
        entry=entry,
        reason=reason,
        as_entered=as_entered,
        by=by,
        now=now,
        corrects=corrects,
    )
    change = Change(Cause.TRANSDUCER_CORRECTION, data.reason, by, now, {"transducer_data": data})
    return data, recomputation_start(change, results_outdated_by_instruments([instrument]))
