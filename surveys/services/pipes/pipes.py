"""Pipes: first data, corrections, modifications, wall measurements."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from compute.measuring.beam import check_dimensions
from compute.measuring.entries import MediumEntry, PipeEntry, resolve_medium, resolve_pipe
from compute.measuring.wall import Wall, wall_from_readings
from surveys.core.errors import Conflict, ServiceError
from surveys.models import (
    CustomMaterial,
    CustomMedium,
    Instrument,
    Pipe,
    PipeData,
    Recomputation,
    Result,
    Site,
    User,
    WallMeasurement,
)
from surveys.models.instrument import Kind
from surveys.models.pipe import Change
from surveys.models.reasons import Reason
from surveys.models.result import Cause
from surveys.pipes.selectors import pipe_data_at, pipe_data_valid
from surveys.results.inputs_in_force import results_outdated
from surveys.services.records import change_reason, chosen_id, record_create, required_reason
from surveys.services.results.recomputations import Change as Recorded
from surveys.services.results.recomputations import recomputation_start


@dataclass(frozen=True, slots=True)
class PipeStatement:
    """A pipe and its medium as entered, with the entered text by request path."""

    pipe: PipeEntry
    medium: MediumEntry
    as_entered: Mapping[str, str]


@transaction.atomic
def pipe_create(
    *,
    site: Site,
    name: str,
    description: str,
    statement: PipeStatement,
    valid_from: date | None,
    by: User,
    now: datetime,
    wanted_id: UUID | None = None,
) -> Pipe:
    """Create a pipe with its first data.

    Raises ComputeError for impossible data (no bore left, an unknown material).
    """
    pipe = Pipe(id=chosen_id(Pipe, wanted_id), site=site, name=name, description=description)
    record_create(pipe)
    _data(pipe, statement, change=Change.FIRST, valid_from=valid_from, by=by, now=now).save(force_insert=True)
    return pipe


@transaction.atomic
def pipe_correct(
    *,
    pipe: Pipe,
    corrects: PipeData,
    statement: PipeStatement,
    reason: Reason,
    valid_from: date | None,
    wall_measurement: WallMeasurement | None,
    by: User,
    now: datetime,
) -> tuple[PipeData, Recomputation]:
    """Correct pipe data that was always wrong. Every survey based on it is recalculated.

    Raises Conflict if that version is already corrected.
    """
    _lock(pipe)
    if corrects.pipe_id != pipe.id:
        raise ServiceError("other-pipe/pipe-data", field="corrects")
    if PipeData.objects.filter(corrects=corrects).exists():
        raise Conflict("already-corrected/pipe-data", field="corrects")
    data = _data(pipe, statement, change=Change.CORRECTION, valid_from=valid_from, by=by, now=now)
    data.corrects, data.reason, data.wall_measurement = (
        corrects,
        change_reason(reason),
        _wall_measurement_of(pipe, wall_measurement),
    )
    data.save(force_insert=True)
    return data, _recompute(data, Cause.CORRECTION)


@transaction.atomic
def pipe_alter(
    *,
    pipe: Pipe,
    statement: PipeStatement,
    reason: str,
    valid_from: date,
    wall_measurement: WallMeasurement | None,
    by: User,
    now: datetime,
) -> tuple[PipeData, Recomputation]:
    """Record new pipe data of a pipe modified on a date. Surveys before that date keep their pipe data."""
    _lock(pipe)
    data = _data(pipe, statement, change=Change.MODIFICATION, valid_from=valid_from, by=by, now=now)
    data.reason, data.wall_measurement = required_reason(reason), _wall_measurement_of(pipe, wall_measurement)
    data.save(force_insert=True)
    return data, _recompute(data, Cause.MODIFICATION)


@transaction.atomic
def measured_wall(
    pipe: Pipe, gauge: Instrument, readings_m: Sequence[float], gauge_velocity_setting_m_s: float | None
) -> Wall:
    """Return the wall thickness from readings of a pipe, without storing them."""
    if gauge.kind != Kind.THICKNESS_GAUGE:
        raise ServiceError("wrong-instrument/not-a-thickness-gauge", field="gauge")
    if gauge.standard_uncertainty_m is None:
        raise ServiceError("gauge-uncertainty-missing", field="gauge")
    speed, uncertainty = _wall_sound_speed(pipe)
    return wall_from_readings(
        readings_m,
        gauge_uncertainty=gauge.standard_uncertainty_m,
        gauge_velocity_setting=gauge_velocity_setting_m_s,
        wall_sound_speed=speed,
        wall_sound_speed_uncertainty=uncertainty,
    )


def wall_measurement_record(
    *,
    pipe: Pipe,
    gauge: Instrument,
    readings_m: Sequence[float],
    gauge_velocity_setting_m_s: float | None,
    taken_at: datetime,
    note: str,
    as_entered: Mapping[str, str],
    by: User,
    wanted_id: UUID | None = None,
) -> WallMeasurement:
    """Store wall-thickness readings, with their mean, standard deviation and standard uncertainty of the mean.

    Readings of a gauge set to another sound speed than that of the pipe's material are corrected; they are stored as shown.
    """
    wall = measured_wall(pipe, gauge, readings_m, gauge_velocity_setting_m_s)
    wall_measurement = WallMeasurement(
        id=chosen_id(WallMeasurement, wanted_id),
        pipe=pipe,
        gauge=gauge,
        taken_at=taken_at,
        taken_by=by,
        readings_m=list(readings_m),
        mean_m=wall.mean,
        standard_deviation_m=wall.standard_deviation,
        standard_uncertainty_m=wall.standard_uncertainty,
        minimum_m=wall.minimum,
        maximum_m=wall.maximum,
        gauge_velocity_setting_m_s=gauge_velocity_setting_m_s,
        correction_factor=wall.correction_factor,
        note=note,
        as_entered=dict(as_entered),
    )
    wall_measurement.save(force_insert=True)
    return wall_measurement


def _recompute(data: PipeData, cause: str) -> Recomputation:
    moved = results_outdated(Result.objects.filter(survey__measuring_point__pipe=data.pipe))
    change = Recorded(cause, data.reason, data.recorded_by, data.recorded_at, {"pipe_data": data}, data.pipe)
    return recomputation_start(change, moved)


def _wall_sound_speed(pipe: Pipe) -> tuple[float | None, float]:
    """Return the longitudinal sound speed of a pipe's wall, and its relative standard uncertainty from the range of the sources."""
    data = pipe_data_valid(PipeData.objects.filter(pipe=pipe), date.max)
    if data is None:
        return None, 0.0
    resolved = resolve_pipe(data.pipe_entry(), data.medium_temperature_k)
    speed = float(resolved.pipe.wall.longitudinal_sound_speed)
    if resolved.wall_solid is None:
        return speed, 0.0
    low, high = resolved.wall_solid.longitudinal_range
    return speed, (high - low) / math.sqrt(12) / speed


