"""Flow uncertainty: input uncertainties and their propagation.

Wall, diameter, wedge and profile are shared by every reading of a log: their uncertainty does not decrease with the number of
readings. Only that of the scatter does, by the effective number of readings.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from compute.base.errors import NotEnough, OutOfRange, UnknownName
from compute.base.messages import field_name
from compute.base.sources import PRACTICE, Source
from compute.measuring.beam import FloatArray, Layer, Medium, Real, Setup, trace
from compute.measuring.flow import Flow, flow_from_times
from compute.measuring.installation import SYNOWIEC
from compute.measuring.profile import profile_factor_with_share, turbulent_share
from compute.measuring.profile_uncertainty import profile_factor_uncertainty, relative_beam_width
from compute.statistics.gum import Correlation, Distribution, GumResult, Input, Model, propagate
from compute.statistics.monte_carlo import MonteCarloResult, monte_carlo


@dataclass(frozen=True, slots=True)
class InputUncertainty:
    """Uncertainty of one input: standard uncertainty (k = 1) in the input's SI unit, or relative to its value."""

    standard_uncertainty: float
    relative: bool = False
    degrees_of_freedom: float = math.inf
    distribution: Distribution = "normal"
    source: Source = PRACTICE

    def of(self, value: float) -> float:
        """Return the standard uncertainty of a value."""
        return self.standard_uncertainty * abs(value) if self.relative else self.standard_uncertainty


TAPE = Source(
    "circumference of a round pipe, read to 1 mm: half-width of the diameter 0.3 %, rectangular", "default"
)
MILL = Source("ASTM A530: mill tolerance of a wall from a table 12.5 %, rectangular", "unverified")
DEFAULT_UNCERTAINTIES: Mapping[str, InputUncertainty] = {
    "pipe.outer_diameter": InputUncertainty(
        0.003 / math.sqrt(3), relative=True, distribution="rectangular", source=TAPE
    ),
    "pipe.wall_thickness": InputUncertainty(
        0.125 / math.sqrt(3), relative=True, distribution="rectangular", source=MILL
    ),
    "pipe.lining.thickness": InputUncertainty(0.2 / math.sqrt(3), relative=True, distribution="rectangular"),
    "pipe.roughness": InputUncertainty(0.5, relative=True),
    "medium.dynamic_viscosity": InputUncertainty(0.02, relative=True),
    "transducers.wedge_angle": InputUncertainty(math.radians(0.2)),
    "transducers.wedge_sound_speed": InputUncertainty(0.003, relative=True),
    "transducers.wedge_delay": InputUncertainty(50e-9),
    "readings.transit_time": InputUncertainty(20e-9),
    "readings.time_difference": InputUncertainty(0.3e-9),
}
"""Uncertainties of the inputs of a survey that are used where none is recorded: default values unless a source is named."""

PROFILE = Source(
    "Yao et al. 2022, arXiv:2207.06289 (direct numerical simulation), McKeon et al. 2005 and Nikuradse 1932: scatter of the velocity "
    "profiles; transition between Re 2300 and 4000 and width of the beam are default values",
    "derived",
)
# Largest relative uncertainty of a Reynolds number that is used, for flows near zero; beyond it nothing changes. Default value.
MAX_REYNOLDS_UNCERTAINTY = 10.0
# From this Reynolds number no uncertainty of it that a medium has makes the flow laminar, so that it is not calculated.
REGIME_CERTAIN_FROM = 200_000.0
# Up to this Reynolds number the propagation keeps the share of turbulent flow, whose uncertainty is part of the profile factor's.
SHARE_KEPT_BELOW = 10_000.0
# A thermometer on the pipe reads the surface, not the medium; an estimate is coarser. Standard, in K; default values.
TEMPERATURE_UNCERTAINTIES = {"measured": 1.0, "estimated": 5.0, "": 2.0}
# Inputs with an uncertainty besides the pipe, the medium and the times, with their best estimates. The `meter` as a
# whole, its calibration, the `installation` and `pipe.ovality` multiply the flow and are 1, `profile_factor` is that of
# the flow; `meter.zero` and `repeatability` add to the time difference and are 0.
FACTORS = ("meter", "meter.calibration", "installation", "pipe.ovality")
OFFSETS = ("meter.zero", "repeatability")
MediumOf = Callable[[FloatArray], Medium]


