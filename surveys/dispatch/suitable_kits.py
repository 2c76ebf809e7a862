"""Suitable equipment for a job: each transducer pair calculated on the pipe of each point, and other reasons against an instrument."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from django.db.models import Prefetch

from compute.base.errors import ComputeError
from compute.base.messages import Message, message, quantity, record, term
from compute.measuring.beam import Layer, Transducers
from compute.measuring.entries import TransducerEntry, resolve_medium, resolve_pipe, resolve_transducers
from compute.measuring.setup_checks import transducer_temperature
from compute.measuring.spacing import USUAL_TIMING_RESOLUTION
from compute.measuring.suitability import ORDER, SuitabilityTable, suit
from surveys.calibration.capabilities import Capabilities, capabilities_of
from surveys.calibration.due_list import office_today
from surveys.core.errors import Conflict
from surveys.dispatch.availability import instrument_unsuitable_reasons
from surveys.models import Instrument, Job, MeasuringPoint, PipeData, Setup, TransducerData
from surveys.models.instrument import Kind, State
from surveys.pipes.selectors import Viewer, pipe_data_valid, place_of, transducer_data_latest


@dataclass(frozen=True, slots=True)
class PointRequirements:
    """Requirements of a point: velocity expected [m/s], the meter's timing resolution [s], straight length [m]."""

    velocity: float | None
    resolution: float
    room: float | None


@dataclass(frozen=True, slots=True)
class AtPoint:
    """A pair at a point: mounting [m], expected time difference [s], reasons against it."""

    point: MeasuringPoint
    traverses: int | None = None
    spacing: float | None = None
    time_difference: float | None = None
    alternatives: tuple[int, ...] = ()
    unsuitable_reasons: tuple[Message, ...] = ()


@dataclass(frozen=True, slots=True)
class KitRow:
    """An instrument and the reasons against it; of a pair also for each point."""

    instrument: Instrument
    unsuitable_reasons: list[Message]
    at_points: list[AtPoint]

    @property
    def fitting(self) -> int:
        """The number of points without a reason against it."""
        return sum(not one.unsuitable_reasons for one in self.at_points)

    @property
    def suitable(self) -> bool:
        """Whether it is suitable, at every point."""
        return not self.unsuitable_reasons and self.fitting == len(self.at_points)


def suitable_kits(job: Job, viewer: Viewer, now: datetime) -> list[KitRow]:
    """Return every instrument that is not retired, in a constant number of queries; those that suit most points first.

    The time difference is compared with the finest resolution among the meters that can be booked (a default where it is not known).
    Raises Conflict if the job has no points.
    """
    points = _points(job)
    if not points:
        raise Conflict("no-points/suitability")
    fleet = list(Instrument.objects.visible_to(viewer).exclude(state=State.RETIRED).select_related("holder"))
    against = instrument_unsuitable_reasons(
        fleet, job.starts_at, job.ends_at, viewer=viewer, now=now, job=job
    )
    meters = [one for one in fleet if one.kind == Kind.METER and not against[one.pk]]
    able = capabilities_of(fleet)
    resolution = min(
        (resolution for one in meters if (resolution := able[one.pk].timing_resolution_s)),
        default=USUAL_TIMING_RESOLUTION,
    )
    pairs = [one for one in fleet if one.kind == Kind.TRANSDUCER_PAIR]
    cells = _pairs_at_points(pairs, points, job, resolution)
    cells = {pk: [_rail_findings(cell, able[pk]) for cell in row] for pk, row in cells.items()}
    walls = _walls(points, job)
    rows = [
        KitRow(
            one,
            [
                *against[one.pk],
                *_no_data(one, cells),
                *_frequency_reason(able[one.pk], [able[meter.pk] for meter in meters]),
                *_beyond_its_range(one, able[one.pk], walls),
            ],
            cells.get(one.pk, []),
        )
        for one in fleet
    ]
    return sorted(rows, key=_order)


def fit_for_every_point(job: Job, viewer: Viewer, now: datetime) -> set[UUID]:
    """Return the instruments that fit every point of the job, available or not."""
    of_fit = {"wall-outside-range", "pair-without-data", "frequency-not-supported"}
    return {
        row.instrument.pk
        for row in suitable_kits(job, viewer, now)
        if row.fitting == len(row.at_points) and not of_fit & {one.code for one in row.unsuitable_reasons}
    }


