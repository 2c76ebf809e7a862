"""Reduction of a log to a result with its findings and its uncertainty budget."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from compute.base.errors import NotEnough
from compute.base.messages import Finding
from compute.combining.time_alignment import FlowLog
from compute.logs.segments import Segment
from compute.logs.series import Outliers, Series, series_of
from compute.logs.series import Readings as Readings
from compute.measuring.beam import Setup, WaveMode, trace
from compute.measuring.conditions import GEOMETRY, oval_share, oval_uncertainty
from compute.measuring.entries import MediumEntry, PipeEntry, TransducerEntry, medium_at, setup_at
from compute.measuring.flow import Flow, bore_area, flow_from_times
from compute.measuring.installation import Installation
from compute.measuring.location import Place, installation_at
from compute.results.checks_of_results import RESULT_CHECKS, ResultCase
from compute.results.entry_errors import Case
from compute.results.input_uncertainties import (
    UNRECORDED_SPACING_UNCERTAINTY,
    solid_uncertainties,
    wedge_state,
    wedge_uncertainties,
)
from compute.results.instrument_errors import (
    Corrected,
    CorrectedEntries,
    KnownError,
    MeasuredWall,
    calibration_uncertainties,
    corrected,
    entries_corrected,
    of,
)
from compute.results.occasion import Occasion
from compute.results.propagation import Propagation, propagate_flow
from compute.results.scatter import scatter_of
from compute.results.sound_speed import crossing_uncertainty, sound_speed_test, sound_speed_uncertainty
from compute.results.survey import CalculatedSetup, calculate_setup
from compute.results.uncertainty import (
    InputUncertainty,
    Measurement,
    speed_of,
    survey_uncertainties,
    temperature_uncertainty,
    velocity_profile_uncertainties,
)
from compute.statistics.autocorrelation import standard_deviation
from compute.statistics.gum import GumResult, Input


@dataclass(frozen=True, slots=True)
class LayerBeam:
    """The beam in a wall or a lining: wave mode, its sound speed [m/s], angle from the radius [rad], thickness [m]."""

    wave_mode: WaveMode
    sound_speed: float
    angle: float
    thickness: float


@dataclass(frozen=True, slots=True)
class Beam:
    """What the flow is calculated with, to redo it by hand, SI.

    layers : the wall, then each lining; wedge_sound_speed [m/s] at the temperature of the survey
    time_in_solids [s] : walls, linings and wedges; mounted_spacing [m] : as recorded, None if not
    """

    layers: tuple[LayerBeam, ...]
    bore: float
    traverses: int
    wedge_sound_speed: float
    wedge_angle: float
    axial_slowness: float
    time_in_solids: float
    mounted_spacing: float | None
    density: float
    dynamic_viscosity: float


@dataclass(frozen=True, slots=True)
class Reduction:
    """The result of a log: means over the readings used, SI.

    transit_time, time_difference [s] are also means, to explain changes of a result.
    readings_outside : readings outside the marked segments
    outliers : readings far from their neighbours, excluded or included
    correlation_time, effective_readings : readings that count as one independent reading, and the number of independent readings; None
        for a single reading
    """

    readings_used: int
    readings_outside: int
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
    propagation: Propagation
    beam: Beam
    findings: tuple[Finding, ...]
    outliers: Outliers
    correlation_time: float | None
    effective_readings: float | None


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
    readings share together with the scatter of their mean. Known errors of the instruments are corrected first
    (`compute.results.instrument_errors`); a meter's error curve is evaluated at the mean velocity, as over the range of a log it is almost
    straight.

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
    ComputeError  see `calculate_setup`, and `series_of`: no reading is possible, or none lies in the marked segments

    Source
    ------
    transit time : see `compute.measuring.flow`; uncertainty: JCGM 100.
    """
    entries, calculated, series, calibrated = _log_series(pipe, medium, transducers, traverses, log, occasion)
    pipe, medium, occasion = (
        entries.pipe,
        entries.medium,
        replace(occasion, measured_wall=entries.measured_wall),
    )
    flow = _means(calculated.setup, series)
    installation = _installation(calculated.setup, occasion.place, flow)
    mean = float(series.volume_flow.mean())
    scatter = scatter_of(series)
    measurement, (uncertainty, propagation, drawn) = _uncertainty(
        calculated,
        (pipe, medium, transducers),
        series,
        installation,
        occasion,
        calibrated,
        entries.temperature,
        scatter.uncertainty,
    )
    case = Case(
        pipe,
        medium,
        calculated.setup.transducers,
        traverses,
        series.transit_time,
        mounted_spacing=occasion.mounted_spacing,
    )
    sound_speed = sound_speed_test(
        measurement,
        [
            *(Input(row.input, row.value, row.standard_uncertainty) for row in uncertainty.budget),
            crossing_uncertainty(pipe),
        ],
        sound_speed_uncertainty(calculated.medium),
        float(flow.measured_sound_speed),
    )
    return Reduction(
        readings_used=series.used,
        readings_outside=series.outside,
        transit_time=series.transit_time,
        time_difference=float(series.time_difference.mean()),
        volume_flow=mean,
        volume_flow_standard_deviation=standard_deviation(series.volume_flow, mean)
        if series.used > 1
        else 0.0,
        mean_velocity=float(mean / bore_area(calculated.setup)),
        path_velocity=float(flow.path_velocity),
        reynolds=float(flow.reynolds),
        profile_factor=float(flow.profile_factor) * installation.factor,
        measured_sound_speed=float(flow.measured_sound_speed),
        expected_sound_speed=float(calculated.setup.medium.sound_speed),
        spacing=float(calculated.spacing.spacing),
        uncertainty=uncertainty,
        propagation=propagation,
        beam=beam_of(calculated.setup),
        findings=(
            *calculated.findings,
            *RESULT_CHECKS.findings(
                ResultCase(
                    calculated,
                    series,
                    flow,
                    case,
                    occasion,
                    sound_speed,
                    uncertainty.expanded_uncertainty,
                    scatter,
                    installation,
                )
            ),
            *entries.findings,
            *calibrated.findings,
            *drawn,
            *occasion.remarks,
        ),
        outliers=series.outliers,
        correlation_time=scatter.correlation_time,
        effective_readings=scatter.effective_readings,
    )