@dataclass(frozen=True, slots=True)
class Measurement:
    """A set-up with its mean times [s]; `temperature` [K] and the medium as its function, if the temperature has an uncertainty.

    flow_factor [1] : factor that corrects the flow of these times
    """

    setup: Setup
    transit_time: float
    time_difference: float
    temperature: float | None = None
    medium_of: MediumOf | None = None
    flow_factor: float = 1.0


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
    if pipe.linings:
        values["pipe.lining.thickness"] = pipe.linings[0].thickness
    if measurement.temperature is not None and measurement.medium_of is not None:
        values["medium.temperature"] = measurement.temperature
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
        _model(measurement), _inputs(measurement, uncertainties), correlations, coverage_probability
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
        _model(measurement),
        _inputs(measurement, uncertainties),
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
        _reynolds_uncertainty(measurement, uncertainties) if reynolds < REGIME_CERTAIN_FROM else 0.0,
    )
    return {
        "profile_factor": InputUncertainty(factor, relative=True, source=PROFILE),
        "installation": InputUncertainty(
            installation, relative=True, distribution="rectangular", source=SYNOWIEC
        ),
    }


def _reynolds_uncertainty(measurement: Measurement, uncertainties: Mapping[str, InputUncertainty]) -> float:
    """Return the relative standard uncertainty of the Reynolds number, of the viscosity and the time difference."""
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


def _inputs(measurement: Measurement, uncertainties: Mapping[str, InputUncertainty]) -> list[Input]:
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
        )
        for path, uncertainty in uncertainties.items()
    ]


def _model(measurement: Measurement) -> Model:
    """Return the volume flow as a function of arrays of inputs; other inputs keep their best estimate."""
    setup = _with_modes(measurement.setup)
    at_best = _flow(measurement)
    profile_factor = at_best.profile_factor
    share = float(turbulent_share(at_best.reynolds)) if at_best.reynolds < SHARE_KEPT_BELOW else None

    def flow(at: Mapping[str, FloatArray]) -> FloatArray:
        moved = _with_inputs(measurement, setup, at)
        difference = at.get("readings.time_difference", measurement.time_difference) + sum(
            at[path] for path in OFFSETS if path in at
        )
        result = flow_from_times(moved, at.get("readings.transit_time", measurement.transit_time), difference)
        factor = measurement.flow_factor * math.prod(at[path] for path in FACTORS if path in at)
        if "profile_factor" in at:
            factor = factor * at["profile_factor"] / profile_factor
        if share is not None:
            roughness = moved.pipe.roughness / moved.pipe.bore
            factor = (
                factor * profile_factor_with_share(result.reynolds, roughness, share) / result.profile_factor
            )
        return np.asarray(result.volume_flow * factor)

    return flow


def calculated_time(setup: Setup) -> Real:
    """Return the transit time of a set-up.

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
    return trace(setup).transit_time


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
        moved = _with_inputs(measurement, setup, at)
        transit_time = at.get("readings.transit_time", measurement.transit_time)
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


def _with_inputs(measurement: Measurement, setup: Setup, at: Mapping[str, FloatArray]) -> Setup:
    """Return a set-up with inputs replaced by arrays of other values."""
    pipe, pair = setup.pipe, setup.transducers
    medium = setup.medium
    if "medium.temperature" in at and measurement.medium_of is not None:
        medium = measurement.medium_of(at["medium.temperature"])
    linings: tuple[Layer, ...] = pipe.linings
    if linings and "pipe.lining.thickness" in at:
        linings = (replace(linings[0], thickness=at["pipe.lining.thickness"]), *linings[1:])
    return replace(
        setup,
        pipe=replace(
            pipe,
            outer_diameter=at.get("pipe.outer_diameter", pipe.outer_diameter),
            wall=replace(pipe.wall, thickness=at.get("pipe.wall_thickness", pipe.wall.thickness)),
            linings=linings,
            # A large uncertainty of a small roughness extends below 0, which is impossible.
            roughness=np.maximum(at.get("pipe.roughness", pipe.roughness), 0.0),
        ),
        medium=Medium(
            at.get("medium.sound_speed", medium.sound_speed),
            at.get("medium.density", medium.density),
            at.get("medium.dynamic_viscosity", medium.dynamic_viscosity),
        ),
        transducers=replace(
            pair,
            wedge_angle=at.get("transducers.wedge_angle", pair.wedge_angle),
            wedge_sound_speed=at.get("transducers.wedge_sound_speed", pair.wedge_sound_speed),
            wedge_delay=at.get("transducers.wedge_delay", pair.wedge_delay),
        ),
    )
