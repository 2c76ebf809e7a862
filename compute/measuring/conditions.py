"""Effects of temperature and shape on a set-up: thermal expansion, wedge temperature, ovality."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Finding, finding, quantity, term
from compute.base.sources import Source
from compute.library.materials import REFERENCE_TEMPERATURE, solids
from compute.measuring.beam import Pipe, Real, Transducers

GEOMETRY = Source(
    "geometry of an ellipse: area from the circumference, beam along the normal of the wall at an unknown angle",
    "derived",
)
# Half the relative difference of the diameters from which an oval pipe is a finding; default value.
OVAL_SHARE = 0.005
OVAL_COEFFICIENT = 1.5
# Below this no solid wedge is plausible [m/s]; default value.
MIN_WEDGE_SOUND_SPEED = 100.0
# Change of the sound speed of a wedge of another plastic than those of the library, with its standard uncertainty [m/s/K], and the
# relative standard uncertainty of the library's values; default values.
PLASTIC_PER_KELVIN, PLASTIC_PER_KELVIN_UNCERTAINTY = -2.0, 0.8
WEDGE_COEFFICIENT_UNCERTAINTY = 0.2
WEDGE_COEFFICIENT = Source(
    "typical values of wedge plastics near 20 degC: PMMA -2.5, PEEK -2.2, PEI -1.8, others -2.0 m/s/K; standard uncertainty 20 %, "
    "others 0.8 m/s/K",
    "unverified",
)
# Relative change of the flow from which a default coefficient is a warning; a default value.
DEFAULT_COEFFICIENT_WARNING = 0.01
# A wedge is cooler than a hot pipe: standard uncertainty of its temperature as a share of the difference between pipe and ambient,
# and the ambient temperature [K] assumed; default values.
WEDGE_GRADIENT_SHARE = 0.1
AMBIENT_TEMPERATURE = 293.15
WEDGE_GRADIENT = Source(
    "common practice: the wedge is between pipe and ambient (20 degC); standard uncertainty 10 % of the difference",
    "default",
)


@dataclass(frozen=True, slots=True)
class Conditions:
    """Temperatures and shape of a pipe.

    medium_temperature [K] in operation, dimensions_temperature [K] when the dimensions were measured; largest and smallest outer
    diameter [m] of an oval pipe. None: not entered.
    """

    medium_temperature: Real | None = None
    dimensions_temperature: float | None = None
    largest_diameter: float | None = None
    smallest_diameter: float | None = None


def expanded_pipe(pipe: Pipe, expansion: float | None, conditions: Conditions) -> tuple[Pipe, list[Finding]]:
    """Return a pipe at its operating temperature, from dimensions measured at another.

    Every length of it grows by expansion x temperature difference; a lining is held by the wall and follows it.

    Parameters
    ----------
    pipe : Pipe  dimensions as measured
    expansion : float or None [1/K]  of the wall's material
    conditions : Conditions

    Returns
    -------
    pipe : Pipe  as it is at the medium's temperature
    findings : list of Finding  by how much

    Raises
    ------
    NotEnough  the temperature of the dimensions is entered, but the medium's temperature or the thermal expansion is not known

    Source
    ------
    linear expansion : length x (1 + expansion x difference); each material carries its coefficient.
    """
    if conditions.dimensions_temperature is None:
        return pipe, []
    if conditions.medium_temperature is None or expansion is None:
        raise NotEnough(field="pipe.dimensions_temperature", variant="dimensions-temperature")
    factor = 1 + expansion * (conditions.medium_temperature - conditions.dimensions_temperature)
    change = float(np.mean(factor)) - 1
    grown = replace(
        pipe,
        outer_diameter=pipe.outer_diameter * factor,
        wall=replace(pipe.wall, thickness=pipe.wall.thickness * factor),
        linings=tuple(replace(layer, thickness=layer.thickness * factor) for layer in pipe.linings),
    )
    return grown, [
        finding(
            "dimensions-expanded",
            "info",
            "pipe.outer_diameter",
            measured_at=quantity(conditions.dimensions_temperature, "temperature"),
            temperature=quantity(float(np.mean(conditions.medium_temperature)), "temperature"),
            outer_diameter=quantity(float(np.mean(grown.outer_diameter)), "length"),
            change=change,
            flow_change=(1 + change) ** 2 - 1,
            direction=term("larger" if change >= 0 else "smaller"),
        )
    ]


@dataclass(frozen=True, slots=True)
class WedgeCoefficient:
    """Change of a wedge's sound speed with temperature [m/s/K] with its standard uncertainty, and the plastic it belongs to."""

    per_kelvin: float
    standard_uncertainty: float
    plastic: str = ""


