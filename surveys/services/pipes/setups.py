"""Set-ups: calculated from the pipe data of the day and stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from compute.results.survey import METHOD_VERSION, CalculatedSetup, calculate_setup
from surveys.calibration.capabilities import with_rail
from surveys.core.errors import Conflict, ServiceError
from surveys.core.stored_quantities import calculation_json
from surveys.models import Instrument, MeasuringPoint, Setup, User
from surveys.models.instrument import Kind
from surveys.pipes.selectors import pipe_data_at, place_of, survey_medium, transducer_data_now
from surveys.services.records import chosen_id


@dataclass(frozen=True, slots=True)
class SetupRequest:
    """Requested values of a set-up, SI; None: as recommended or as in the pipe data."""

    transducers: Instrument
    meter: Instrument | None = None
    traverses: int | None = None
    expected_velocity_m_s: float | None = None
    medium_temperature_k: float | None = None
    medium_temperature_source: str = ""
    based_on: Setup | None = None
    as_entered: Mapping[str, str] | None = None


def setup_calculate(
    *, point: MeasuringPoint, requested: SetupRequest, by: User, now: datetime, wanted_id: UUID | None = None
) -> Setup:
    """Calculate the set-up of a transducer pair at a measuring point, and store it.

    Raises ComputeError when no beam passes, Conflict when the pipe has no data for today or the id exists,
    ServiceError when the instrument is not a transducer pair.
    """
    data = pipe_data_at(point.pipe, now.astimezone(point.pipe.site.zone).date())
    if data is None:
        raise Conflict("no-pipe-data/set-up")
    if requested.transducers.kind != Kind.TRANSDUCER_PAIR:
        raise ServiceError("wrong-instrument/not-a-transducer-pair", field="transducers")
    pair = transducer_data_now(requested.transducers)
    if pair is None:
        raise Conflict("no-transducer-data", field="transducers")
    setup = Setup(
        id=chosen_id(Setup, wanted_id),
        measuring_point=point,
        pipe_data=data,
        transducer_data=pair,
        based_on=requested.based_on,
        expected_velocity_m_s=requested.expected_velocity_m_s,
        medium_temperature_k=requested.medium_temperature_k,
        medium_temperature_source=requested.medium_temperature_source,
        method_version=METHOD_VERSION,
        calculated_at=now,
        calculated_by=by,
        as_entered=dict(requested.as_entered or {}),
    )
    if requested.meter is not None and requested.meter.kind != Kind.METER:
        raise ServiceError("wrong-instrument/not-a-meter", field="meter")
    calculated = _calculate(setup, requested)
    setup.traverses = calculated.spacing.traverses
    setup.spacing_m = float(calculated.spacing.spacing)
    setup.outcome = calculation_json(calculated)
    with transaction.atomic():
        setup.save(force_insert=True)
    return setup


def _calculate(setup: Setup, requested: SetupRequest) -> CalculatedSetup:
    return calculate_setup(
        setup.pipe_data.pipe_entry(),
        survey_medium(setup, setup.pipe_data),
        with_rail(setup.transducer_data.entry(), requested.transducers),
        traverses=requested.traverses,
        expected_velocity=setup.expected_velocity_m_s,
        place=place_of(setup.measuring_point),
        timing_resolution=requested.meter.timing_resolution_s if requested.meter else None,
    )
