"""Flow uncertainty: input uncertainties and their propagation.

Wall, diameter, wedge and profile are shared by every reading of a log: their uncertainty does not decrease with the number of
readings. Only that of the scatter does, by the effective number of readings.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from compute.base.errors import NotEnough, OutOfRange, TotalReflection, UnknownName
from compute.base.messages import field_name
from compute.base.sources import PRACTICE, Source
from compute.measuring.beam import (
    FloatArray,
    Layer,
    Medium,
    Real,
    Setup,
    WaveMode,
    possible_beams,
    trace,
)
from compute.measuring.flow import Flow, bore_area, flow_from_times
from compute.measuring.installation import SYNOWIEC
from compute.measuring.profile import (
    LAMINAR_FACTOR,
    profile_factor_with_share,
    turbulent_share,
)
from compute.measuring.profile_uncertainty import (
    LOG_MIDDLE,
    LOG_SPREAD,
    draw_profile_factors,
    profile_factor_uncertainty,
    relative_beam_width,
)
from compute.statistics.gum import Correlation, Distribution, GumResult, Input, Model, propagate
from compute.statistics.monte_carlo import MonteCarloResult, monte_carlo


@dataclass(frozen=True, slots=True)
class InputUncertainty:
    """Uncertainty of one input: standard uncertainty (k = 1) in the input's SI unit, or relative to its value.

    limits : lowest and highest possible value of a rectangular distribution that is not centred on the value
    """

    standard_uncertainty: float
    relative: bool = False
    degrees_of_freedom: float = math.inf
    distribution: Distribution = "normal"
    source: Source = PRACTICE
    limits: tuple[float, float] | None = None

    def of(self, value: float) -> float:
        """Return the standard uncertainty of a value."""
        return self.standard_uncertainty * abs(value) if self.relative else self.standard_uncertainty


TAPE = Source(
    "circumference of a round pipe, read to 1 mm: half-width of the diameter 0.3 %, rectangular", "default"
)
MILL = Source("ASTM A530: mill tolerance of a wall from a table 12.5 %, rectangular", "unverified")
RULER = Source(
    "common practice: spacing read on the rail or a ruler, half-width 0.5 mm, rectangular", "default"
)
DEFAULT_UNCERTAINTIES: Mapping[str, InputUncertainty] = {
    "pipe.outer_diameter": InputUncertainty(
        0.003 / math.sqrt(3), relative=True, distribution="rectangular", source=TAPE
    ),
    "pipe.wall_thickness": InputUncertainty(
        0.125 / math.sqrt(3), relative=True, distribution="rectangular", source=MILL
    ),
    "pipe.lining.thickness": InputUncertainty(0.2 / math.sqrt(3), relative=True, distribution="rectangular"),
    "pipe.roughness": InputUncertainty(0.5, relative=True),
    "pipe.wall_sound_speed": InputUncertainty(0.01, relative=True),
    "pipe.lining.sound_speed": InputUncertainty(0.01, relative=True),
    "medium.dynamic_viscosity": InputUncertainty(0.02, relative=True),
    "transducers.wedge_angle": InputUncertainty(math.radians(0.2)),
    "transducers.wedge_sound_speed": InputUncertainty(0.003, relative=True),
    "transducers.wedge_delay": InputUncertainty(50e-9),
    "readings.transit_time": InputUncertainty(20e-9),
    "readings.time_difference": InputUncertainty(0.3e-9),
    "spacing": InputUncertainty(0.5e-3 / math.sqrt(3), distribution="rectangular", source=RULER),
}
"""Uncertainties of the inputs of a survey that are used where none is recorded: default values unless a source is named."""

# The simulated profiles were read; the values of McKeon and Nikuradse are from memory.
PROFILE = Source(
    "Yao et al. 2022, arXiv:2207.06289 (direct numerical simulation), McKeon et al. 2005 and Nikuradse 1932: scatter of the velocity "
    "profiles; transition between Re 2300 and 4000 and width of the beam are default values",
    "unverified",
)
# Largest relative uncertainty of a Reynolds number that is used, for flows near zero; beyond it nothing changes. Default value.
MAX_REYNOLDS_UNCERTAINTY = 10.0
# From this Reynolds number no uncertainty of it that a medium has makes the flow laminar, so that it is not calculated.
REGIME_CERTAIN_FROM = 200_000.0
# Up to this Reynolds number the propagation keeps the share of turbulent flow, whose uncertainty is part of the profile factor's.
SHARE_KEPT_BELOW = 10_000.0
# A thermometer on the pipe reads the surface, not the medium; an estimate is coarser. Standard, in K; default values.
TEMPERATURE_UNCERTAINTIES = {"measured": 1.0, "estimated": 5.0, "": 2.0}
WEDGE_COEFFICIENT, WEDGE_TEMPERATURE = (
    "transducers.wedge_temperature_coefficient",
    "transducers.wedge_temperature",
)
PROFILE_FACTOR = "profile_factor"

# Inputs with an uncertainty besides the pipe, the medium and the times, with their best estimates. The `meter` as a
# whole, its calibration, the `installation` and `pipe.ovality` multiply the flow and are 1, `profile_factor` is that of
# the flow; `meter.zero` and `repeatability` add to the time difference and are 0.
FACTORS = ("meter", "meter.calibration", "installation", "pipe.ovality")
OFFSETS = ("meter.zero", "repeatability")
# Inputs that can be 0 or less; every other one is positive.
SIGNED = frozenset(
    {*OFFSETS, "readings.time_difference", "spacing", "transducers.wedge_delay", WEDGE_COEFFICIENT}
)
MediumOf = Callable[[FloatArray], Medium]
SetupOf = Callable[[FloatArray], Setup]


@dataclass(frozen=True, slots=True)
class WedgeState:
    """Temperature coefficient of a wedge [m/s/K], the temperature [K] of its entered sound speed, and its temperature [K]."""

    per_kelvin: float
    reference_temperature: float
    temperature: float


@dataclass(frozen=True, slots=True)
class Measurement:
    """A set-up with its mean times [s]; `temperature` [K] and the medium as its function, if the temperature has an uncertainty.

    flow_factor [1] : factor that corrects the flow of these times
    setup_of : the whole set-up as a function of the temperature; None: only the medium depends on it
    wedge : state of the wedge, if its temperature is known
    """

    setup: Setup
    transit_time: float
    time_difference: float
    temperature: float | None = None
    medium_of: MediumOf | None = None
    flow_factor: float = 1.0
    setup_of: SetupOf | None = None
    wedge: WedgeState | None = None


def input_values(measurement: Measurement) -> dict[str, float]:
    """Return every input of a flow with an uncertainty, at its best estimate.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    values : dict of float  by path, in SI

    Source
    ------
    definition : the inputs of `compute.measuring.flow.flow_from_times`, with factors of 1 and offsets of 0 for what it leaves out.
    """
    pipe, pair, medium = measurement.setup.pipe, measurement.setup.transducers, measurement.setup.medium
    values = {
        "pipe.outer_diameter": pipe.outer_diameter,
        "pipe.wall_thickness": pipe.wall.thickness,
        "pipe.roughness": pipe.roughness,
        "medium.sound_speed": np.mean(medium.sound_speed),
        "medium.density": np.mean(medium.density),
        "medium.dynamic_viscosity": np.mean(medium.dynamic_viscosity),
        "transducers.wedge_angle": pair.wedge_angle,
        "transducers.wedge_sound_speed": pair.wedge_sound_speed,
        "transducers.wedge_delay": pair.wedge_delay,
        "readings.transit_time": measurement.transit_time,
        "readings.time_difference": measurement.time_difference,
    }
    modes = trace(measurement.setup).wave_modes
    values["pipe.wall_sound_speed"] = speed_of(pipe.wall, modes[0])
    if pipe.linings:
        values["pipe.lining.thickness"] = pipe.linings[0].thickness
        values["pipe.lining.sound_speed"] = speed_of(pipe.linings[0], modes[1])
    values["spacing"] = _spacing(measurement.setup)
    if measurement.temperature is not None and measurement.medium_of is not None:
        values["medium.temperature"] = measurement.temperature
    if measurement.wedge is not None:
        values[WEDGE_COEFFICIENT] = measurement.wedge.per_kelvin
        values[WEDGE_TEMPERATURE] = measurement.wedge.temperature
    values["profile_factor"] = _flow(measurement).profile_factor
    numbers = {path: float(value) for path, value in values.items()}
    return numbers | dict.fromkeys(FACTORS, 1.0) | dict.fromkeys(OFFSETS, 0.0)


def flow_uncertainty(
    measurement: Measurement,
    uncertainties: Mapping[str, InputUncertainty],
    correlations: Sequence[Correlation] = (),
    coverage_probability: float = 0.95,
) -> GumResult:
    """Return the uncertainty of the volume flow of a measurement by the law of propagation.

    Parameters
    ----------
    measurement : Measurement
    uncertainties : mapping of InputUncertainty  by path of the input
    correlations : sequence of (path, path, coefficient [-])
    coverage_probability : float [-]

    Returns
    -------
    result : GumResult  values and sensitivities in SI

    Raises
    ------
    NotEnough    no input is doubted
    OutOfRange   a relative uncertainty of an input that is 0
    UnknownName  an input that does not occur in this measurement

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.2 with numeric sensitivities.
    """
    return propagate(
        flow_model(measurement), flow_inputs(measurement, uncertainties), correlations, coverage_probability
    )


def flow_monte_carlo(
    measurement: Measurement,
    uncertainties: Mapping[str, InputUncertainty],
    linear: GumResult,
    trials: int,
    seed: int,
) -> MonteCarloResult:
    """Return the uncertainty by Monte Carlo, compared with the law of propagation.

    Parameters
    ----------
    measurement : Measurement
    uncertainties : mapping of InputUncertainty  as for `linear`
    linear : GumResult  of `flow_uncertainty`
    trials : int [-]
    seed : int [-]

    Returns
    -------
    result : MonteCarloResult

    Source
    ------
    JCGM 101:2008 clause 7.
    """
    return monte_carlo(
        flow_model(measurement),
        flow_inputs(measurement, uncertainties),
        linear,
        trials,
        seed,
        kind="volume_flow",
    )


def survey_uncertainties(
    setup: Setup,
    *,
    repeatability: InputUncertainty,
    measured_wall: InputUncertainty | None,
    viscosity_relative: float | None,
) -> dict[str, InputUncertainty]:
    """Return the input uncertainties of a survey: the default ones that occur, replaced by known ones.

    Without those of the place and of the flow: `velocity_profile_uncertainties` adds them.

    Parameters
    ----------
    setup : Setup
    repeatability : InputUncertainty  [s] of the mean time difference
    measured_wall : InputUncertainty or None  [m] when the wall rests on a wall measurement
    viscosity_relative : float or None [-]  of the medium's data

    Returns
    -------
    uncertainties : dict of InputUncertainty

    Source
    ------
    default : see DEFAULT_UNCERTAINTIES.
    """
    uncertainties = dict(DEFAULT_UNCERTAINTIES) | {"repeatability": repeatability}
    if not setup.pipe.linings:
        del uncertainties["pipe.lining.thickness"]
        del uncertainties["pipe.lining.sound_speed"]
    if setup.pipe.roughness == 0:
        del uncertainties["pipe.roughness"]
    if measured_wall is not None:
        uncertainties["pipe.wall_thickness"] = measured_wall
    if viscosity_relative is not None:
        uncertainties["medium.dynamic_viscosity"] = InputUncertainty(viscosity_relative, relative=True)
    return uncertainties


def velocity_profile_uncertainties(
    measurement: Measurement, uncertainties: Mapping[str, InputUncertainty], installation: float
) -> dict[str, InputUncertainty]:
    """Return the uncertainties of the profile factor and of the installation.

    Parameters
    ----------
    measurement : Measurement
    uncertainties : mapping of InputUncertainty  of the other inputs; they give the uncertainty of the Reynolds number
    installation : float [-]  relative standard uncertainty from the straight length

    Returns
    -------
    uncertainties : dict of InputUncertainty  `profile_factor` and `installation`

    Source
    ------
    profile : see `compute.measuring.profile_uncertainty`.
    installation : see `compute.measuring.installation`.
    """
    setup = measurement.setup
    reynolds = float(_flow(measurement).reynolds)
    factor = profile_factor_uncertainty(
        reynolds,
        float(setup.pipe.roughness / setup.pipe.bore),
        relative_beam_width(setup),
        reynolds_uncertainty(measurement, uncertainties) if reynolds < REGIME_CERTAIN_FROM else 0.0,
    )
    return {
        "profile_factor": InputUncertainty(factor, relative=True, source=PROFILE),
        "installation": InputUncertainty(
            installation, relative=True, distribution="rectangular", source=SYNOWIEC
        ),
    }


def reynolds_uncertainty(measurement: Measurement, uncertainties: Mapping[str, InputUncertainty]) -> float:
    """Return the relative standard uncertainty of the Reynolds number, of the viscosity and the time difference.

    Parameters
    ----------
    measurement : Measurement
    uncertainties : mapping of InputUncertainty  by path of the input

    Returns
    -------
    uncertainty : float [-]  at most MAX_REYNOLDS_UNCERTAINTY

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.2: sum of squares; the temperature by the difference over one standard uncertainty to both sides.
    """
    medium, parts = measurement.setup.medium, [0.0]
    if viscosity := uncertainties.get("medium.dynamic_viscosity"):
        value = float(np.mean(medium.dynamic_viscosity))
        parts.append(viscosity.of(value) / value)
    if (temperature := uncertainties.get("medium.temperature")) and measurement.medium_of is not None:
        at = measurement.temperature or 0.0
        step = temperature.of(at)
        ends = measurement.medium_of(np.array([at - step, at + step])).dynamic_viscosity
        low, high = np.log(np.broadcast_to(ends, 2))
        parts.append(float(low - high) / 2)
    if difference := abs(measurement.time_difference):
        parts += [
            uncertainties[path].of(difference) / difference
            for path in ("readings.time_difference", *OFFSETS)
            if path in uncertainties and not uncertainties[path].relative
        ]
    return min(math.hypot(*parts), MAX_REYNOLDS_UNCERTAINTY)


def temperature_uncertainty(known: str) -> InputUncertainty:
    """Return the uncertainty of a medium's temperature by its source.

    Parameters
    ----------
    known : str  `measured`, `estimated` or empty

    Returns
    -------
    uncertainty : InputUncertainty  [K]

    Source
    ------
    default : TEMPERATURE_UNCERTAINTIES.
    """
    return InputUncertainty(TEMPERATURE_UNCERTAINTIES[known])


def flow_inputs(measurement: Measurement, uncertainties: Mapping[str, InputUncertainty]) -> list[Input]:
    """Return the input quantities of a flow with their best estimates.

    Parameters
    ----------
    measurement : Measurement
    uncertainties : mapping of InputUncertainty  by path of the input

    Returns
    -------
    inputs : list of Input  SI

    Raises
    ------
    NotEnough    no input is uncertain
    OutOfRange   a relative uncertainty of an input that is 0
    UnknownName  an input that does not occur in this measurement

    Source
    ------
    definition : see `input_values`.
    """
    if not uncertainties:
        raise NotEnough(field="inputs", variant="no-inputs")
    values = input_values(measurement)
    for path in uncertainties:
        if path not in values:
            raise UnknownName(
                field=f"inputs.{path[:60]}", variant="calculation-input", name=path[:60], known=sorted(values)
            )
        if uncertainties[path].relative and values[path] == 0:
            raise OutOfRange(field=f"inputs.{path}", variant="relative-to-zero", input=field_name(path))
    return [
        Input(
            path,
            values[path],
            uncertainty.of(values[path]),
            uncertainty.degrees_of_freedom,
            uncertainty.distribution,
            uncertainty.limits,
            path not in SIGNED,
            uncertainty.source,
        )
        for path, uncertainty in uncertainties.items()
    ]


def path_flow_model(measurement: Measurement) -> Model:
    """Return the velocity along the beam times the area of the bore as a function of arrays of inputs, without a profile factor.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    model : callable  mapping path -> (m,) array to (m,) array [m3/s]; nan where the inputs are not possible together

    Source
    ------
    transit time : `compute.measuring.flow.flow_from_times`.
    """
    return _where_possible(measurement, lambda at: _evaluated(measurement, at)[2])


def flow_model(measurement: Measurement) -> Model:
    """Return the volume flow as a function of arrays of inputs; other inputs keep their best estimate.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    model : callable  mapping path -> (m,) array to (m,) array [m3/s]; nan where the inputs are not possible together

    Source
    ------
    transit time : `compute.measuring.flow.flow_from_times`.
    """
    at_best = _flow(measurement)
    share = float(turbulent_share(at_best.reynolds)) if at_best.reynolds < SHARE_KEPT_BELOW else None

    def flow(at: Mapping[str, FloatArray]) -> FloatArray:
        moved, result, along = _evaluated(measurement, at)
        factor = result.profile_factor
        if "profile_factor" in at:
            if share is not None:
                roughness = moved.pipe.roughness / moved.pipe.bore
                factor = profile_factor_with_share(result.reynolds, roughness, share)
            factor = factor * at["profile_factor"] / at_best.profile_factor
        return np.asarray(along * factor)

    return _where_possible(measurement, flow)


def _evaluated(measurement: Measurement, at: Mapping[str, FloatArray]) -> tuple[Setup, Flow, FloatArray]:
    """Return set-up and flow of moved inputs, and the velocity along the beam times the area with all factors but the profile's."""
    moved, transit_time = _with_inputs(measurement, _with_modes(measurement.setup), at)
    difference = at.get("readings.time_difference", measurement.time_difference) + sum(
        at[path] for path in OFFSETS if path in at
    )
    result = flow_from_times(moved, transit_time, difference)
    factor = measurement.flow_factor * math.prod(at[path] for path in FACTORS if path in at)
    return moved, result, np.asarray(result.path_velocity * bore_area(moved) * factor)


