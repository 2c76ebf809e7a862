"""Instruments and the versions of a transducer pair's data."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from compute.acoustics import axial_slowness
from compute.entries import TransducerEntry, resolve_transducers
from surveys.errors import ServiceError
from surveys.models import Instrument, TransducerData, User
from surveys.models.instrument import Kind
from surveys.services.records import record_create


@transaction.atomic
def instrument_create(
    *,
    instrument: Instrument,
    entry: TransducerEntry | None,
    as_entered: Mapping[str, str],
    by: User,
    now: datetime,
) -> Instrument:
    """A new instrument of the fleet; a transducer pair with its data."""
    record_create(instrument)
    if entry is not None:
        transducer_data_record(
            instrument=instrument, entry=entry, reason="first entry", as_entered=as_entered, by=by, now=now
        )
    return instrument


@transaction.atomic
def transducer_data_record(
    *,
    instrument: Instrument,
    entry: TransducerEntry,
    reason: str,
    as_entered: Mapping[str, str],
    by: User,
    now: datetime,
) -> TransducerData:
    """A new version of a pair's data; set-ups worked out from now on use it, earlier ones keep theirs.

    Raises ComputeError for a wedge that cannot be, ServiceError if the instrument is no transducer pair.
    """
    if instrument.kind != Kind.TRANSDUCER_PAIR:
        raise ServiceError("That instrument is no transducer pair.", code="wrong-instrument")
    # As far as it can be judged without a pipe: at the temperature its wedge was stated for.
    transducers, _ = resolve_transducers(entry, entry.wedge_reference_temperature)
    axial_slowness(transducers)
    data = TransducerData(instrument=instrument, reason=reason, recorded_at=now, recorded_by=by)
    data.set_entry(entry)
    data.as_entered = dict(as_entered)
    data.save(force_insert=True)
    return data
