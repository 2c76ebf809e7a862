"""A survey's records to the physics, and what it answers to a result."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from compute.account import Basis as Stated
from compute.account import explain_change
from compute.acoustics import Setup as PhysicalSetup
from compute.entries import resolve_medium, resolve_pipe, resolve_transducers
from compute.reduction import InstrumentDay, Occasion, Readings, Reduction, reduce_log
from compute.units import unit_named
from surveys.basis import Basis
from surveys.models import Gauging, Log, PipeData, Recomputation, Result, Setup, SurveyData, TransducerData
from surveys.outcomes import budget_json, effects_json, findings_json, quantity
from surveys.readings.columns import Column
from surveys.selectors import log_columns, place_of, survey_date, survey_medium


@dataclass(frozen=True, slots=True)
class Draft:
    """A reduction with the records it rests on, not stored yet."""

    basis: Basis
    gauging: Gauging | None
    reduction: Reduction


def survey_reduce(basis: Basis) -> Draft:
    """Reduce a survey's log by what is in force for it. Reads; writes nothing."""
    survey, stated, data = basis.survey, basis.survey_data, basis.pipe_data
    # The gauging the pipe data rests on, or the pipe's latest to hold it against.
    gauging = data.gauging or next(iter(survey.measuring_point.pipe.gaugings.all()), None)
    reduction = reduce_log(
        data.pipe_entry(),
        survey_medium(stated, data),
        basis.transducer_data.entry(),
        stated.setup.traverses,
        log_readings(survey.log),
        Occasion(
            day=survey_date(survey),
            place=place_of(survey.measuring_point),
            programmed=_programmed(stated.setup),
            instruments=tuple(
                InstrumentDay(str(i), c.calibrated_on if c else None, c.due_on if c else None)
                for i, c in basis.calibrations
            ),
            mounted_spacing=stated.mounted_spacing_m,
            gauged_wall=(gauging.mean_m, gauging.standard_uncertainty_m) if gauging else None,
            minimum_signal=min(
                (i.minimum_signal_db for i, _ in basis.calibrations if i.minimum_signal_db is not None),
                default=None,
            ),
            rows_refused=survey.log.rows_refused,
        ),
    )
    return Draft(basis, gauging, reduction)


def result_store(
    draft: Draft,
    *,
    cause: str,
    now: datetime,
    recomputation: Recomputation | None = None,
    replaces: Result | None = None,
    account: dict[str, Any] | None = None,
) -> Result:
    """Store a result, in the caller's transaction. The one it replaces must have been marked so before."""
    basis, reduction, uncertainty = draft.basis, draft.reduction, draft.reduction.uncertainty
    result = Result.objects.create(
        survey=basis.survey,
        log=basis.survey.log,
        survey_data=basis.survey_data,
        pipe_data=basis.pipe_data,
        transducer_data=basis.transducer_data,
        gauging=draft.gauging,
        method_version=basis.method_version,
        cause=cause,
        recomputation=recomputation,
        replaces=replaces,
        computed_at=now,
        readings_used=reduction.readings_used,
        transit_time_s=reduction.transit_time,
        time_difference_s=reduction.time_difference,
        volume_flow_m3_s=reduction.volume_flow,
        volume_flow_standard_deviation_m3_s=reduction.volume_flow_standard_deviation,
        expanded_uncertainty_m3_s=uncertainty.expanded_uncertainty,
        coverage_factor=uncertainty.coverage_factor,
        mean_velocity_m_s=reduction.mean_velocity,
        path_velocity_m_s=reduction.path_velocity,
        reynolds=reduction.reynolds,
        profile_factor=reduction.profile_factor,
        measured_sound_speed_m_s=reduction.measured_sound_speed,
        expected_sound_speed_m_s=reduction.expected_sound_speed,
        spacing_m=reduction.spacing,
        findings=findings_json(reduction.findings),
        budget=budget_json(uncertainty.budget),
        account=account,
    )
    through = Result.calibrations.through
    through.objects.bulk_create(
        [
            through(result=result, calibration=calibration)
            for _, calibration in basis.calibrations
            if calibration
        ]
    )
    return result


def result_account(before: Result, draft: Draft) -> dict[str, Any]:
    """By how much and why a new result differs from the one it replaces."""
    after = draft.reduction
    change = after.volume_flow - before.volume_flow_m3_s
    effects = explain_change(
        _stated(before.survey_data, before.pipe_data, before.transducer_data),
        _stated(draft.basis.survey_data, draft.basis.pipe_data, draft.basis.transducer_data),
        after.transit_time,
        after.time_difference,
    )
    codes_before = {finding["code"] for finding in before.findings}
    codes_after = {finding.code for finding in after.findings}
    return {
        "before": quantity(before.volume_flow_m3_s, "volume_flow"),
        "after": quantity(after.volume_flow, "volume_flow"),
        "change": quantity(change, "volume_flow"),
        "relative_change": relative_change(before.volume_flow_m3_s, after.volume_flow),
        "spacing_before": quantity(before.spacing_m, "length"),
        "spacing_after": quantity(after.spacing, "length"),
        "causes": effects_json(effects),
        "method_before": before.method_version,
        "method_after": draft.basis.method_version,
        "readings_before": before.readings_used,
        "readings_after": after.readings_used,
        "new_findings": sorted(codes_after - codes_before),
        "settled_findings": sorted(codes_before - codes_after),
    }


def relative_change(before: float, after: float) -> float | None:
    """A flow's change as a part of what it was; None from a flow of 0 to another."""
    if before == after:
        return 0.0
    return (after - before) / before if before else None


def log_readings(log: Log) -> Iterator[Readings]:
    """A log block by block, in SI."""
    columns = [Column(**column) for column in log.columns]
    for _, values in log_columns(log):
        yield Readings(
            **{c.name: to_si(values[c.name], c) for c in columns if c.name in Readings.__dataclass_fields__}
        )


def to_si(values: Any, column: Column) -> Any:
    """A column's numbers from the unit of its header to SI."""
    unit = unit_named(column.unit, column.kind)
    return (values + unit.shift) * unit.multiplier / unit.divisor


def _stated(survey_data: SurveyData, data: PipeData, pair: TransducerData) -> Stated:
    return Stated(
        data.pipe_entry(), survey_medium(survey_data, data), pair.entry(), survey_data.setup.traverses
    )


def _programmed(setup: Setup) -> PhysicalSetup:
    """What the meter was told: the set-up as it was worked out on the day."""
    medium = survey_medium(setup, setup.pipe_data)
    return PhysicalSetup(
        resolve_pipe(setup.pipe_data.pipe_entry(), medium.temperature).pipe,
        resolve_medium(medium).medium,
        resolve_transducers(setup.transducer_data.entry(), medium.temperature)[0],
        setup.traverses,
    )
