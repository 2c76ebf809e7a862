"""Instruments, their states, and the versions of a transducer pair's data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from compute.base.messages import message
from compute.measuring.beam import axial_slowness
from compute.measuring.entries import TransducerEntry, resolve_transducers
from surveys.core.errors import Conflict, ServiceError
from surveys.models import Instrument, InstrumentState, Recomputation, TransducerData, User
from surveys.models.instrument import Kind
from surveys.models.reasons import Reason, system_reason
from surveys.models.result import Cause
from surveys.services.fleet.calibrations import (
    calibration_record,
    instrument_lock,
    results_outdated_by_instruments,
)
from surveys.services.records import change_reason, record_change, record_create
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
    """Create an instrument with its first state; a transducer pair with its data."""
    record_create(instrument)
    first = system_reason(message("first-entry"))
    _state_store(instrument, "", first, by, now)
    if entry is not None:
        transducer_data_record(
            instrument=instrument, entry=entry, reason=first, as_entered=as_entered, by=by, now=now
        )
    return instrument


@dataclass(frozen=True, slots=True)
class InstrumentLocation:
    """State, location and holder of an instrument; a state of None is unchanged."""

    state: str | None
    location: str
    holder: User | None


@transaction.atomic
def instrument_state_change(
    *, instrument: Instrument, to: InstrumentLocation, reason: Reason, by: User, now: datetime
) -> InstrumentState:
    """Change the state or location of an instrument, with the reason; the history keeps every change.

    Raises Conflict if state and location are unchanged.
    """
    reason, instrument = change_reason(reason), instrument_lock(instrument.pk)
    before = instrument.state
    state = before if to.state is None else to.state
    if (state, to.location, to.holder) == (before, instrument.location, instrument.holder):
        raise Conflict("state-unchanged", field="state")
    record_change(instrument, {"state": state, "location": to.location, "holder": to.holder})
    return _state_store(instrument, before, reason, by, now)


def _state_store(
    instrument: Instrument, before: str, reason: Reason, by: User, now: datetime
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
    reason: Reason,
    as_entered: Mapping[str, str],
    by: User,
    now: datetime,
    corrects: TransducerData | None = None,
) -> TransducerData:
    """Record a new version of a pair's data; set-ups calculated from now on use it, earlier ones keep theirs.

    With `corrects` the earlier version was always wrong: see `transducer_data_correct`, which recalculates. Raises
    ComputeError for an impossible wedge, ServiceError if the instrument is not a transducer pair.
    """
    if instrument.kind != Kind.TRANSDUCER_PAIR:
        raise ServiceError("wrong-instrument/transducer-pair")
    # As far as it can be judged without a pipe: at the temperature its wedge was stated for.
    transducers, _ = resolve_transducers(entry, entry.wedge_reference_temperature)
    axial_slowness(transducers)
    data = TransducerData(
        instrument=instrument,
        corrects=corrects,
        reason=change_reason(reason),
        recorded_at=now,
        recorded_by=by,
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
    """Correct a version of a pair's data; every survey made with that version is recalculated.

    Raises Conflict if that version is already corrected, otherwise as `transducer_data_record`.
    """
    instrument = instrument_lock(corrects.instrument_id)
    if TransducerData.objects.filter(corrects=corrects).exists():
        raise Conflict("already-corrected/transducer-data", field="corrects")
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
