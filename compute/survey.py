"""A survey from end to end: the set-up worked out and judged, the log reduced to a result."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from compute import checks
from compute.acoustics import FloatArray, Setup, WaveMode, axial_slowness, check_dimensions, trace
from compute.entries import (
    MediumEntry,
    PipeEntry,
    ResolvedMedium,
    ResolvedPipe,
    TransducerEntry,
    check_transducers,
    medium_at,
    resolve_medium,
    resolve_pipe,
)
from compute.errors import ComputeError, NotEnough, TotalReflection
from compute.findings import Finding
from compute.flow import Flow, bore_area, flow_from_times, times_from_logged
from compute.gum import GumResult
from compute.place import Caution, Place, cautions, check_place, straight_share
from compute.sources import SNELL
from compute.spacing import Spacing, alternatives, recommend_traverses, work_out_spacing
from compute.statistics import standard_uncertainty_of_mean
from compute.uncertainty import Doubt, Measurement, flow_uncertainty, survey_doubts, temperature_doubt


@dataclass(frozen=True, slots=True)
class Method:
    """A version of the computation: what it changed, and by how much on which case."""

    version: str
    since: date
    change: str
    effect: str


METHODS = (
    Method(
        "1",
        date(2026, 11, 25),
        "First method: axial slowness and least-time ray, log-law profile factor with Colebrook-White, IAPWS-95 water, GUM "
        "budget with shared inputs, scatter by effective sample size.",
        "none before it",
    ),
)
"""Every version of the method, the current one last. A change of the physics that moves a computed number adds one."""

METHOD_VERSION = METHODS[-1].version


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """A set-up with everything that was looked up for it and everything there is to say about it."""

    spacing: Spacing
    alternatives: tuple[Spacing, ...]
    setup: Setup
    pipe: ResolvedPipe
    medium: ResolvedMedium
    findings: tuple[Finding, ...]
    cautions: tuple[Caution, ...]


def work_out(
    pipe: PipeEntry,
    medium: MediumEntry,
    transducers: TransducerEntry,
    *,
    traverses: int | None,
    expected_velocity: float | None = None,
    place: Place | None = None,
    timing_resolution: float | None = None,
) -> WorkedOut:
    """Work out how to mount a transducer pair on a pipe, and judge it.

    Parameters
    ----------
    pipe : PipeEntry
    medium : MediumEntry
    transducers : TransducerEntry
    traverses : int or None  None takes the recommended number, and a finding says so
    expected_velocity : float or None [m/s]
    place : Place or None  None leaves the place unjudged
    timing_resolution : float or None [s]  of the meter, for the recommended number of traverses

    Returns
    -------
    worked_out : WorkedOut

    Raises
    ------
    ComputeError  what cannot be: see `resolve_pipe`, `resolve_medium` and `trace`

    Source
    ------
    geometry : see `compute.spacing`; every finding carries its own source.
    """
    check_transducers(transducers)
    resolved_pipe, resolved_medium = resolve_pipe(pipe), resolve_medium(medium)
    setup = Setup(resolved_pipe.pipe, resolved_medium.medium, transducers.transducers, traverses or 1)
    check_dimensions(setup.pipe)
    findings = [*resolved_pipe.findings, *resolved_medium.findings]
    if traverses is None:
        recommended = recommend_traverses(
            setup,
            expected_velocity=expected_velocity,
            timing_resolution=timing_resolution,
            room=place.room if place else None,
        )
        setup = replace(setup, traverses=recommended.traverses)
        findings.append(_traverses_chosen(recommended.traverses, recommended.reason))
    spacing = work_out_spacing(setup)
    findings += _entry_findings(pipe, medium, transducers)
    findings += _other_wave(setup, spacing)
    findings += checks.spacing_fits(float(spacing.spacing), spacing.sides, place.room if place else None)
    if expected_velocity is not None:
        findings += _expected(setup, expected_velocity)
    if place is not None:
        findings += check_place(place, float(spacing.bore))
    return WorkedOut(
        spacing=spacing,
        alternatives=alternatives(setup),
        setup=setup,
        pipe=resolved_pipe,
        medium=resolved_medium,
        findings=tuple(findings),
        cautions=cautions(
            medium.temperature, pipe.material.name, place.hazards if place else (), medium.pressure
        ),
    )


def _other_wave(setup: Setup, spacing: Spacing) -> list[Finding]:
    """What it would do to take the wall's other wave, where that propagates too."""
    other: WaveMode = "shear" if spacing.path.wave_modes[0] == "longitudinal" else "longitudinal"
    wall = replace(setup.pipe.wall, wave_mode=other)
    try:
        wrong = work_out_spacing(replace(setup, pipe=replace(setup.pipe, wall=wall)))
    except ComputeError:
        return []
    off = float(wrong.spacing - spacing.spacing)
    late = float(wrong.path.time_in_solids - spacing.path.time_in_solids)
    # At the same transit time, more time in the wall leaves less in the medium, and the flow rises in proportion.
    share = late / float(spacing.path.time_in_medium)
    detail = (
        f"The wall carries a {spacing.path.wave_modes[0]} wave; a {other} wave could pass too. Taken by mistake, it would put the "
        f"transducers {abs(off) * 1e3:.1f} mm {'too far apart' if off > 0 else 'too near'} and the flow {share:+.1%} off."
    )
    right, taken = float(spacing.spacing), float(wrong.spacing)
    return [Finding("other-wave-possible", "note", detail, "pipe.wave_mode", taken, right, "length", SNELL)]


