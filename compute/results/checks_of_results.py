"""The checks of a flow, and those of the result of a log, each in the order of their findings."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from compute.base.checks import FindingChecks
from compute.base.errors import ComputeError
from compute.base.messages import Finding, finding, quantity
from compute.logs.segments import merged, segments_used
from compute.logs.series import Series
from compute.measuring import pipe_checks, setup_checks
from compute.measuring.entries import MediumEntry
from compute.measuring.flow import Flow, bore_area, flow_from_times
from compute.measuring.installation import Installation
from compute.results import checks
from compute.results.diagnosis import diagnose
from compute.results.entry_errors import Case
from compute.results.occasion import Occasion
from compute.results.scatter import NEEDED_INDEPENDENT, Scatter
from compute.results.sound_speed import SoundSpeedTest
from compute.results.survey import CalculatedSetup
from compute.results.uncertainty import temperature_uncertainty

# A result reports this many possible causes of a diagnosis, if they are at least this likely.
MAX_CAUSES_REPORTED = 3
MIN_PROBABILITY_REPORTED = 0.05


@dataclass(frozen=True, slots=True)
class FlowCase:
    """A flow, whose arrays are checked by their means, with the test of its sound speed and its medium, as entered.

    sound_speed_assumed : whether the transit time is that of the meter's own entries
    velocity_uncertainty : expanded uncertainty of the mean velocity [m/s], if it is known
    """

    flow: Flow
    sound_speed: SoundSpeedTest
    entry: MediumEntry | None = None
    sound_speed_assumed: bool = False
    velocity_uncertainty: float = 0.0


@dataclass(frozen=True, slots=True)
class ResultCase:
    """The result of a log: set-up, series, the flow of the mean times, the entries, the other inputs, the test of the sound speed.

    expanded_uncertainty : of the flow [m3/s]
    """

    calculated: CalculatedSetup
    series: Series
    flow: Flow
    entries: Case
    occasion: Occasion
    sound_speed: SoundSpeedTest
    expanded_uncertainty: float
    scatter: Scatter
    installation: Installation


FLOW_CHECKS: FindingChecks[FlowCase] = FindingChecks("flow")
RESULT_CHECKS: FindingChecks[ResultCase] = FindingChecks("result")


@FLOW_CHECKS.register
def _sound_speed_logged(case: FlowCase) -> list[Finding]:
    if not case.sound_speed_assumed:
        return []
    return [finding("sound-speed-not-logged", "warning", "readings.sound_speed")]


@FLOW_CHECKS.register
def _velocity(case: FlowCase) -> list[Finding]:
    return checks.velocity_sane(
        float(np.mean(case.flow.mean_velocity)),
        float(np.mean(case.flow.reynolds)),
        case.velocity_uncertainty,
    )


@FLOW_CHECKS.register
def _sound_speed(case: FlowCase) -> list[Finding]:
    """Whether the measured sound speed is consistent with the entries; the programmed one says nothing about them."""
    if case.sound_speed_assumed:
        return []
    return checks.sound_speed_fits(case.sound_speed, case.entry)


@RESULT_CHECKS.register
def _rows(case: ResultCase) -> list[Finding]:
    """Rejected rows, of the whole log."""
    series = case.series
    counted = checks.readings_sound(series.taken + series.outside, case.occasion.rows_rejected, 0)
    return [one for one in counted if one.code == "rows-rejected"]


@RESULT_CHECKS.register
def _readings(case: ResultCase) -> list[Finding]:
    """Impossible and too few readings, of the marked segments."""
    return checks.readings_sound(case.series.taken, 0, case.series.impossible)


@RESULT_CHECKS.register
def _outliers(case: ResultCase) -> list[Finding]:
    found = case.series.outliers
    return checks.outliers_found(
        (len(found.rows), case.series.used + (0 if found.included else len(found.rows))),
        found.mean_with,
        found.mean_without,
        case.expanded_uncertainty,
        included=found.included,
    )


@RESULT_CHECKS.register
def _repeatability(case: ResultCase) -> list[Finding]:
    """A single reading, or a log too short for the correlation of its readings."""
    scatter, interval = case.scatter, case.occasion.reading_interval
    if scatter.correlation_time is None or scatter.effective_readings is None:
        return [
            finding(
                "repeatability-assumed",
                "warning",
                "log",
                source=scatter.uncertainty.source,
                standard_uncertainty=quantity(scatter.uncertainty.standard_uncertainty, "time_difference"),
            )
        ]
    if not scatter.short:
        return []
    needed = math.ceil(NEEDED_INDEPENDENT * scatter.correlation_time)
    return [
        finding(
            "log-short",
            "warning",
            "log",
            readings=case.series.used,
            effective=scatter.effective_readings,
            correlation=scatter.correlation_time,
            needed=needed,
            correlation_time=quantity(scatter.correlation_time * interval, "duration") if interval else None,
            duration=quantity(case.series.used * interval, "duration") if interval else None,
            needed_duration=quantity(needed * interval, "duration") if interval else None,
        )
    ]


@RESULT_CHECKS.register
def _segments(case: ResultCase) -> list[Finding]:
    if not case.occasion.segments:
        return []
    return [segments_used(merged(case.occasion.segments), case.series.used, case.series.outside)]


@RESULT_CHECKS.register
def _flow(case: ResultCase) -> list[Finding]:
    return FLOW_CHECKS.findings(
        FlowCase(
            case.flow,
            case.sound_speed,
            case.entries.medium,
            case.series.speed_told,
            case.expanded_uncertainty / float(bore_area(case.calculated.setup)),
        )
    )


@RESULT_CHECKS.register
def _installation(case: ResultCase) -> list[Finding]:
    """Corrections of the flow for the place."""
    return checks.installation_corrections(
        case.installation,
        case.occasion.place.upstream_straight_length or 0.0,
        float(case.calculated.spacing.bore),
        float(case.flow.reynolds),
    )


@RESULT_CHECKS.register
def _explained(case: ResultCase) -> list[Finding]:
    """Possible causes of an inconsistent sound speed."""
    if case.sound_speed.consistent or case.series.speed_told:
        return []
    pipe, medium = case.entries.pipe, case.entries.medium
    checked = {}
    if medium.name and medium.temperature_source == "measured":
        checked["medium.temperature"] = temperature_uncertainty(medium.temperature_source)
    if measured_wall := case.occasion.wall_uncertainty(pipe.wall_thickness):
        checked["pipe.wall_thickness"] = measured_wall
    found = diagnose(case.entries, checked, case.sound_speed)
    return [
        finding(cause.message.key, "info", cause.candidate.field, **cause.message.parameters)
        for cause in found.possible_causes[:MAX_CAUSES_REPORTED]
        if cause.probability >= MIN_PROBABILITY_REPORTED
    ]


@RESULT_CHECKS.register
def _steady(case: ResultCase) -> list[Finding]:
    half = case.series.used // 2
    if not half:
        return []
    flow = case.series.volume_flow
    marked = bool(case.occasion.segments)
    switching = [
        one
        for segment in np.split(flow, case.series.breaks)
        for one in checks.flow_switching(segment, segments_marked=marked)
    ]
    if switching:
        return switching[:1]
    first, second = float(flow[:half].mean()), float(flow[half:].mean())
    return checks.flow_steady(first, second, segments_marked=marked)


@RESULT_CHECKS.register
def _signal(case: ResultCase) -> list[Finding]:
    return checks.signal_strong(case.series.signal, case.occasion.minimum_signal)


@RESULT_CHECKS.register
def _mounted_spacing(case: ResultCase) -> list[Finding]:
    mounted, required = case.occasion.mounted_spacing, float(case.calculated.spacing.spacing)
    if not setup_checks.mounted_spacing(mounted, required):
        return []
    return setup_checks.mounted_spacing(mounted, required, _change_by_spacing(case))


@RESULT_CHECKS.register
def _wall(case: ResultCase) -> list[Finding]:
    measured = case.occasion.measured_wall
    return pipe_checks.wall_against_measurement(
        case.entries.pipe.wall_thickness, measured[0] if measured else None
    )


@RESULT_CHECKS.register
def _calibrations(case: ResultCase) -> list[Finding]:
    return [
        one
        for instrument in case.occasion.instruments
        for one in setup_checks.calibration_valid(
            instrument.name, instrument.calibrated_on, instrument.due_on, case.occasion.day
        )
    ]


def _change_by_spacing(case: ResultCase) -> float | None:
    """Return the relative change of the flow by the mounted spacing, against the required one at the same times."""
    at_required = replace(case.calculated.setup, mounted_spacing=None)
    try:
        flow = flow_from_times(
            at_required, case.series.transit_time, float(case.series.time_difference.mean())
        ).volume_flow
    except ComputeError:
        return None
    return float(case.flow.volume_flow / flow) - 1 if flow else None
