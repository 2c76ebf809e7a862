"""A survey's records to the physics, and what it answers to a result."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any

from compute.base.prefetch import prefetch
from compute.base.units import unit_named
from compute.combining.time_alignment import FlowLog
from compute.logs.segments import Segment
from compute.logs.series import Outliers
from compute.measuring.beam import Setup as PhysicalSetup
from compute.measuring.entries import resolve_medium, resolve_pipe, resolve_transducers
from compute.results.instrument_errors import MeasuredWall
from compute.results.occasion import InstrumentDay, Occasion
from compute.results.reduction import Readings, Reduction, reduce_log, screened_log
from surveys.core.stored_quantities import beam_json, budget_json, findings_json, finite
from surveys.logfiles.codec import decode_block
from surveys.logfiles.columns import Column
from surveys.models import (
    Log,
    Recomputation,
    Result,
    Setup,
    WallMeasurement,
)
from surveys.pipes.selectors import log_blocks, marked_segments, place_of, survey_date, survey_medium
from surveys.results.inputs_in_force import ResultInputs, inputs_of_result
from surveys.results.instrument_errors import known_errors


@dataclass(frozen=True, slots=True)
class Draft:
    """A reduction with the records it is based on, not stored yet."""

    inputs: ResultInputs
    wall_measurement: WallMeasurement | None
    reduction: Reduction
    log_findings: list[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class LogToReduce:
    """A log to reduce, stored or about to be. `contents` gives its packed blocks in order."""

    columns: tuple[Column, ...]
    rows_rejected: int
    findings: list[dict[str, Any]]
    reading_interval: float | None
    contents: Callable[[], Iterator[bytes | memoryview]]


def stored_log(log: Log) -> LogToReduce:
    """A log as it is stored."""
    return LogToReduce(
        columns=tuple(Column(**column) for column in log.columns),
        rows_rejected=log.rows_rejected,
        findings=log.findings,
        reading_interval=reading_interval(log),
        contents=lambda: log_blocks(log),
    )


def reading_interval(log: Log) -> float | None:
    """Return the mean interval between the readings of a log [s]; None for a single reading."""
    span = (log.last_reading_at - log.first_reading_at).total_seconds()
    return span / (log.rows_accepted - 1) if log.rows_accepted > 1 and span > 0 else None


def correlation_seconds(reduction: Reduction, log: Log) -> float | None:
    """Return the correlation time of the readings of a log [s], if the log shows it."""
    interval = reading_interval(log)
    if reduction.correlation_time is None or interval is None:
        return None
    return reduction.correlation_time * interval


def survey_reduce(inputs: ResultInputs, held: LogToReduce | None = None) -> Draft:
    """Reduce a survey's log (the stored one, unless another is handed in) by what is in force. Reads; writes nothing."""
    log = held or stored_log(inputs.survey.log)
    wall_measurement = wall_measurement_of(inputs)
    reduction = _reduce(inputs, wall_measurement, marked_segments(inputs.survey_data), log)
    return Draft(inputs, wall_measurement, reduction, log.findings)


def result_within(result: Result, segments: tuple[Segment, ...]) -> Reduction:
    """Return the reduction of a result over these segments of its log only."""
    inputs = inputs_of_result(result)
    return _reduce(inputs, result.wall_measurement, segments, stored_log(inputs.survey.log))


def result_flows(result: Result, name: str) -> FlowLog:
    """Return the flows that a result is based on, with their times; the name is for remarks."""
    return result_readings(result, name)[0]


def result_readings(result: Result, name: str) -> tuple[FlowLog, Outliers]:
    """Return the flows that a result is based on, with their times, and the outliers of its log."""
    inputs = inputs_of_result(result)
    segments = marked_segments(inputs.survey_data)
    return _screened_log(inputs, result.wall_measurement, name, segments)


def survey_flow_log(
    inputs: ResultInputs,
    wall_measurement: WallMeasurement | None,
    name: str,
    segments: tuple[Segment, ...] = (),
) -> FlowLog:
    """Return the flow of each reading with its time, in some segments or all; the wall is compared with a wall measurement."""
    return _screened_log(inputs, wall_measurement, name, segments)[0]


