"""Records of the scenario: equipment, pipe, measuring point and job, created by the services where a service exists."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from compute.base.units import parse_quantity
from compute.measuring.entries import MaterialEntry, MediumEntry, PipeEntry
from surveys.commands.demo import scenario
from surveys.commands.demo.kit import transducer_entry
from surveys.models import (
    Calibration,
    Client,
    Instrument,
    Job,
    MeasuringPoint,
    Pipe,
    Site,
    User,
)
from surveys.models.instrument import Kind
from surveys.models.job import JobState
from surveys.services.fleet.calibrations import calibration_record
from surveys.services.fleet.instruments import instrument_create
from surveys.services.pipes.pipes import PipeStatement, pipe_create


def si(text: str, kind: str) -> float:
    """Return the SI value of a quantity of the scenario."""
    return parse_quantity(text, kind).si


@dataclass(frozen=True, slots=True)
class KitRecords:
    """Equipment of the scenario."""

    meter: Instrument
    pair: Instrument
    gauge: Instrument

    @property
    def all(self) -> tuple[Instrument, ...]:
        """Return all instruments."""
        return self.meter, self.pair, self.gauge


def make_kit(by: User, now: datetime) -> KitRecords:
    """Create the meter, the transducer pair and the thickness gauge, in calibration on the day of the survey."""
    return KitRecords(
        meter=_instrument(
            Kind.METER, scenario.METER, by, now, minimum_signal_db=si(scenario.MINIMUM_SIGNAL, "ratio_db")
        ),
        pair=_instrument(Kind.TRANSDUCER_PAIR, scenario.PAIR, by, now),
        gauge=_instrument(
            Kind.THICKNESS_GAUGE,
            scenario.GAUGE,
            by,
            now,
            standard_uncertainty_m=si(scenario.GAUGE_UNCERTAINTY, "length"),
        ),
    )


def _instrument(kind: Kind, names: tuple[str, str], by: User, now: datetime, **fields: float) -> Instrument:
    type_name, serial = names
    if known := Instrument.objects.filter(kind=kind, serial=serial).first():
        return known
    pair = kind == Kind.TRANSDUCER_PAIR
    instrument = instrument_create(
        instrument=Instrument(kind=kind, serial=serial, type_name=type_name, **fields),
        entry=transducer_entry() if pair else None,
        as_entered=AS_ENTERED if pair else {},
        by=by,
        now=now,
    )
    calibration = Calibration(
        instrument=instrument,
        certificate=f"C-{serial}",
        laboratory="Harbour Row Calibration",
        calibrated_on=scenario.CALIBRATED_ON,
        due_on=scenario.CALIBRATION_DUE_ON,
    )
    calibration_record(calibration=calibration, by=by, now=now)
    return instrument


AS_ENTERED = {
    "frequency": scenario.FREQUENCY,
    "wedge_sound_speed": scenario.WEDGE_SOUND_SPEED,
    "wedge_temperature_coefficient": scenario.WEDGE_TEMPERATURE_COEFFICIENT,
    "wedge_reference_temperature": scenario.WEDGE_REFERENCE_TEMPERATURE,
    "wedge_angle": scenario.WEDGE_ANGLE,
    "face_offset": scenario.FACE_OFFSET,
    "wedge_delay": scenario.WEDGE_DELAY,
}


def make_pipe(by: User) -> Pipe:
    """Create a new pipe at the site of the scenario with the pipe data as entered."""
    site, _ = Site.objects.get_or_create(
        client=Client.objects.get(name=scenario.CLIENT),
        name=scenario.SITE,
        defaults={
            "address": scenario.ADDRESS,
            "time_zone": scenario.TIME_ZONE,
            "access_notes": scenario.ACCESS,
        },
    )
    again = Pipe.objects.filter(site=site).count()
    statement = PipeStatement(
        pipe=PipeEntry(
            outer_diameter=si(scenario.OUTER_DIAMETER, "length"),
            wall_thickness=si(scenario.WALL_AS_ENTERED, "length"),
            material=MaterialEntry(scenario.MATERIAL),
        ),
        medium=MediumEntry(
            name=scenario.MEDIUM,
            temperature=si(scenario.MEDIUM_TEMPERATURE, "temperature"),
            temperature_source="measured",
            pressure=si(scenario.MEDIUM_PRESSURE, "pressure"),
        ),
        as_entered={
            "pipe.outer_diameter": scenario.OUTER_DIAMETER,
            "pipe.wall_thickness": scenario.WALL_AS_ENTERED,
            "medium.temperature": scenario.MEDIUM_TEMPERATURE,
            "medium.pressure": scenario.MEDIUM_PRESSURE,
        },
    )
    # The pipe data were recorded before the survey.
    before = scenario.SURVEY_STARTED_AT - timedelta(days=20)
    name = scenario.PIPE if not again else f"{scenario.PIPE} ({again + 1})"
    return pipe_create(
        site=site, name=name, description="", statement=statement, valid_from=None, by=by, now=before
    )


def make_point(pipe: Pipe) -> MeasuringPoint:
    """Create the measuring point."""
    return MeasuringPoint.objects.create(
        pipe=pipe,
        name=scenario.POINT,
        upstream_disturbance=scenario.DISTURBANCE,
        upstream_straight_length_m=si(scenario.UPSTREAM_STRAIGHT, "length"),
        downstream_straight_length_m=si(scenario.DOWNSTREAM_STRAIGHT, "length"),
        orientation="horizontal",
        mounting="side",
        full_pipe=True,
        as_entered={
            "upstream_straight_length": scenario.UPSTREAM_STRAIGHT,
            "downstream_straight_length": scenario.DOWNSTREAM_STRAIGHT,
        },
    )


def make_job(point: MeasuringPoint, technician: User, kit: KitRecords) -> Job:
    """Create the job of the technician at the measuring point."""
    job = Job.objects.create(
        site=point.pipe.site,
        title=f"Flow survey, {point.pipe.name}",
        state=JobState.PLANNED,
        starts_at=scenario.SURVEY_STARTED_AT - timedelta(hours=1, minutes=30),
        ends_at=scenario.SURVEY_STARTED_AT + timedelta(hours=4),
        technician=technician,
    )
    job.measuring_points.set([point])
    job.kit.set(kit.all)
    return job
