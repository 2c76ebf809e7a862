"""A log reduced to a result, judged and budgeted."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from compute import checks_pipe, checks_result, checks_setup
from compute.acoustics import FloatArray, Setup, axial_slowness, trace
from compute.conditions import GEOMETRY, oval_share
from compute.diagnosis import diagnose
from compute.entries import MediumEntry, PipeEntry, TransducerEntry, medium_at
from compute.errors import NotEnough
from compute.findings import Finding
from compute.flow import Flow, bore_area, flow_from_times, times_from_logged
from compute.gum import GumResult
from compute.place import Place, straight_share
from compute.slips import Case
from compute.statistics import FEWEST_READINGS, repeatability
from compute.survey import WorkedOut, flow_findings, sound_speed_not_logged, work_out
from compute.uncertainty import Doubt, Measurement, flow_uncertainty, survey_doubts, temperature_doubt

# Of a diagnosis a result tells this many explanations, if they are at least so plausible.
EXPLANATIONS_TOLD = 3
LEAST_PLAUSIBILITY_TOLD = 0.05


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of a log in SI, (n,) arrays; None for a column the log does not have."""

    transit_time: FloatArray | None = None
    time_difference: FloatArray | None = None
    flow_velocity: FloatArray | None = None
    volume_flow: FloatArray | None = None
    sound_speed: FloatArray | None = None
    signal_to_noise: FloatArray | None = None


@dataclass(frozen=True, slots=True)
class InstrumentDay:
    """An instrument and its calibration as it stood on the survey's day."""

    name: str
    calibrated_on: date | None
    due_on: date | None


@dataclass(frozen=True, slots=True)
class Occasion:
    """What else a survey's result rests on.

    programmed : what the meter was told, for logs without times
    mounted_spacing [m]; gauged_wall [m] with its standard uncertainty [m]; minimum_signal [dB]
    """

    day: date
    place: Place
    programmed: Setup
    instruments: tuple[InstrumentDay, ...] = ()
    mounted_spacing: float | None = None
    gauged_wall: tuple[float, float] | None = None
    minimum_signal: float | None = None
    rows_refused: int = 0


@dataclass(frozen=True, slots=True)
class Reduction:
    """What a log comes to: means over the readings used, SI.

    transit_time, time_difference [s] are means too, so that what moved a result can be told from them.
    """

    readings_used: int
    transit_time: float
    time_difference: float
    volume_flow: float
    volume_flow_standard_deviation: float
    mean_velocity: float
    path_velocity: float
    reynolds: float
    profile_factor: float
    measured_sound_speed: float
    expected_sound_speed: float
    spacing: float
    uncertainty: GumResult
    findings: tuple[Finding, ...]


def reduce_log(
    pipe: PipeEntry,
    medium: MediumEntry,
    transducers: TransducerEntry,
    traverses: int,
    log: Iterable[Readings],
    occasion: Occasion,
) -> Reduction:
    """Reduce a log to a result.

    Each reading becomes a flow; the result is the mean of the flows, its uncertainty that of the inputs the
    readings share together with the scatter of their mean.

    Parameters
    ----------
    pipe : PipeEntry
    medium : MediumEntry
    transducers : TransducerEntry
    traverses : int
    log : iterable of Readings  block by block
    occasion : Occasion

    Returns
    -------
    reduction : Reduction

    Raises
    ------
    NotEnough     no reading is possible with this set-up
    ComputeError  see `work_out`

    Source
    ------
    transit time : see `compute.flow`; uncertainty: JCGM 100.
    """
    worked_out = work_out(pipe, medium, transducers, traverses=traverses, place=occasion.place)
    series = _series(worked_out.setup, occasion.programmed, log)
    if not series.used:
        raise NotEnough(
            "No reading of this log is possible with this set-up: every transit time is too short. Check the pipe data and the "
            "wedge delay.",
            field="log",
        )
    flow = _means(worked_out.setup, series)
    uncertainty = _uncertainty(worked_out, pipe, medium, series, flow, occasion)
    case = Case(pipe, medium, worked_out.setup.transducers, traverses, series.transit_time)
    return Reduction(
        readings_used=series.used,
        transit_time=series.transit_time,
        time_difference=float(series.time_difference.mean()),
        volume_flow=float(series.volume_flow.mean()),
        volume_flow_standard_deviation=float(series.volume_flow.std(ddof=1)) if series.used > 1 else 0.0,
        mean_velocity=float(series.volume_flow.mean() / bore_area(worked_out.setup)),
        path_velocity=float(flow.path_velocity),
        reynolds=float(flow.reynolds),
        profile_factor=float(flow.profile_factor),
        measured_sound_speed=float(flow.measured_sound_speed),
        expected_sound_speed=float(worked_out.setup.medium.sound_speed),
        spacing=float(worked_out.spacing.spacing),
        uncertainty=uncertainty,
        findings=(*worked_out.findings, *_log_findings(worked_out, series, flow, case, occasion)),
    )


