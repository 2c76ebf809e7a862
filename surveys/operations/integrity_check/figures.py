"""Recalculation of results from their stored inputs: the values must be identical to the bit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from compute.base.errors import ComputeError
from compute.results.survey import METHOD_VERSION
from surveys.core.stored_quantities import finite
from surveys.models import CombinedResult, RecomputationItem, Result
from surveys.operations.integrity_check.finding import Corruption
from surveys.pipes.selectors import marked_segments
from surveys.results.combined_flow import combined_flow
from surveys.results.combining import RELATED_OF_PART
from surveys.results.dependencies import REPEATED_FROM
from surveys.results.inputs_in_force import results_outdated
from surveys.results.reduction import result_within


def corrupt_results(result: Result) -> Iterator[Corruption]:
    """Check a result of the current method against its log and data. Results of earlier methods cannot be checked."""
    if result.method_version != METHOD_VERSION:
        return
    # What was stated then, also of the day, which may have been corrected since.
    result.survey.started_at = result.survey_data.started_at
    name = f"result {result.pk}"
    try:
        again = result_within(result, marked_segments(result.survey_data))
    except (ComputeError, ValueError) as error:
        yield Corruption(
            "result-not-reproducible", name, f"The result cannot be calculated from its inputs: {error}."
        )
        return
    figures = {
        "volume_flow_m3_s": again.volume_flow,
        "volume_flow_standard_deviation_m3_s": again.volume_flow_standard_deviation,
        "expanded_uncertainty_m3_s": again.uncertainty.expanded_uncertainty,
        "coverage_factor": again.uncertainty.coverage_factor,
        "combined_standard_uncertainty_m3_s": again.uncertainty.combined_standard_uncertainty,
        "effective_degrees_of_freedom": finite(again.uncertainty.effective_degrees_of_freedom),
        "coverage_low_m3_s": again.propagation.coverage_interval[0],
        "coverage_high_m3_s": again.propagation.coverage_interval[1],
        "propagation_method": again.propagation.method,
        "monte_carlo_trials": again.propagation.trials,
        "monte_carlo_seed": again.propagation.seed,
        "transit_time_s": again.transit_time,
        "time_difference_s": again.time_difference,
        "mean_velocity_m_s": again.mean_velocity,
        "path_velocity_m_s": again.path_velocity,
        "reynolds": again.reynolds,
        "profile_factor": again.profile_factor,
        "measured_sound_speed_m_s": again.measured_sound_speed,
        "expected_sound_speed_m_s": again.expected_sound_speed,
        "spacing_m": again.spacing,
        "readings_used": again.readings_used,
        "readings_outside": again.readings_outside,
        "readings_excluded": 0 if again.outliers.included else len(again.outliers.rows),
    }
    yield from _differing(result, name, figures)


def corrupt_combinations(combined: CombinedResult) -> Iterator[Corruption]:
    """Check a combined result as `corrupt_results` checks a single one."""
    if combined.method_version != METHOD_VERSION:
        return
    name = f"combined result {combined.pk}"
    rows = combined.results.select_related(*RELATED_OF_PART).prefetch_related(*REPEATED_FROM)
    found = {str(result.pk): result for result in rows}
    order = [part["result"] for part in combined.parts]
    if sorted(order) != sorted(found):
        yield Corruption(
            "result-not-reproducible", name, "The stored list of results differs from the related results."
        )
        return
    for result in found.values():
        result.survey.started_at = result.survey_data.started_at
    try:
        flow = combined_flow(combined.combination.kind, [found[pk] for pk in order])
    except (ComputeError, ValueError) as error:
        yield Corruption("result-not-reproducible", name, f"The parts cannot be combined: {error}.")
        return
    figures = {
        "volume_flow_m3_s": flow.combined.value,
        "combined_standard_uncertainty_m3_s": flow.combined.combined_standard_uncertainty,
        "expanded_uncertainty_m3_s": flow.combined.expanded_uncertainty,
        "coverage_factor": flow.combined.coverage_factor,
        "effective_degrees_of_freedom": finite(flow.combined.effective_degrees_of_freedom),
        "shared_variance_fraction": flow.combined.shared_variance_fraction,
        "range_m3_s": flow.spread,
        "steps": flow.steps,
    }
    yield from _differing(combined, name, figures)


def outdated(results: Iterable[Result]) -> Iterator[Corruption]:
    """Find current results that are not based on the data in force and that no recalculation will replace."""
    ids = [result.pk for result in results if result.replaced_at is None]
    for result in results_outdated(Result.objects.filter(pk__in=ids)):
        if RecomputationItem.objects.filter(survey=result.survey_id).exclude(state="done").exists():
            continue
        # Once more, for it may have been replaced between the two looks.
        if results_outdated(Result.objects.filter(pk=result.pk)):
            yield Corruption(
                "result-outdated",
                f"result {result.pk}",
                "The current result is not based on the data in force, and no recalculation is pending.",
            )


def _differing(
    record: Result | CombinedResult, name: str, figures: Mapping[str, float | str | None]
) -> Iterator[Corruption]:
    differ = [column for column, value in figures.items() if getattr(record, column) != value]
    if differ:
        what = ", ".join(
            f"{column} {getattr(record, column)!r}, recalculated {figures[column]!r}" for column in differ
        )
        yield Corruption("result-not-reproducible", name, f"The recalculated values differ: {what}.")
