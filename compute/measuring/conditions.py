"""Effects of temperature and shape on a set-up: thermal expansion, wedge temperature, ovality."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Finding, finding, quantity, term
from compute.base.sources import Source
from compute.measuring.beam import Pipe, Transducers

GEOMETRY = Source(
    "geometry of an ellipse: area from the circumference, beam along the normal of the wall at an unknown angle",
    "derived",
)
# Half the relative difference of the diameters from which an oval pipe is a finding; default value.
OVAL_SHARE = 0.005
OVAL_COEFFICIENT = 1.5
# Below this no solid wedge is plausible [m/s]; default value.
MIN_WEDGE_SOUND_SPEED = 100.0


@dataclass(frozen=True, slots=True)
class Conditions:
    """Temperatures and shape of a pipe.

    medium_temperature [K] in operation, dimensions_temperature [K] when the dimensions were measured; largest and smallest outer
    diameter [m] of an oval pipe. None: not entered.
    """

    medium_temperature: float | None = None
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
            temperature=quantity(conditions.medium_temperature, "temperature"),
            outer_diameter=quantity(float(np.mean(grown.outer_diameter)), "length"),
            change=factor - 1,
            flow_change=factor**2 - 1,
            direction=term("larger" if factor >= 1 else "smaller"),
        )
    ]


def warm_wedge(
    transducers: Transducers,
    per_kelvin: float | None,
    reference_temperature: float | None,
    temperature: float | None,
) -> tuple[Transducers, list[Finding]]:
    """Return a transducer pair with its wedge at the temperature of the pipe.

    Parameters
    ----------
    transducers : Transducers  wedge_sound_speed at the reference temperature
    per_kelvin : float or None [m/s/K]  change of the wedge's sound speed with temperature; None: not known, nothing changes
    reference_temperature : float or None [K]  of the entered wedge_sound_speed
    temperature : float or None [K]  of the medium, assumed for the wedge

    Returns
    -------
    transducers : Transducers
    findings : list of Finding  the assumed temperature

    Raises
    ------
    NotEnough   a change with temperature without the temperature it starts from
    OutOfRange  the sound speed of the wedge is not plausible

    Source
    ------
    linear change : common practice; the coefficient is the transducer pair's own.
    """
    if per_kelvin is None or temperature is None:
        return transducers, []
    if reference_temperature is None:
        raise NotEnough(field="transducers.wedge_reference_temperature", variant="wedge-temperature")
    speed = transducers.wedge_sound_speed + per_kelvin * (temperature - reference_temperature)
    if not np.all(np.asarray(speed) > MIN_WEDGE_SOUND_SPEED):
        raise OutOfRange(
            field="transducers.wedge_temperature_coefficient",
            variant="wedge-sound-speed",
            temperature=quantity(temperature, "temperature"),
            sound_speed=quantity(float(np.min(speed)), "speed"),
            above=quantity(MIN_WEDGE_SOUND_SPEED, "speed"),
        )
    return replace(transducers, wedge_sound_speed=speed), [
        finding(
            "wedge-temperature-assumed",
            "info",
            "transducers.wedge_sound_speed",
            temperature=quantity(temperature, "temperature"),
            sound_speed=quantity(float(np.mean(speed)), "speed"),
            entered=quantity(float(np.mean(transducers.wedge_sound_speed)), "speed"),
        )
    ]


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
