"""Test whether a measured sound speed is consistent with the entries: one limit, from the combined uncertainty.

The transit time of the set-up is calculated from the entries; the difference of the measured time from it has the standard
uncertainty that the uncertainties of wall, outer diameter, lining, temperature, wedge, delay and timing, and that of the medium's own
sound speed, give together. The limit is the interval that holds 98 % of the differences of flawless surveys.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from compute.base.errors import ComputeError, OutOfRange
from compute.measuring.beam import Setup, trace
from compute.measuring.conditions import oval_share
from compute.measuring.entries import PipeEntry, ResolvedMedium
from compute.measuring.flow import flow_from_times
from compute.results.uncertainty import Measurement, transit_time_model
from compute.statistics.gum import Input, Model, sensitivities

# Of flawless surveys, 2 % are outside the limit; a default value.
COVERAGE_PROBABILITY = 0.98
COVERAGE_FACTOR = 2.326  # of a normal distribution
# Inputs of a flow that have no effect on the transit time.
WITHOUT_EFFECT = frozenset(
    {
        "pipe.roughness",
        "medium.density",
        "medium.dynamic_viscosity",
        "profile_factor",
        "readings.time_difference",
        "meter",
        "meter.calibration",
        "meter.zero",
        "installation",
        "repeatability",
    }
)
OVALITY = "pipe.ovality"
TRANSIT_TIME = "readings.transit_time"
MEDIUM = "medium.sound_speed"
# A difference smaller than this is one of rounding, relative.
ROUNDING = 1e-6
# Standard uncertainty of an entered sound speed of a medium, relative; a default value.
ENTERED_SOUND_SPEED_UNCERTAINTY = 0.002


@dataclass(frozen=True, slots=True)
class SoundSpeedTest:
    """A measured sound speed [m/s] and the expected one, with the standard uncertainty of their relative difference.

    measured         : None where the transit time is too short for any sound speed
    time_uncertainty : standard uncertainty of the difference of the measured and the calculated transit time [s]
    main_input       : the input that contributes most to it
    """

    measured: float | None
    expected: float
    relative_uncertainty: float
    time_uncertainty: float
    main_input: str

    @property
    def limit(self) -> float:
        """The largest relative difference that is consistent."""
        return max(COVERAGE_FACTOR * self.relative_uncertainty, ROUNDING)

    @property
    def deviation(self) -> float:
        """Relative difference of the measured from the expected sound speed; infinite where none is measured."""
        return math.inf if self.measured is None else self.measured / self.expected - 1

    @property
    def consistent(self) -> bool:
        """Whether the difference is within the limit."""
        return abs(self.deviation) <= self.limit


def sound_speed_test(
    measurement: Measurement,
    inputs: Iterable[Input],
    medium_uncertainty: float,
    measured: float | None,
) -> SoundSpeedTest:
    """Compare the measured sound speed with that of the entries.

    Parameters
    ----------
    measurement : Measurement
    inputs : iterable of Input  with their standard uncertainties, as in the budget of the flow; those without effect are ignored
    medium_uncertainty : float [-]  standard uncertainty of the medium's own sound speed, relative
    measured : float or None [m/s]  sound speed of the measured time

    Returns
    -------
    test : SoundSpeedTest

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.2 for the standard uncertainty of the difference, with numeric sensitivities.
    spacing : at fixed axial length T = N B cos(angle)/c + p x, see `compute.measuring.flow.flow_from_times`.
    limit : two-sided 98 % of a normal distribution, a default value.
    """
    setup = measurement.setup
    path = trace(setup)
    # d ln(time in the medium)/d ln(sound speed) = tan^2(angle) - 1: at 45 deg the time does not depend on the sound speed. At a mounted
    # spacing the axial length is given, and the derivative of N B cos(angle)/c is that of the time in the medium, -1.
    in_medium = float(path.time_in_medium)
    square = 0.0 if setup.mounted_spacing is not None else math.tan(float(path.angle_in_medium)) ** 2
    by_speed = in_medium * abs(1 - square)
    contributions = _contributions(measurement, inputs)
    contributions[MEDIUM] = math.hypot(contributions.get(MEDIUM, 0.0), medium_uncertainty * by_speed)
    combined = math.sqrt(sum(value * value for value in contributions.values()))
    return SoundSpeedTest(
        measured=measured,
        expected=float(setup.medium.sound_speed),
        relative_uncertainty=combined / max(by_speed, 1e-3 * in_medium),
        time_uncertainty=combined,
        main_input=max(contributions, key=lambda path: contributions[path]),
    )


def measured_sound_speed(setup: Setup, transit_time: float) -> float | None:
    """Return the sound speed of a measured transit time.

    Parameters
    ----------
    setup : Setup
    transit_time : float [s]

    Returns
    -------
    sound_speed : float or None [m/s]  None where the time is too short for any sound speed

    Source
    ------
    transit time : see `compute.measuring.flow.flow_from_times`.
    """
    try:
        return float(flow_from_times(setup, transit_time, 0.0).measured_sound_speed)
    except OutOfRange:
        return None


def sound_speed_uncertainty(medium: ResolvedMedium) -> float:
    """Return the standard uncertainty of the sound speed of a medium.

    Parameters
    ----------
    medium : ResolvedMedium

    Returns
    -------
    uncertainty : float [-]  relative

    Source
    ------
    library : the medium carries its own; a default value for an entered sound speed.
    """
    known = medium.sound_speed_uncertainty
    return ENTERED_SOUND_SPEED_UNCERTAINTY if known is None else known


def crossing_uncertainty(pipe: PipeEntry) -> Input:
    """Return the uncertainty of the diameter that the beam crosses in an oval pipe, as an input of the test.

    Parameters
    ----------
    pipe : PipeEntry

    Returns
    -------
    crossing : Input  relative to the bore; 0 for a round pipe

    Source
    ------
    geometry : an unknown direction, so an arcsine distribution between the smallest and the largest diameter (GUM H.1.3.4).
    """
    share = oval_share(pipe.conditions(None)) * pipe.outer_diameter / pipe.bore
    return Input(OVALITY, 1.0, share / math.sqrt(2), distribution="arcsine")


def _contributions(measurement: Measurement, inputs: Iterable[Input]) -> dict[str, float]:
    """Return the contribution [s] of each input to the uncertainty of the difference of the times."""
    uncertain = {one.path: one for one in inputs if one.standard_uncertainty > 0}
    found: dict[str, float] = {}
    if timing := uncertain.pop(TRANSIT_TIME, None):
        found[TRANSIT_TIME] = timing.standard_uncertainty
    if ovality := uncertain.pop(OVALITY, None):
        # The beam crosses an unknown diameter: its time in the medium varies as the diameter does.
        found[OVALITY] = ovality.standard_uncertainty * float(trace(measurement.setup).time_in_medium)
    varied = [one for path, one in uncertain.items() if path not in WITHOUT_EFFECT]
    if varied:
        for one, slope in zip(varied, _slopes(transit_time_model(measurement), varied), strict=True):
            found[one.path] = abs(slope) * one.standard_uncertainty
    return found


def _slopes(model: Model, inputs: Sequence[Input]) -> list[float]:
    """Return the sensitivities; near a critical angle or the end of a medium's range, those of the side that is possible."""
    try:
        return [float(slope) for slope in sensitivities(model, inputs)[1]]
    except ComputeError:
        return [_one_sided_slope(model, one) for one in inputs]


def _one_sided_slope(model: Model, one: Input) -> float:
    """Return the difference quotient over one standard uncertainty: a derivative at a critical angle would be unlimited."""
    for step in (one.standard_uncertainty, -one.standard_uncertainty):
        try:
            before, after = (
                float(np.asarray(model({one.path: np.array([value])})).flat[0])
                for value in (one.value, one.value + step)
            )
        except ComputeError:
            continue
        return (after - before) / step
    return 0.0