def _rail_findings(cell: AtPoint, able: Capabilities) -> AtPoint:
    """Return a pair at a point, with a reason if its rail does not allow the spacing."""
    low, high, spacing = able.min_spacing_m, able.max_spacing_m, cell.spacing
    if spacing is None or not ((low is not None and spacing < low) or (high is not None and spacing > high)):
        return cell
    reason = message(
        "spacing-outside-rail",
        point=cell.point.name,
        value=quantity(spacing, "length"),
        limit=quantity(low if low is not None and spacing < low else high, "length"),
        low=quantity(low, "length"),
        high=quantity(high, "length"),
    )
    return replace(cell, unsuitable_reasons=(*cell.unsuitable_reasons, reason))


def _frequency_reason(able: Capabilities, meters: Sequence[Capabilities]) -> list[Message]:
    """Return a reason if no available meter supports the frequency of the pair; a meter without a range supports any."""
    frequency = able.frequency_hz
    if frequency is None or not meters or any(_drives(meter, frequency) for meter in meters):
        return []
    return [message("frequency-not-supported", value=quantity(frequency, "frequency"))]


def _drives(meter: Capabilities, frequency: float) -> bool:
    low, high = meter.min_frequency_hz, meter.max_frequency_hz
    return (low is None or low <= frequency) and (high is None or frequency <= high)


def _walls(points: Sequence[MeasuringPoint], job: Job) -> list[tuple[str, float]]:
    """Return the name and wall thickness [m] of each point with pipe data."""
    day = office_today(job.starts_at)
    known = ((point.name, pipe_data_valid(point.pipe.data.all(), day)) for point in points)
    return [(name, data.wall_thickness_m) for name, data in known if data is not None]


def _beyond_its_range(one: Instrument, able: Capabilities, walls: list[tuple[str, float]]) -> list[Message]:
    """Return reasons for walls of the job outside the range of a thickness gauge."""
    if one.kind != Kind.THICKNESS_GAUGE:
        return []
    low, high = able.min_wall_thickness_m, able.max_wall_thickness_m
    return [
        message(
            "wall-outside-range",
            point=name,
            instrument=record("instrument", one.pk, str(one)),
            value=quantity(wall, "length"),
            limit=quantity(low if low is not None and wall < low else high, "length"),
            low=quantity(low, "length"),
            high=quantity(high, "length"),
        )
        for name, wall in walls
        if (low is not None and wall < low) or (high is not None and wall > high)
    ]


def _order(row: KitRow) -> tuple[str, bool, int, int, str]:
    return (
        row.instrument.kind,
        not row.suitable,
        len(row.unsuitable_reasons),
        -row.fitting,
        row.instrument.serial,
    )


def _no_data(one: Instrument, cells: dict[UUID, list[AtPoint]]) -> list[Message]:
    if one.kind != Kind.TRANSDUCER_PAIR or one.pk in cells:
        return []
    return [message("pair-without-data", instrument=record("instrument", one.pk, str(one)))]


def _points(job: Job) -> list[MeasuringPoint]:
    data = PipeData.objects.select_related("custom_material_data", "custom_lining_data", "custom_medium_data")
    return list(
        job.measuring_points.select_related("pipe").prefetch_related(Prefetch("pipe__data", queryset=data))
    )


def _pairs_at_points(
    pairs: Sequence[Instrument], points: Sequence[MeasuringPoint], job: Job, resolution: float
) -> dict[UUID, list[AtPoint]]:
    """Return each pair with data at each point."""
    latest = transducer_data_latest(TransducerData.objects.filter(instrument__in=pairs))
    entries = {pk: data.entry() for pk, data in latest.items()}
    calculated = Setup.objects.filter(measuring_point__in=points).order_by("calculated_at", "id")
    velocities = dict(calculated.values_list("measuring_point", "expected_velocity_m_s"))
    cells: dict[UUID, list[AtPoint]] = {pk: [] for pk in entries}
    for point in points:
        requirements = PointRequirements(velocities.get(point.pk), resolution, place_of(point).room)
        row = _at_point(point, list(entries.values()), job, requirements)
        for pk, cell in zip(entries, row, strict=True):
            cells[pk].append(cell)
    return cells