def mean_flow(
    pipe: PipeEntry,
    medium: MediumEntry,
    transducers: TransducerEntry,
    traverses: int,
    log: Iterable[Readings],
    occasion: Occasion,
) -> float:
    """Return the volume flow of `reduce_log` alone, without its uncertainty and its checks.

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
    volume_flow : float [m3/s]

    Raises
    ------
    ComputeError  see `reduce_log`

    Source
    ------
    transit time : see `reduce_log`.
    """
    series = _log_series(pipe, medium, transducers, traverses, log, occasion)[2]
    return float(series.volume_flow.mean())


def _log_series(
    pipe: PipeEntry,
    medium: MediumEntry,
    transducers: TransducerEntry,
    traverses: int,
    log: Iterable[Readings],
    occasion: Occasion,
) -> tuple[CorrectedEntries, CalculatedSetup, Series, _Calibrated]:
    """Return the flow of each reading used of a log, with the corrected entries and the set-up that it is calculated with."""
    entries = entries_corrected(pipe, medium, occasion.measured_wall, occasion.known_errors)
    calculated = mounted(
        calculate_setup(entries.pipe, entries.medium, transducers, traverses=traverses, place=occasion.place),
        occasion.mounted_spacing,
    )
    # The spacing at which the transducers are mounted belongs to the meter's path as well.
    programmed = replace(occasion.programmed, mounted_spacing=occasion.mounted_spacing)
    series, calibrated = _calibrated(
        calculated.setup,
        programmed,
        log,
        occasion.segments,
        occasion.known_errors,
        include_outliers=occasion.include_outliers,
    )
    installation = _installation(calculated.setup, occasion.place, _means(calculated.setup, series))
    series = _corrected_for_place(series, installation)
    return entries, calculated, series, calibrated