def default_wedge_coefficient(sound_speed: Real) -> WedgeCoefficient:
    """Return the temperature coefficient of a wedge's plastic, which its sound speed shows.

    Parameters
    ----------
    sound_speed : float or (n,) [m/s]  of the wedge at about 20 degC; the mean of an array decides

    Returns
    -------
    coefficient : WedgeCoefficient  that of plastics in general where the sound speed is not that of a plastic of the library

    Source
    ------
    default : see WEDGE_COEFFICIENT.
    """
    return _coefficient(float(np.mean(sound_speed)))


@lru_cache(maxsize=1024)
def _coefficient(speed: float) -> WedgeCoefficient:
    for one in solids():
        low, high = one.longitudinal_range
        if one.use == "wedge" and one.longitudinal_per_kelvin is not None and low <= speed <= high:
            uncertainty = WEDGE_COEFFICIENT_UNCERTAINTY * abs(one.longitudinal_per_kelvin)
            return WedgeCoefficient(one.longitudinal_per_kelvin, uncertainty, one.title)
    return WedgeCoefficient(PLASTIC_PER_KELVIN, PLASTIC_PER_KELVIN_UNCERTAINTY)


def warm_wedge(
    transducers: Transducers,
    per_kelvin: float | None,
    reference_temperature: float | None,
    temperature: Real | None,
) -> tuple[Transducers, list[Finding]]:
    """Return a transducer pair with its wedge at the temperature of the pipe.

    Parameters
    ----------
    transducers : Transducers  wedge_sound_speed at the reference temperature
    per_kelvin : float or None [m/s/K]  change of the wedge's sound speed with temperature; None: not known, that of its plastic
    reference_temperature : float or None [K]  of the entered wedge_sound_speed; None with a default coefficient: 20 degC
    temperature : float, (n,) or None [K]  of the medium, assumed for the wedge; None: nothing changes

    Returns
    -------
    transducers : Transducers
    findings : list of Finding  the assumed temperature, or the default coefficient and its effect on the flow

    Raises
    ------
    NotEnough   a change with temperature without the temperature it starts from
    OutOfRange  the sound speed of the wedge is not plausible

    Source
    ------
    linear change : common practice; the coefficient is the transducer pair's own, or see WEDGE_COEFFICIENT.
    flow : at the same times the flow is in proportion to the sound speed of the wedge, as 1 / axial slowness.
    """
    if temperature is None:
        return transducers, []
    entered = transducers.wedge_sound_speed
    if per_kelvin is None:
        coefficient = default_wedge_coefficient(entered)
        start = REFERENCE_TEMPERATURE if reference_temperature is None else reference_temperature
        speed = np.maximum(entered + coefficient.per_kelvin * (temperature - start), entered / 2)[()]
        return replace(transducers, wedge_sound_speed=speed), _default_used(
            coefficient, entered, speed, temperature
        )
    if reference_temperature is None:
        raise NotEnough(field="transducers.wedge_reference_temperature", variant="wedge-temperature")
    speed = entered + per_kelvin * (temperature - reference_temperature)
    if not np.all(np.asarray(speed) > MIN_WEDGE_SOUND_SPEED):
        raise OutOfRange(
            field="transducers.wedge_temperature_coefficient",
            variant="wedge-sound-speed",
            temperature=quantity(float(np.mean(temperature)), "temperature"),
            sound_speed=quantity(float(np.min(speed)), "speed"),
            above=quantity(MIN_WEDGE_SOUND_SPEED, "speed"),
        )
    return replace(transducers, wedge_sound_speed=speed), [
        finding(
            "wedge-temperature-assumed",
            "info",
            "transducers.wedge_sound_speed",
            temperature=quantity(float(np.mean(temperature)), "temperature"),
            sound_speed=quantity(float(np.mean(speed)), "speed"),
            entered=quantity(float(np.mean(entered)), "speed"),
        )
    ]