def _screened_log(
    inputs: ResultInputs, wall_measurement: WallMeasurement | None, name: str, segments: tuple[Segment, ...]
) -> tuple[FlowLog, Outliers]:
    stated, data = inputs.survey_data, inputs.pipe_data
    return screened_log(
        name,
        (
            data.pipe_entry(),
            survey_medium(stated, data),
            inputs.transducer_data.entry(),
            stated.setup.traverses,
        ),
        log_readings(stored_log(inputs.survey.log), with_times=True),
        replace(programmed_setup(stated.setup), mounted_spacing=stated.mounted_spacing_m),
        segments,
        known_errors(inputs, wall_measurement)[0],
        _wall(wall_measurement),
        place=place_of(inputs.survey.measuring_point),
        include_outliers=stated.include_outliers,
    )


def _reduce(
    inputs: ResultInputs,
    wall_measurement: WallMeasurement | None,
    segments: tuple[Segment, ...],
    log: LogToReduce,
) -> Reduction:
    stated, data = inputs.survey_data, inputs.pipe_data
    return reduce_log(
        data.pipe_entry(),
        survey_medium(stated, data),
        inputs.transducer_data.entry(),
        stated.setup.traverses,
        log_readings(log, with_times=bool(segments)),
        occasion_of(inputs, wall_measurement, segments, log),
    )


def occasion_of(
    inputs: ResultInputs,
    wall_measurement: WallMeasurement | None,
    segments: tuple[Segment, ...],
    log: LogToReduce,
) -> Occasion:
    """The other inputs of a survey's result, for the physics."""
    survey, stated = inputs.survey, inputs.survey_data
    known, remarks = known_errors(inputs, wall_measurement)
    return Occasion(
        day=survey_date(survey),
        place=place_of(survey.measuring_point),
        programmed=programmed_setup(stated.setup),
        instruments=tuple(
            InstrumentDay(str(i), c.calibrated_on if c else None, c.due_on if c else None)
            for i, c in inputs.calibrations
        ),
        mounted_spacing=stated.mounted_spacing_m,
        measured_wall=_wall(wall_measurement),
        minimum_signal=min(
            (i.minimum_signal_db for i, _ in inputs.calibrations if i.minimum_signal_db is not None),
            default=None,
        ),
        rows_rejected=log.rows_rejected,
        segments=segments,
        known_errors=known,
        remarks=remarks,
        include_outliers=stated.include_outliers,
        reading_interval=log.reading_interval,
    )


def wall_measurement_of(inputs: ResultInputs) -> WallMeasurement | None:
    """Return the wall measurement that the pipe data is based on, or the latest of the pipe for comparison."""
    return inputs.pipe_data.wall_measurement or next(
        iter(inputs.survey.measuring_point.pipe.wall_measurements.all()), None
    )


def _wall(wall_measurement: WallMeasurement | None) -> MeasuredWall | None:
    if wall_measurement is None:
        return None
    wall = wall_measurement.wall()
    return wall.mean, wall.standard_uncertainty, wall.degrees_of_freedom