@dataclass(frozen=True, slots=True)
class _Series:
    """The readings used, one after another, and how many were not possible."""

    transit_time: float
    time_difference: FloatArray
    volume_flow: FloatArray
    signal: float | None
    taken: int
    impossible: int
    speed_told: bool = False

    @property
    def used(self) -> int:
        return len(self.volume_flow)


def _series(setup: Setup, programmed: Setup, log: Iterable[Readings]) -> _Series:
    differences, flows, signals = [], [], []
    transit_sum, taken, impossible = 0.0, 0, 0
    speed_told = False
    for block in log:
        transit, difference = _times(block, programmed)
        speed_told = speed_told or (block.transit_time is None and block.sound_speed is None)
        taken += len(difference)
        possible = _possible(setup, transit)
        impossible += int(np.count_nonzero(~possible))
        transit, difference = transit[possible], difference[possible]
        if len(transit):
            flows.append(np.asarray(flow_from_times(setup, transit, difference).volume_flow))
            differences.append(difference)
            transit_sum += float(transit.sum())
        if block.signal_to_noise is not None:
            signals.append(block.signal_to_noise[possible])
    volume_flow = np.concatenate(flows) if flows else np.empty(0)
    signal = np.concatenate(signals) if signals else np.empty(0)
    return _Series(
        transit_time=transit_sum / max(len(volume_flow), 1),
        time_difference=np.concatenate(differences) if differences else np.empty(0),
        volume_flow=volume_flow,
        signal=float(np.median(signal)) if len(signal) else None,
        taken=taken,
        impossible=impossible,
        speed_told=speed_told,
    )


def _times(block: Readings, programmed: Setup) -> tuple[FloatArray, FloatArray]:
    """Transit times and time differences of a block; a transit time of 0 marks a reading that cannot be."""
    if block.transit_time is not None and block.time_difference is not None:
        return block.transit_time, block.time_difference
    speed = block.sound_speed
    impossible: NDArray[np.bool_] = np.zeros(1, dtype=np.bool_)
    if speed is not None:
        # One lost signal must not spoil a log: a speed no beam can have is set aside with its reading.
        impossible = ~((speed > 0) & (speed * axial_slowness(programmed.transducers) < 1))
        speed = np.where(impossible, programmed.medium.sound_speed, speed)
    transit, difference = times_from_logged(
        programmed, flow_velocity=block.flow_velocity, volume_flow=block.volume_flow, sound_speed=speed
    )
    together = np.broadcast_arrays(np.where(impossible, 0.0, transit), np.asarray(difference))
    return together[0], together[1]


def _possible(setup: Setup, transit_time: FloatArray) -> NDArray[np.bool_]:
    path = trace(setup)
    shortest = path.time_in_solids + 2 * path.axial_slowness * setup.traverses * setup.pipe.bore
    return np.asarray(transit_time > shortest)


def _means(setup: Setup, series: _Series) -> Flow:
    """The flow figures of the mean times."""
    return flow_from_times(setup, series.transit_time, float(series.time_difference.mean()))


def _gauged_doubt(wall_thickness: float, occasion: Occasion) -> Doubt | None:
    """The gauging's doubt of the wall, if the wall entered is the gauged one (within twice that doubt)."""
    if occasion.gauged_wall is None:
        return None
    mean, uncertainty = occasion.gauged_wall
    return Doubt(uncertainty) if abs(wall_thickness - mean) <= 2 * uncertainty else None


