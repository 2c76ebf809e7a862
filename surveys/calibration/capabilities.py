"""Capabilities of instruments: their own values, else those of their type."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from typing import Any
from uuid import UUID

from compute.measuring.entries import TransducerEntry
from surveys.models import Instrument, InstrumentType, TransducerData
from surveys.pipes.selectors import transducer_data_latest


@dataclass(frozen=True, slots=True)
class Capabilities:
    """Values in SI; None where neither the instrument nor its type has one. `frequency_hz` is that of the pair."""

    frequency_hz: float | None = None
    min_frequency_hz: float | None = None
    max_frequency_hz: float | None = None
    timing_resolution_s: float | None = None
    minimum_signal_db: float | None = None
    min_velocity_m_s: float | None = None
    max_velocity_m_s: float | None = None
    min_temperature_k: float | None = None
    max_temperature_k: float | None = None
    min_spacing_m: float | None = None
    max_spacing_m: float | None = None
    hazardous_area_certified: bool | None = None
    min_wall_thickness_m: float | None = None
    max_wall_thickness_m: float | None = None


def capabilities_of(instruments: Iterable[Instrument]) -> dict[UUID, Capabilities]:
    """Return the capabilities of instruments by id, in two queries."""
    fleet = list(instruments)
    types = types_of(fleet)
    latest = transducer_data_latest(TransducerData.objects.filter(instrument__in=fleet))
    return {one.pk: _closest(one, latest.get(one.pk), types.get((one.kind, one.type_name))) for one in fleet}


def with_rail(entry: TransducerEntry, pair: Instrument) -> TransducerEntry:
    """Return the data of a transducer pair with the limits of its rail, those of its type, in one query."""
    of_type = types_of([pair]).get((pair.kind, pair.type_name))
    if of_type is None:
        return entry
    return replace(entry, min_spacing=of_type.min_spacing_m, max_spacing=of_type.max_spacing_m)


def types_of(instruments: Iterable[Instrument]) -> dict[tuple[str, str], InstrumentType]:
    """Return the recorded types of these instruments, by kind and name, in one query."""
    names = {one.type_name for one in instruments}
    return {(one.kind, one.name): one for one in InstrumentType.objects.filter(name__in=names)}


def _closest(*sources: Any) -> Capabilities:
    """Return for each value the first known one among the sources."""
    found = {}
    for field in fields(Capabilities):
        stated = (getattr(source, field.name, None) for source in sources)
        found[field.name] = next((value for value in stated if value is not None), None)
    return Capabilities(**found)