def result_store(
    draft: Draft,
    *,
    cause: str,
    now: datetime,
    recomputation: Recomputation | None = None,
    replaces: Result | None = None,
    change_breakdown: dict[str, Any] | None = None,
) -> Result:
    """Store a result, in the caller's transaction. The one it replaces must have been marked so before."""
    inputs, reduction, uncertainty = draft.inputs, draft.reduction, draft.reduction.uncertainty
    propagation = reduction.propagation
    result = Result.objects.create(
        survey=inputs.survey,
        log=inputs.survey.log,
        survey_data=inputs.survey_data,
        pipe_data=inputs.pipe_data,
        transducer_data=inputs.transducer_data,
        wall_measurement=draft.wall_measurement,
        method_version=inputs.method_version,
        cause=cause,
        recomputation=recomputation,
        replaces=replaces,
        computed_at=now,
        readings_used=reduction.readings_used,
        readings_outside=reduction.readings_outside,
        readings_excluded=0 if reduction.outliers.included else len(reduction.outliers.rows),
        outliers=reduction.outliers.runs,
        effective_readings=reduction.effective_readings,
        correlation_time_s=correlation_seconds(reduction, inputs.survey.log),
        transit_time_s=reduction.transit_time,
        time_difference_s=reduction.time_difference,
        volume_flow_m3_s=reduction.volume_flow,
        volume_flow_standard_deviation_m3_s=reduction.volume_flow_standard_deviation,
        expanded_uncertainty_m3_s=uncertainty.expanded_uncertainty,
        coverage_factor=uncertainty.coverage_factor,
        combined_standard_uncertainty_m3_s=uncertainty.combined_standard_uncertainty,
        effective_degrees_of_freedom=finite(uncertainty.effective_degrees_of_freedom),
        coverage_low_m3_s=propagation.coverage_interval[0],
        coverage_high_m3_s=propagation.coverage_interval[1],
        propagation_method=propagation.method,
        monte_carlo_trials=propagation.trials,
        monte_carlo_seed=propagation.seed,
        mean_velocity_m_s=reduction.mean_velocity,
        path_velocity_m_s=reduction.path_velocity,
        reynolds=reduction.reynolds,
        profile_factor=reduction.profile_factor,
        measured_sound_speed_m_s=reduction.measured_sound_speed,
        expected_sound_speed_m_s=reduction.expected_sound_speed,
        spacing_m=reduction.spacing,
        findings=[*findings_json(reduction.findings), *draft.log_findings],
        budget=budget_json(uncertainty.budget),
        calculation=beam_json(reduction.beam),
        change_breakdown=change_breakdown,
    )
    through = Result.calibrations.through
    through.objects.bulk_create(
        [
            through(result=result, calibration=calibration)
            for _, calibration in inputs.calibrations
            if calibration
        ]
    )
    result.error_corrections.set(inputs.error_corrections)
    result.as_found_corrections.set(inputs.as_found_corrections)
    return result


def relative_change(before: float, after: float) -> float | None:
    """A flow's change as a part of what it was; None from a flow of 0 to another."""
    if before == after:
        return 0.0
    return (after - before) / before if before else None


def exceeds(change: float | None, threshold: float) -> bool:
    """Return whether a relative change exceeds the notice threshold of a client; None is a change from a flow of 0."""
    return change is None or abs(change) > threshold


# Of a log's columns those a reduction reads.
READ = frozenset(field.name for field in fields(Readings)) - {"times"}


def log_readings(log: LogToReduce, *, with_times: bool) -> Iterator[Readings]:
    """A log block by block, in SI; unpacked on a second thread while the caller computes."""
    columns = [column for column in log.columns if column.name in READ]
    names = frozenset(column.name for column in columns)

    def unpacked(content: bytes | memoryview) -> Readings:
        times, values = decode_block(content, names, with_times=with_times)
        return Readings(
            **{c.name: to_si(values[c.name], c) for c in columns}, times=times if with_times else None
        )

    return prefetch(unpacked, log.contents())


def to_si(values: Any, column: Column) -> Any:
    """A column's numbers from the unit of its header to SI."""
    unit = unit_named(column.unit, column.kind)
    return (values + unit.shift) * unit.multiplier / unit.divisor


def programmed_setup(setup: Setup) -> PhysicalSetup:
    """Return the data programmed in the meter: the set-up as calculated on the day.

    A meter knows no temperature coefficient of a wedge that is not on record, so no default takes its place.
    """
    medium = survey_medium(setup, setup.pipe_data)
    pair = setup.transducer_data.entry()
    known = pair.wedge_speed_per_kelvin is not None
    return PhysicalSetup(
        resolve_pipe(setup.pipe_data.pipe_entry(), medium.temperature).pipe,
        resolve_medium(medium).medium,
        resolve_transducers(pair, medium.temperature)[0] if known else pair.transducers,
        setup.traverses,
    )