def no_beam(error: TotalReflection) -> Finding:
    """The finding for a set-up through which no beam passes.

    Parameters
    ----------
    error : TotalReflection

    Returns
    -------
    finding : Finding

    Source
    ------
    snell : a wave propagates where axial slowness x sound speed is below 1.
    """
    speeds = (error.sound_speed, error.axial_speed)
    return Finding(
        "no-refracted-wave", "stop", error.detail, error.field, *speeds, kind="speed", source=SNELL
    )


def _traverses_chosen(count: int, reason: str) -> Finding:
    return Finding(
        "traverses-chosen", "note", f"No number of traverses was stated. {reason}", "traverses", float(count)
    )


def _entry_findings(pipe: PipeEntry, medium: MediumEntry, transducers: TransducerEntry) -> list[Finding]:
    """What the figures entered give reason to say."""
    return [
        *checks.nominal_size_as_outer_diameter(pipe.outer_diameter, pipe.material.name),
        *checks.dimensions_in_tables(pipe.outer_diameter, pipe.wall_thickness, pipe.material.name),
        *checks.transducer_temperature(
            medium.temperature, transducers.lowest_temperature, transducers.highest_temperature
        ),
    ]


def _expected(setup: Setup, velocity: float) -> list[Finding]:
    medium = setup.medium
    reynolds = abs(velocity) * float(setup.pipe.bore * medium.density / medium.dynamic_viscosity)
    return checks.velocity_sane(velocity, reynolds)


def flow_findings(flow: Flow, medium: ResolvedMedium) -> list[Finding]:
    """What mean figures of a flow give reason to say.

    Parameters
    ----------
    flow : Flow  arrays are judged by their means
    medium : ResolvedMedium

    Returns
    -------
    findings : list of Finding

    Source
    ------
    checks : see `compute.checks`.
    """
    velocity, reynolds = float(np.mean(flow.mean_velocity)), float(np.mean(flow.reynolds))
    measured, expected = float(np.mean(flow.measured_sound_speed)), float(np.mean(medium.medium.sound_speed))
    return [
        *checks.velocity_sane(velocity, reynolds),
        *checks.sound_speed_fits(measured, expected, medium.sound_speed_uncertainty or 0.0),
    ]


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
    uncertainty = _uncertainty(worked_out, medium, series, flow, occasion)
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
        findings=(*worked_out.findings, *_log_findings(worked_out, series, flow, pipe, occasion)),
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

    @property
    def used(self) -> int:
        return len(self.volume_flow)


def _series(setup: Setup, programmed: Setup, log: Iterable[Readings]) -> _Series:
    differences, flows, signals = [], [], []
    transit_sum, taken, impossible = 0.0, 0, 0
    for block in log:
        transit, difference = _times(block, programmed)
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