def screened_log(
    name: str,
    entries: tuple[PipeEntry, MediumEntry, TransducerEntry, int],
    log: Iterable[Readings],
    programmed: Setup,
    segments: tuple[Segment, ...] = (),
    known_errors: tuple[KnownError, ...] = (),
    measured_wall: MeasuredWall | None = None,
    *,
    include_outliers: bool = False,
    place: Place | None = None,
) -> tuple[FlowLog, Outliers]:
    """Return every flow of a log with its time, and the outliers of the log.

    Parameters
    ----------
    name : str  for messages
    entries : (PipeEntry, MediumEntry, TransducerEntry, traverses)
    log : iterable of Readings  with times
    programmed : Setup  entered in the meter
    segments : tuple of Segment  marked segments; none: the whole log
    known_errors : tuple of KnownError  as for `reduce_log`
    measured_wall : MeasuredWall or None  as for `reduce_log`
    include_outliers : bool  whether outliers are used too
    place : Place or None  None: the flows are not corrected for it

    Returns
    -------
    log : FlowLog [m3/s]
    outliers : Outliers

    Raises
    ------
    NotEnough     the readings have no times; see `series_of`
    ComputeError  see `calculate_setup`

    Source
    ------
    transit time : see `compute.measuring.flow`.
    """
    pipe, medium, transducers, traverses = entries
    known = entries_corrected(pipe, medium, measured_wall, known_errors)
    setup = calculate_setup(known.pipe, known.medium, transducers, traverses=traverses).setup
    # The spacing at which the transducers are mounted belongs to both.
    setup = replace(setup, mounted_spacing=programmed.mounted_spacing)
    series, _ = _calibrated(
        setup, programmed, log, segments, known_errors, keep_times=True, include_outliers=include_outliers
    )
    if series.times is None or len(series.times) != series.used:
        raise NotEnough(field="log", variant="log-without-times", name=name)
    times = series.times
    if place is not None:
        series = _corrected_for_place(series, _installation(setup, place, _means(setup, series)))
    return FlowLog(name, times, series.volume_flow), series.outliers


@dataclass(frozen=True, slots=True)
class _Calibrated:
    """The factor by which the flows of a log are corrected, with uncertainties and findings from calibrations."""

    flow_factor: float
    uncertainties: dict[str, InputUncertainty]
    findings: tuple[Finding, ...]


def _calibrated(
    setup: Setup,
    programmed: Setup,
    log: Iterable[Readings],
    segments: tuple[Segment, ...],
    known_errors: tuple[KnownError, ...],
    *,
    keep_times: bool = False,
    include_outliers: bool = False,
) -> tuple[Series, _Calibrated]:
    """Return a log as a series of flow, less the zero and the error of the meter where these are applied."""
    at_zero = corrected(of(known_errors, "zero"), 0.0)
    series = series_of(
        setup,
        programmed,
        log,
        segments,
        keep_times=keep_times,
        zero=-at_zero.value,
        include_outliers=include_outliers,
    )
    indicated = float(series.volume_flow.mean() / bore_area(setup))
    velocity: Corrected = corrected(of(known_errors, "velocity"), indicated)
    factor = velocity.value / indicated if indicated else 1.0
    if factor != 1.0:
        series = replace(
            series, volume_flow=series.volume_flow * factor, outliers=series.outliers.times_factor(factor)
        )
    return series, _Calibrated(
        factor, calibration_uncertainties(velocity, at_zero), (*at_zero.findings, *velocity.findings)
    )


def _means(setup: Setup, series: Series) -> Flow:
    """Return the flow of the mean times."""
    return flow_from_times(setup, series.transit_time, float(series.time_difference.mean()))


def _installation(setup: Setup, place: Place, flow: Flow) -> Installation:
    return installation_at(place, float(setup.pipe.bore), setup.traverses, float(flow.reynolds))