def version_to_correct(pipe: Pipe, at: date) -> PipeData:
    """Return the version in force at a date, the default of a correction."""
    data = pipe_data_at(pipe, at) or pipe_data_valid(pipe.data.all(), date.max)
    if data is None:
        raise Conflict("no-pipe-data/correction")
    return data


def _lock(pipe: Pipe) -> None:
    # One at a time for a pipe: corrections, modifications and log imports see each other's changes.
    Pipe.objects.select_for_update(no_key=True).get(pk=pipe.pk)


def _data(
    pipe: Pipe, statement: PipeStatement, *, change: str, valid_from: date | None, by: User, now: datetime
) -> PipeData:
    _check_possible(statement)
    data = PipeData(pipe=pipe, change=change, valid_from=valid_from, recorded_at=now, recorded_by=by)
    data.set_pipe(statement.pipe)
    data.set_medium(statement.medium)
    data.as_entered = dict(statement.as_entered)
    _check_versions(data)
    return data


def _check_versions(data: PipeData) -> None:
    """Reject data based on a version of a custom material or medium that was revised since the request read it."""
    for solid in (data.custom_material_data, data.custom_lining_data):
        if solid is not None:
            material = CustomMaterial.objects.select_for_update().get(pk=solid.material_id)
            _check_newest(solid == material.versions.first(), material.name)
    if data.custom_medium_data is not None:
        medium = CustomMedium.objects.select_for_update().get(pk=data.custom_medium_data.medium_id)
        _check_newest(data.custom_medium_data == medium.versions.first(), medium.name)


def _check_newest(newest: bool, name: str) -> None:
    if not newest:
        raise Conflict("revised-meanwhile", name=name)


def _check_possible(statement: PipeStatement) -> None:
    """Check by the physics that the data are possible, before they are stored."""
    resolved = resolve_pipe(statement.pipe, statement.medium.temperature)
    check_dimensions(resolved.pipe)
    resolve_medium(statement.medium)


def _wall_measurement_of(pipe: Pipe, wall_measurement: WallMeasurement | None) -> WallMeasurement | None:
    if wall_measurement is not None and wall_measurement.pipe_id != pipe.id:
        raise ServiceError("other-pipe/wall-measurement", field="wall_measurement")
    return wall_measurement