def _uncertainty(
    worked_out: WorkedOut, medium: MediumEntry, series: _Series, flow: Flow, occasion: Occasion
) -> GumResult:
    scatter, freedom = standard_uncertainty_of_mean(series.time_difference) if series.used > 1 else (0.0, 1.0)
    gauged = occasion.gauged_wall
    doubts = survey_doubts(
        worked_out.setup,
        reynolds=float(flow.reynolds),
        repeatability=Doubt(scatter, degrees_of_freedom=freedom),
        gauged_wall=Doubt(gauged[1]) if gauged else None,
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
    if measurement.temperature is not None:
        doubts["medium.temperature"] = temperature_doubt(medium.temperature_known)
    return flow_uncertainty(measurement, doubts)


def _log_findings(
    worked_out: WorkedOut, series: _Series, flow: Flow, pipe: PipeEntry, occasion: Occasion
) -> list[Finding]:
    half = series.used // 2
    steady = (
        checks.flow_steady(float(series.volume_flow[:half].mean()), float(series.volume_flow[half:].mean()))
        if half
        else []
    )
    calibrations = [
        finding
        for instrument in occasion.instruments
        for finding in checks.calibration_valid(
            instrument.name, instrument.calibrated_on, instrument.due_on, occasion.day
        )
    ]
    return [
        *checks.readings_sound(series.taken, occasion.rows_refused, series.impossible),
        *flow_findings(flow, worked_out.medium),
        *steady,
        *checks.signal_strong(series.signal, occasion.minimum_signal),
        *checks.mounted_spacing(occasion.mounted_spacing, float(worked_out.spacing.spacing)),
        *checks.wall_against_gauge(
            pipe.wall_thickness, occasion.gauged_wall[0] if occasion.gauged_wall else None
        ),
        *calibrations,
    ]


@dataclass(frozen=True, slots=True)
class Basis:
    """What a result rests on, to explain by how much each part moved it."""

    pipe: PipeEntry
    medium: MediumEntry
    transducers: TransducerEntry
    traverses: int


@dataclass(frozen=True, slots=True)
class Effect:
    """An input that differs between two results, and what its change alone does to the flow [m3/s]."""

    field: str
    before: float | str | None
    after: float | str | None
    kind: str
    effect: float


PIPE_FIELDS = (
    ("outer_diameter", "length"),
    ("wall_thickness", "length"),
    ("material", "text"),
    ("lining", "text"),
    ("roughness", "roughness"),
    ("wave_mode", "text"),
)


def explain_change(
    before: Basis, after: Basis, transit_time: float, time_difference: float
) -> tuple[Effect, ...]:
    """Why a result moved: each input that changed, with what it alone would have done.

    Parameters
    ----------
    before : Basis
    after : Basis
    transit_time : float [s]  mean of the readings
    time_difference : float [s]  mean of the readings

    Returns
    -------
    effects : tuple of Effect  their sum is the whole change but for what changes do together

    Source
    ------
    substitution : one input at a time from before to after.
    """
    start = _flow_of(before, transit_time, time_difference)
    effects = []
    for name, kind in PIPE_FIELDS:
        old, new = getattr(before.pipe, name), getattr(after.pipe, name)
        if old != new:
            moved = _flow_of(
                replace(before, pipe=replace(before.pipe, **{name: new})), transit_time, time_difference
            )
            shown = (old, new) if kind in ("length", "roughness") else (_words(old), _words(new))
            effects.append(Effect(f"pipe.{name}", shown[0], shown[1], kind, moved - start))
    if before.medium != after.medium:
        moved = _flow_of(replace(before, medium=after.medium), transit_time, time_difference)
        effects.append(Effect("medium", _words(before.medium), _words(after.medium), "text", moved - start))
    return tuple(effects)


def _flow_of(basis: Basis, transit_time: float, time_difference: float) -> float:
    pipe, medium = resolve_pipe(basis.pipe).pipe, resolve_medium(basis.medium).medium
    setup = Setup(pipe, medium, basis.transducers.transducers, basis.traverses)
    return float(flow_from_times(setup, transit_time, time_difference).volume_flow)


def _words(value: object) -> str:
    """A changed entry in words: its stated parts."""
    if value is None:
        return "none"
    if isinstance(value, str):
        return value
    parts = {name: getattr(value, name) for name in value.__dataclass_fields__}  # type: ignore[attr-defined]
    return ", ".join(
        f"{k} {_words(v) if hasattr(v, '__dataclass_fields__') else v}"
        for k, v in parts.items()
        if v not in ("", None)
    )