def _corrected_for_place(series: Series, installation: Installation) -> Series:
    factor = installation.factor
    if factor == 1.0:
        return series
    return replace(
        series, volume_flow=series.volume_flow * factor, outliers=series.outliers.times_factor(factor)
    )


def mounted(calculated: CalculatedSetup, spacing: float | None) -> CalculatedSetup:
    """Return a calculated set-up with the spacing at which its transducers are mounted.

    Parameters
    ----------
    calculated : CalculatedSetup
    spacing : float or None [m]  None: not recorded, the calculated spacing

    Returns
    -------
    calculated : CalculatedSetup  its required spacing stays the calculated one

    Source
    ------
    none : a record with another value.
    """
    return replace(calculated, setup=replace(calculated.setup, mounted_spacing=spacing))


def beam_of(setup: Setup) -> Beam:
    """Return what the flow of a set-up is calculated with.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    beam : Beam

    Source
    ------
    snell : see `compute.measuring.beam.trace`.
    """
    path, pair = trace(setup), setup.transducers
    layers = (setup.pipe.wall, *setup.pipe.linings)
    return Beam(
        layers=tuple(
            LayerBeam(mode, float(speed_of(layer, mode)), float(angle), float(layer.thickness))
            for layer, mode, angle in zip(layers, path.wave_modes, path.angles_in_solids, strict=True)
        ),
        bore=float(setup.pipe.bore),
        traverses=setup.traverses,
        wedge_sound_speed=float(pair.wedge_sound_speed),
        wedge_angle=float(pair.wedge_angle),
        axial_slowness=float(path.axial_slowness),
        time_in_solids=float(path.time_in_solids),
        mounted_spacing=None if setup.mounted_spacing is None else float(setup.mounted_spacing),
        density=float(setup.medium.density),
        dynamic_viscosity=float(setup.medium.dynamic_viscosity),
    )


def _uncertainty(
    calculated: CalculatedSetup,
    entries: tuple[PipeEntry, MediumEntry, TransducerEntry],
    series: Series,
    installation: Installation,
    occasion: Occasion,
    calibrated: _Calibrated,
    thermometer: float,
    scatter: InputUncertainty,
) -> tuple[Measurement, tuple[GumResult, Propagation, tuple[Finding, ...]]]:
    pipe, medium, pair = entries
    setup, temperature = calculated.setup, medium.temperature
    measurement = Measurement(
        setup,
        series.transit_time,
        float(series.time_difference.mean()),
        temperature,
        None if temperature is None else medium_at(medium),
        calibrated.flow_factor * installation.factor,
        None if temperature is None else setup_at(pipe, medium, pair, setup),
        wedge_state(pair, temperature),
    )
    uncertainties = survey_uncertainties(
        setup,
        repeatability=scatter,
        measured_wall=occasion.wall_uncertainty(pipe.wall_thickness),
        viscosity_relative=calculated.medium.viscosity_uncertainty,
    )
    uncertainties |= solid_uncertainties(calculated.pipe, setup, temperature)
    uncertainties |= wedge_uncertainties(pair, temperature)
    if temperature is not None:
        usual = temperature_uncertainty(medium.temperature_source).standard_uncertainty
        uncertainties["medium.temperature"] = InputUncertainty(math.hypot(usual, thermometer))
    if occasion.mounted_spacing is None:
        uncertainties["spacing"] = UNRECORDED_SPACING_UNCERTAINTY
    uncertainties |= calibrated.uncertainties
    share = oval_share(pipe.conditions(temperature))
    if share:
        of_bore = share * pipe.outer_diameter / pipe.bore
        uncertainties["pipe.ovality"] = InputUncertainty(oval_uncertainty(of_bore), source=GEOMETRY)
    uncertainties |= velocity_profile_uncertainties(
        measurement, uncertainties, installation.standard_uncertainty
    )
    return measurement, propagate_flow(measurement, uncertainties)