def _at_point(
    point: MeasuringPoint,
    entries: Sequence[TransducerEntry],
    job: Job,
    requirements: PointRequirements,
) -> Iterable[AtPoint]:
    data = pipe_data_valid(point.pipe.data.all(), office_today(job.starts_at))
    if data is None:
        reason = message("pipe-without-data", point=point.name)
        return [AtPoint(point, unsuitable_reasons=(reason,))] * len(entries)
    medium_entry = data.medium_entry()
    temperature = medium_entry.temperature
    try:
        medium, pipe = resolve_medium(medium_entry).medium, resolve_pipe(data.pipe_entry(), temperature).pipe
        pairs = [_warm(one, temperature) for one in entries]
        suited = suit(
            pipe,
            medium,
            pairs,
            expected_velocity=requirements.velocity,
            timing_resolution=requirements.resolution,
            room=requirements.room,
        )
    except ComputeError as error:
        if len(entries) > 1:  # One impossible pair does not affect the others.
            return [cell for entry in entries for cell in _at_point(point, [entry], job, requirements)]
        reason = message("not-computable", point=point.name, error=error.message)
        return [AtPoint(point, unsuitable_reasons=(reason,))]
    layers = [
        ("wall", _slowest(pipe.wall)), *(("lining", _slowest(one)) for one in pipe.linings),
        ("medium", float(medium.sound_speed)),
    ]  # fmt: skip
    blocked = [_blocked(point, suited, at, layers) for at in range(len(entries))]
    return [
        _cell(
            point, suited, at, requirements, (*blocked[at], *_temperature_reasons(point, entry, temperature))
        )
        for at, entry in enumerate(entries)
    ]


def _warm(entry: TransducerEntry, temperature: float | None) -> Transducers:
    return resolve_transducers(entry, temperature)[0]


def _slowest(layer: Layer) -> float:
    """Return the sound speed of the slowest wave in a layer [m/s]."""
    if layer.shear_sound_speed is None or layer.wave_mode == "longitudinal":
        return float(layer.longitudinal_sound_speed)
    return float(layer.shear_sound_speed)


def _blocked(
    point: MeasuringPoint, suited: SuitabilityTable, at: int, layers: Sequence[tuple[str, float]]
) -> tuple[Message, ...]:
    if not suited.blocked_by[at]:
        return ()
    limit = float(suited.axial_speed[at])
    layer, speed = layers[int(suited.blocked_by[at]) - 1]
    return (
        message(
            "no-refracted-wave/at-point",
            point=point.name,
            layer=term(layer),
            value=quantity(speed, "speed"),
            limit=quantity(limit, "speed"),
        ),
    )


def _temperature_reasons(
    point: MeasuringPoint, entry: TransducerEntry, temperature: float | None
) -> tuple[Message, ...]:
    """Return the reasons from `transducer_temperature`."""
    found = transducer_temperature(temperature, entry.min_temperature, entry.max_temperature)
    return tuple(one.message for one in found)


def _cell(
    point: MeasuringPoint,
    suited: SuitabilityTable,
    at: int,
    requirements: PointRequirements,
    unsuitable_reasons: tuple[Message, ...],
) -> AtPoint:
    if suited.blocked_by[at]:
        return AtPoint(point, unsuitable_reasons=unsuitable_reasons)
    row, velocity, resolution = int(suited.chosen[at]), requirements.velocity, requirements.resolution
    spacing = float(suited.spacing[row, at])
    difference = (
        None if velocity is None else abs(velocity) * float(suited.time_difference_per_velocity[row, at])
    )
    if not suited.fits[row, at]:
        unsuitable_reasons += _mismatch_reasons(
            point, spacing, (float(suited.beam[row, at]), float(suited.max_beam[at])), requirements.room
        )
    if difference is not None and difference < resolution:
        unsuitable_reasons += (
            message(
                "time-difference-too-small",
                point=point.name,
                value=quantity(difference, "time_difference"),
                limit=quantity(resolution, "time_difference"),
            ),
        )
    others = tuple(n for other, n in enumerate(ORDER) if other != row and suited.fits[other, at])
    return AtPoint(point, ORDER[row], spacing, difference, others, unsuitable_reasons)


def _mismatch_reasons(
    point: MeasuringPoint, spacing: float, beam: tuple[float, float], room: float | None
) -> tuple[Message, ...]:
    """Return reasons why no usual number of traverses fits, for the shortest beam; `beam` with the longest allowed."""
    if room is not None and spacing > room:
        return (
            message(
                "spacing-too-long/at-point",
                point=point.name,
                value=quantity(spacing, "length"),
                limit=quantity(room, "length"),
            ),
        )
    length, longest = beam
    return (
        message(
            "beam-too-long",
            point=point.name,
            value=quantity(length, "length"),
            limit=quantity(longest, "length"),
        ),
    )