def _where_possible(
    measurement: Measurement, flow: Callable[[Mapping[str, FloatArray]], FloatArray]
) -> Model:
    """Return a model that is nan, instead of an error, where one of many sets of inputs is not possible."""

    def where_possible(at: Mapping[str, FloatArray]) -> FloatArray:
        try:
            return flow(at)
        except (OutOfRange, TotalReflection):
            count = max(np.size(values) for values in at.values())
            if count == 1:
                raise
            moved, transit_time = _with_inputs(measurement, _with_modes(measurement.setup), at)
            possible = np.broadcast_to(possible_beams(moved, transit_time), (count,))
            volume_flow = np.full(count, np.nan)
            if possible.any():
                volume_flow[possible] = flow(
                    {path: np.broadcast_to(values, (count,))[possible] for path, values in at.items()}
                )
            return volume_flow

    return where_possible


def flows_by_regime(
    measurement: Measurement, at: Mapping[str, FloatArray], model_error: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what the volume flow is if it is laminar, if it is turbulent, and the probability that it is turbulent.

    One velocity along the beam belongs to a laminar flow and to a faster turbulent one. By Bayes' rule each has the probability of
    its regime at its own Reynolds number, times its factor, as flows of all sizes are equally likely beforehand.

    Parameters
    ----------
    measurement : Measurement
    at : mapping of (n,)  draws of the inputs by path, without the profile factor
    model_error : (n,) [-]  error of the profile factor of the regime, in standard deviations

    Returns
    -------
    laminar, turbulent : (n,) [m3/s]  nan where the inputs are not possible together
    probability : (n,) [-]

    Source
    ------
    Bayes' rule; profile factors: `compute.measuring.profile_uncertainty`.
    """
    along_flow = np.asarray(path_flow_model(measurement)(at))
    setup, _ = _with_inputs(measurement, _with_modes(measurement.setup), at)
    per_flow = (
        4 / math.pi * np.asarray(setup.medium.density / setup.medium.dynamic_viscosity / setup.pipe.bore)
    )
    along = np.nan_to_num(np.abs(along_flow) * per_flow)
    roughness = float(np.mean(measurement.setup.pipe.roughness / measurement.setup.pipe.bore))
    share = np.asarray(profile_factor_with_share(0.9 * along, roughness, 1.0))
    turbulent = np.asarray(profile_factor_with_share(share * along, roughness, 1.0)) * along
    laminar = LAMINAR_FACTOR * along
    likely = _turbulence_probabilities(turbulent) * turbulent
    other = (1 - _turbulence_probabilities(laminar)) * laminar
    with np.errstate(invalid="ignore"):
        probability = np.nan_to_num(likely / (likely + other))
    width = relative_beam_width(measurement.setup)

    def drawn(numbers: FloatArray, regime: float) -> FloatArray:
        drawn = draw_profile_factors(numbers, roughness, np.full_like(numbers, regime), model_error, width)
        return np.asarray(along_flow * drawn)

    return drawn(laminar, 1.0), drawn(turbulent, 0.0), probability


def _turbulence_probabilities(reynolds: FloatArray) -> FloatArray:
    """Return the probability of turbulent flow at each Reynolds number, as `turbulence_probability` for one."""
    from scipy.special import ndtr

    with np.errstate(divide="ignore"):
        return np.asarray(ndtr((np.log(reynolds) - LOG_MIDDLE) / LOG_SPREAD))


def calculated_time(setup: Setup) -> Real:
    """Return the transit time of a set-up; at a mounted spacing the plane wave arrives later by slowness x distance.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    transit_time : float or (n,) [s]

    Source
    ------
    snell : see `compute.measuring.beam.trace`.
    """
    path = trace(setup)
    if setup.mounted_spacing is None:
        return path.transit_time
    off = setup.mounted_spacing + 2 * setup.transducers.face_offset - path.axial_advance
    return path.transit_time + path.axial_slowness * off


def transit_time_model(measurement: Measurement) -> Model:
    """Return the measured less the calculated transit time as a function of arrays of inputs.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    model : callable  mapping path -> (m,) array to (m,) array [s]

    Source
    ------
    snell : see `calculated_time`.
    """
    setup = _with_modes(measurement.setup)

    def difference(at: Mapping[str, FloatArray]) -> FloatArray:
        moved, transit_time = _with_inputs(measurement, setup, at)
        return np.asarray(transit_time - calculated_time(moved))

    return difference


def _flow(measurement: Measurement) -> Flow:
    return flow_from_times(measurement.setup, measurement.transit_time, measurement.time_difference)


def _with_modes(setup: Setup) -> Setup:
    """Return the set-up with the wave of each layer fixed: an uncertainty must not change the kind of wave."""
    modes = trace(setup).wave_modes
    layers = [
        replace(layer, wave_mode=mode)
        for layer, mode in zip((setup.pipe.wall, *setup.pipe.linings), modes, strict=True)
    ]
    return replace(setup, pipe=replace(setup.pipe, wall=layers[0], linings=tuple(layers[1:])))


def _with_inputs(
    measurement: Measurement, setup: Setup, at: Mapping[str, FloatArray]
) -> tuple[Setup, FloatArray]:
    """Return a set-up with inputs replaced by arrays of other values, and the transit time.

    The temperature moves the medium, the wedge, the dimensions and the sound speeds; an input of its own multiplies what the
    temperature makes of it.
    """
    base = setup
    if "medium.temperature" in at and measurement.setup_of is not None:
        base = measurement.setup_of(at["medium.temperature"])
    elif "medium.temperature" in at and measurement.medium_of is not None:
        base = replace(setup, medium=measurement.medium_of(at["medium.temperature"]))

    def moved(path: str, value: Real, nominal: Real) -> Real:
        return value * (at[path] / nominal) if path in at and nominal else at.get(path, value)

    pair, medium = setup.transducers, setup.medium
    wall = _moved_layer(base.pipe.wall, setup.pipe.wall, at, "pipe.wall_thickness", "pipe.wall_sound_speed")
    linings = list(base.pipe.linings)
    for place, lining in enumerate(linings):
        own = ("pipe.lining.thickness", "pipe.lining.sound_speed") if place == 0 else ("", "")
        linings[place] = _moved_layer(lining, setup.pipe.linings[place], at, *own)
    changed = replace(
        setup,
        pipe=replace(
            base.pipe,
            outer_diameter=moved("pipe.outer_diameter", base.pipe.outer_diameter, setup.pipe.outer_diameter),
            wall=wall,
            linings=tuple(linings),
            # A large uncertainty of a small roughness extends below 0, which is impossible.
            roughness=np.maximum(at.get("pipe.roughness", setup.pipe.roughness), 0.0),
        ),
        medium=Medium(
            moved("medium.sound_speed", base.medium.sound_speed, medium.sound_speed),
            moved("medium.density", base.medium.density, medium.density),
            moved("medium.dynamic_viscosity", base.medium.dynamic_viscosity, medium.dynamic_viscosity),
        ),
        transducers=replace(
            pair,
            wedge_angle=at.get("transducers.wedge_angle", pair.wedge_angle),
            wedge_sound_speed=moved(
                "transducers.wedge_sound_speed", base.transducers.wedge_sound_speed, pair.wedge_sound_speed
            )
            + _wedge_change(measurement.wedge, at),
            wedge_delay=at.get("transducers.wedge_delay", pair.wedge_delay),
        ),
    )
    transit_time = np.asarray(at.get("readings.transit_time", measurement.transit_time))
    if "spacing" in at:
        if setup.mounted_spacing is not None:
            changed = replace(changed, mounted_spacing=at["spacing"])
        else:
            # The calculated spacing, but for an unknown error: the plane wave arrives later by slowness x distance.
            slowness = np.sin(changed.transducers.wedge_angle) / changed.transducers.wedge_sound_speed
            transit_time = transit_time - slowness * (at["spacing"] - _spacing(setup))
    return changed, transit_time


def _moved_layer(
    layer: Layer, nominal: Layer, at: Mapping[str, FloatArray], thickness: str, sound_speed: str
) -> Layer:
    """Return a layer with another thickness, and another speed of the wave that it carries (`nominal` has the wave mode)."""
    values: dict[str, Real | None] = {}
    if thickness in at:
        values["thickness"] = layer.thickness * (at[thickness] / nominal.thickness)
    if sound_speed in at and nominal.wave_mode is not None:
        share = at[sound_speed] / speed_of(nominal, nominal.wave_mode)
        values[f"{nominal.wave_mode}_sound_speed"] = speed_of(layer, nominal.wave_mode) * share
    return replace(layer, wave_mode=nominal.wave_mode, **values)  # type: ignore[arg-type]


def _wedge_change(wedge: WedgeState | None, at: Mapping[str, FloatArray]) -> Real:
    """Return the change of the wedge's sound speed by another coefficient or another temperature than the medium's [m/s]."""
    if wedge is None:
        return 0.0
    warmer = at.get(WEDGE_TEMPERATURE, wedge.temperature) - wedge.temperature
    coefficient = at.get(WEDGE_COEFFICIENT, wedge.per_kelvin)
    of_coefficient: Real = (coefficient - wedge.per_kelvin) * (
        wedge.temperature - wedge.reference_temperature
    )
    return of_coefficient + coefficient * warmer


def speed_of(layer: Layer, mode: WaveMode) -> Real:
    """Return the speed of a wave in a layer.

    Parameters
    ----------
    layer : Layer
    mode : WaveMode  one that the layer carries

    Returns
    -------
    speed : float or (n,) [m/s]

    Source
    ------
    none : a look-up.
    """
    if mode == "shear" and layer.shear_sound_speed is not None:
        return layer.shear_sound_speed
    return layer.longitudinal_sound_speed


def _spacing(setup: Setup) -> float:
    """Return the spacing as mounted, or as calculated where the mounted one is not known."""
    if setup.mounted_spacing is not None:
        return float(np.mean(setup.mounted_spacing))
    return float(trace(setup).axial_advance - 2 * setup.transducers.face_offset)