def _default_used(
    coefficient: WedgeCoefficient, entered: Real, speed: Real, temperature: Real
) -> list[Finding]:
    change = float(np.mean(speed) / np.mean(entered) - 1)
    if change == 0:
        return []
    return [
        finding(
            "wedge-coefficient-default",
            "warning" if abs(change) >= DEFAULT_COEFFICIENT_WARNING else "info",
            "transducers.wedge_temperature_coefficient",
            source=WEDGE_COEFFICIENT,
            plastic=coefficient.plastic or None,
            coefficient=quantity(coefficient.per_kelvin, "speed_per_temperature"),
            temperature=quantity(float(np.mean(temperature)), "temperature"),
            sound_speed=quantity(float(np.mean(speed)), "speed"),
            entered=quantity(float(np.mean(entered)), "speed"),
            flow_change=change,
        )
    ]


def wedge_gradient_uncertainty(pipe_temperature: float) -> float:
    """Return the standard uncertainty of the wedge's temperature from the gradient between pipe and ambient.

    The axial slowness is fixed where the wave leaves the crystal, at the cooler end of the wedge of a hot pipe.

    Parameters
    ----------
    pipe_temperature : float [K]

    Returns
    -------
    standard_uncertainty : float [K]

    Source
    ------
    default : WEDGE_GRADIENT_SHARE of the difference.
    """
    return WEDGE_GRADIENT_SHARE * abs(pipe_temperature - AMBIENT_TEMPERATURE)


def oval_findings(conditions: Conditions) -> list[Finding]:
    """Check the out-of-roundness of the pipe.

    The times of the beam give the velocity whatever the length of its path, so that only the area and the position of the beam in the
    profile change, both by the square of the out-of-roundness (`oval_uncertainty`). The measured sound speed goes with the length of the
    path and changes in proportion.

    Parameters
    ----------
    conditions : Conditions

    Returns
    -------
    findings : list of Finding

    Raises
    ------
    OutOfRange  a largest diameter below the smallest

    Source
    ------
    geometry : see `oval_uncertainty`.
    """
    largest, smallest = conditions.largest_diameter, conditions.smallest_diameter
    if largest is None or smallest is None:
        return []
    if not 0 < smallest <= largest:
        raise OutOfRange(
            field="pipe.max_outer_diameter",
            value=quantity(largest, "length"),
            at_least=quantity(smallest, "length"),
        )
    share = oval_share(conditions)
    if share <= OVAL_SHARE:
        return []
    return [
        finding(
            "pipe-out-of-round",
            "warning",
            "pipe.outer_diameter",
            source=GEOMETRY,
            smallest=quantity(smallest, "length"),
            largest=quantity(largest, "length"),
            flow_uncertainty=oval_uncertainty(share),
            path_uncertainty=share,
        )
    ]


def oval_share(conditions: Conditions) -> float:
    """Return half the difference of the largest and smallest diameter over their mean.

    Parameters
    ----------
    conditions : Conditions

    Returns
    -------
    share : float [-]  0 if not entered

    Source
    ------
    geometry : e of diameters D(1 + e) and D(1 - e).
    """
    largest, smallest = conditions.largest_diameter, conditions.smallest_diameter
    if largest is None or smallest is None:
        return 0.0
    return (largest - smallest) / (largest + smallest)


def oval_uncertainty(share: float) -> float:
    """Return the relative standard uncertainty of the flow of an oval pipe that is calculated as a round one.

    With diameters D(1 + e) and D(1 - e) of the bore, the area calculated from the circumference is 1.5 e^2 too large. A beam along the
    normal of the wall at an unknown angle a passes the axis at a distance of e sin 2a diameters, where a laminar flow is slower by
    4 e^2 sin^2 2a and a turbulent one by less. The root of the mean square of both together over all angles is 1.5 e^2 for laminar flow and
    0.85 to 1.04 e^2 for power laws with exponents from 1/6 to 1/10. It includes the mean, which is not corrected.

    Parameters
    ----------
    share : float [-]  e of the bore, see `oval_share`

    Returns
    -------
    uncertainty : float [-]

    Source
    ------
    geometry : ellipse with the measured circumference, flow with the elliptical contours of the round profile; integrated numerically.
    """
    return OVAL_COEFFICIENT * share**2
