"""Test whether a measured sound speed is consistent with the entries: one limit, from the combined uncertainty.

The transit time of the set-up is calculated from the entries; the difference of the measured time from it has the standard
uncertainty that the uncertainties of wall, outer diameter, lining, temperature, wedge, delay and timing, and that of the medium's own
sound speed, give together. The limit is the interval that holds 98 % of the differences of flawless surveys.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from compute.base.errors import OutOfRange, TotalReflection
from compute.measuring.beam import Setup, trace
from compute.measuring.entries import ResolvedMedium
from compute.measuring.flow import flow_from_times
from compute.results.uncertainty import Measurement, calculated_time, input_values, transit_time_model
from compute.statistics.gum import Input, sensitivities

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
    standard_uncertainties: Mapping[str, float],
    medium_uncertainty: float = 0.0,
) -> SoundSpeedTest:
    """Compare the measured sound speed with that of the entries.

    Parameters
    ----------
    measurement : Measurement
    standard_uncertainties : mapping of float  by path of the input, in its SI unit, as in the budget of the flow
    medium_uncertainty : float [-]  standard uncertainty of the medium's own sound speed, relative

    Returns
    -------
    test : SoundSpeedTest

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.2 for the standard uncertainty of the difference, with numeric sensitivities.
    limit : two-sided 98 % of a normal distribution, a default value.
    """
    setup = measurement.setup
    expected = float(setup.medium.sound_speed)
    by_speed = _time_by_speed(setup) * expected
    contributions = _contributions(measurement, standard_uncertainties)
    contributions[MEDIUM] = math.hypot(contributions.get(MEDIUM, 0.0), medium_uncertainty * by_speed)
    combined = math.sqrt(sum(value * value for value in contributions.values()))
    # At 45 deg in the medium the time does not depend on the sound speed, which then has no certain value.
    in_medium = float(trace(setup).time_in_medium)
    return SoundSpeedTest(
        measured=_measured(measurement),
        expected=expected,
        relative_uncertainty=combined / max(abs(by_speed), 1e-3 * in_medium),
        time_uncertainty=combined,
        main_input=max(contributions, key=lambda path: contributions[path]),
    )


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


def _contributions(measurement: Measurement, standard_uncertainties: Mapping[str, float]) -> dict[str, float]:
    """Return the contribution [s] of each input to the uncertainty of the difference of the times."""
    # The sensitivities are those of the entries, also where the measured time is not possible with them.
    measurement = replace(measurement, transit_time=float(calculated_time(measurement.setup)))
    values = input_values(measurement)
    inputs = [
        Input(path, values[path], uncertainty)
        for path, uncertainty in standard_uncertainties.items()
        if path in values and path not in WITHOUT_EFFECT and path != OVALITY and uncertainty > 0
    ]
    found: dict[str, float] = {}
    if inputs:
        _, slopes = sensitivities(transit_time_model(measurement), inputs)
        found = {
            one.path: abs(float(slope)) * one.standard_uncertainty
            for one, slope in zip(inputs, slopes, strict=True)
        }
    if standard_uncertainties.get(OVALITY):
        # The beam crosses an unknown diameter: its time in the medium varies as the diameter does.
        found[OVALITY] = standard_uncertainties[OVALITY] * float(trace(measurement.setup).time_in_medium)
    return found


def _time_by_speed(setup: Setup) -> float:
    """Return the derivative of the transit time by the sound speed of the medium [s over m/s]."""
    speed = float(setup.medium.sound_speed)
    step = 1e-5 * speed
    try:
        after, before = (
            float(calculated_time(replace(setup, medium=replace(setup.medium, sound_speed=moved))))
            for moved in (speed + step, speed - step)
        )
    except TotalReflection:
        return 0.0
    return (after - before) / (2 * step)


def _measured(measurement: Measurement) -> float | None:
    try:
        return float(flow_from_times(measurement.setup, measurement.transit_time, 0.0).measured_sound_speed)
    except OutOfRange:
        return None