def _uncertainty(
    worked_out: WorkedOut,
    pipe: PipeEntry,
    medium: MediumEntry,
    series: _Series,
    flow: Flow,
    occasion: Occasion,
) -> GumResult:
    doubts = survey_doubts(
        worked_out.setup,
        reynolds=float(flow.reynolds),
        repeatability=_scatter(series.time_difference),
        gauged_wall=_gauged_doubt(pipe.wall_thickness, occasion),
        viscosity_relative=worked_out.medium.viscosity_uncertainty,
        straight_share=straight_share(occasion.place, float(worked_out.spacing.bore)),
    )
    measurement = Measurement(
        worked_out.setup,
        series.transit_time,
        float(series.time_difference.mean()),
        medium.temperature if medium.name else None,
        medium_at(medium) if medium.name else None,
    )
    share = oval_share(pipe.conditions(medium.temperature))
    if share:
        # Which diameter the beam crosses is not known: an arcsine distribution between the smallest and the largest.
        doubts["pipe.ovality"] = Doubt(share / math.sqrt(2), distribution="arcsine", source=GEOMETRY)
    if measurement.temperature is not None:
        doubts["medium.temperature"] = temperature_doubt(medium.temperature_known)
    return flow_uncertainty(measurement, doubts)


def _scatter(time_difference: FloatArray) -> Doubt:
    """The doubt of the mean time difference from the scatter of the readings about their trend.

    A drift is no doubt of the mean over the log: it is what the flow did, and a finding if it is large.
    """
    count = len(time_difference)
    if count < FEWEST_READINGS:
        spread = float(time_difference.std(ddof=1)) if count > 1 else 0.0
        return Doubt(spread, degrees_of_freedom=max(count - 1, 1))
    found = repeatability(time_difference)
    return Doubt(found.noise_uncertainty, degrees_of_freedom=max(found.effective_sample_size - 2, 1.0))


def _log_findings(
    worked_out: WorkedOut, series: _Series, flow: Flow, case: Case, occasion: Occasion
) -> list[Finding]:
    half = series.used // 2
    steady = (
        checks_result.flow_steady(
            float(series.volume_flow[:half].mean()), float(series.volume_flow[half:].mean())
        )
        if half
        else []
    )
    calibrations = [
        finding
        for instrument in occasion.instruments
        for finding in checks_setup.calibration_valid(
            instrument.name, instrument.calibrated_on, instrument.due_on, occasion.day
        )
    ]
    return [
        *checks_result.readings_sound(series.taken, occasion.rows_refused, series.impossible),
        *(sound_speed_not_logged() if series.speed_told else []),
        *flow_findings(flow, worked_out.medium),
        *_explained(worked_out, series, case, occasion),
        *steady,
        *checks_result.signal_strong(series.signal, occasion.minimum_signal),
        *checks_setup.mounted_spacing(occasion.mounted_spacing, float(worked_out.spacing.spacing)),
        *checks_pipe.wall_against_gauge(
            case.pipe.wall_thickness, occasion.gauged_wall[0] if occasion.gauged_wall else None
        ),
        *calibrations,
    ]


def _explained(worked_out: WorkedOut, series: _Series, case: Case, occasion: Occasion) -> list[Finding]:
    """What single wrong entry would explain a sound speed that does not fit; that it fits, where it does."""
    stated = {"medium.temperature": temperature_doubt(case.medium.temperature_known)}
    if gauged := _gauged_doubt(case.pipe.wall_thickness, occasion):
        stated["pipe.wall_thickness"] = gauged
    if case.medium.temperature is None or not case.medium.name:
        del stated["medium.temperature"]
    found = diagnose(case, stated)
    if found.fits:
        detail = (
            f"The measured sound speed of {found.measured_sound_speed:.1f} m/s is that of the medium "
            f"({found.expected_sound_speed:.1f} m/s) within what the entries' doubts allow: they agree with one another."
        )
        return [
            Finding(
                "sound-speed-fits",
                "note",
                detail,
                "medium.sound_speed",
                found.measured_sound_speed,
                found.expected_sound_speed,
                "speed",
            )
        ]
    return [
        Finding(
            "entry-doubtful",
            "note",
            f"{explanation.detail} Plausibility {explanation.plausibility:.0%}.",
            explanation.slip.field,
            explanation.slip.entered.value,
            explanation.slip.would_be.value,
            explanation.slip.would_be.kind if explanation.slip.would_be.kind != "text" else "number",
        )
        for explanation in found.explanations[:EXPLANATIONS_TOLD]
        if explanation.plausibility >= LEAST_PLAUSIBILITY_TOLD
    ]
