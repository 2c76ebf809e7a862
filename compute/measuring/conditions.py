"""What temperature and shape do to a set-up: expanded dimensions, a warm wedge, an oval pipe."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from compute.base.errors import NotEnough, OutOfRange
from compute.base.figures import bare, said
from compute.base.findings import Finding
from compute.base.sources import PRACTICE, Source
from compute.measuring.beam import Pipe, Transducers

GEOMETRY = Source("geometry of an ellipse", "derived")
# An oval pipe whose diameters differ by more than this is worth a remark: 0.5 % of area in doubt; default value.
OVAL_SHARE = 0.005


@dataclass(frozen=True, slots=True)
class Conditions:
    """What is known beside the dimensions themselves.

    medium_temperature and dimensions_temperature [K]: what the pipe runs at and what it was measured at; largest and
    smallest outer diameter [m] of an oval pipe. None: not stated.
    """

    medium_temperature: float | None = None
    dimensions_temperature: float | None = None
    largest_diameter: float | None = None
    smallest_diameter: float | None = None


def expanded_pipe(pipe: Pipe, expansion: float | None, conditions: Conditions) -> tuple[Pipe, list[Finding]]:
    """A pipe at its operating temperature, from dimensions taken at another.

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
    NotEnough  the temperature of the dimensions is stated, but not the medium's, or the material's expansion is not known

    Source
    ------
    linear expansion : length x (1 + expansion x difference); each material carries its coefficient.
    """
    if conditions.dimensions_temperature is None:
        return pipe, []
    if conditions.medium_temperature is None or expansion is None:
        raise NotEnough(
            "To bring the dimensions to the pipe's temperature, the medium's temperature and the expansion of the material are "
            "needed; leave pipe.dimensions_temperature out to take the dimensions as they are.",
            field="pipe.dimensions_temperature",
        )
    factor = 1 + expansion * (conditions.medium_temperature - conditions.dimensions_temperature)
    grown = replace(
        pipe,
        outer_diameter=pipe.outer_diameter * factor,
        wall=replace(pipe.wall, thickness=pipe.wall.thickness * factor),
        linings=tuple(replace(layer, thickness=layer.thickness * factor) for layer in pipe.linings),
    )
    detail = (
        f"The dimensions were taken at {said(conditions.dimensions_temperature, 'degC', '.0f')}; at the medium's "
        f"{said(conditions.medium_temperature, 'degC', '.0f')} the pipe is {factor - 1:+.2%} larger, and the flow {factor**2 - 1:+.2%}."
    )
    before, after = float(np.mean(pipe.outer_diameter)), float(np.mean(grown.outer_diameter))
    return grown, [
        Finding("dimensions-expanded", "info", detail, "pipe.outer_diameter", before, after, "length")
    ]


def warm_wedge(
    transducers: Transducers,
    per_kelvin: float | None,
    reference_temperature: float | None,
    temperature: float | None,
) -> tuple[Transducers, list[Finding]]:
    """A transducer pair with its wedge at the pipe's temperature.

    Parameters
    ----------
    transducers : Transducers  wedge_sound_speed at the reference temperature
    per_kelvin : float or None [m/s/K]  change of the wedge's sound speed with temperature; None: not known, nothing is done
    reference_temperature : float or None [K]  of the stated wedge_sound_speed
    temperature : float or None [K]  of the medium, taken for that of the wedge

    Returns
    -------
    transducers : Transducers
    findings : list of Finding  what was taken for what

    Raises
    ------
    NotEnough   a change with temperature without the temperature it starts from
    OutOfRange  a wedge in which nothing would travel

    Source
    ------
    linear change : common practice; the coefficient is the transducer pair's own.
    """
    if per_kelvin is None or temperature is None:
        return transducers, []
    if reference_temperature is None:
        raise NotEnough(
            "A wedge's change of sound speed with temperature needs the temperature its sound speed was stated at.",
            field="transducers.wedge_reference_temperature",
        )
    speed = transducers.wedge_sound_speed + per_kelvin * (temperature - reference_temperature)
    warm = said(temperature, "degC", ".0f")
    if not np.all(np.asarray(speed) > 100):
        raise OutOfRange(
            f"At {warm} the wedge's sound speed would be {said(float(np.min(speed)), 'm/s', '.0f')}; check its change with "
            "temperature.",
            field="transducers.wedge_temperature_coefficient",
        )
    stated, now = float(np.mean(transducers.wedge_sound_speed)), float(np.mean(speed))
    detail = (
        f"The wedge is taken to be as warm as the medium, {warm}, with a sound speed of {said(now, 'm/s', '.0f')} instead of "
        f"{bare(stated, 'm/s', '.0f')}. Let it warm through before you log."
    )
    finding = Finding(
        "wedge-temperature-assumed",
        "info",
        detail,
        "transducers.wedge_sound_speed",
        now,
        stated,
        "speed",
        PRACTICE,
    )
    return replace(transducers, wedge_sound_speed=speed), [finding]


def oval_findings(conditions: Conditions) -> list[Finding]:
    """What an oval pipe does to the figure.

    The circumference, and so the mean diameter, is what a tape gives. With diameters D(1 + e) and D(1 - e) the area is
    D^2 (1 - e^2), all but that of the round pipe; but the beam crosses along one diameter, and which is rarely known, so
    that its length, and with it the flow, is in doubt by +-e.

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
    geometry : area of an ellipse, pi/4 x largest x smallest diameter.
    """
    largest, smallest = conditions.largest_diameter, conditions.smallest_diameter
    if largest is None or smallest is None:
        return []
    if not 0 < smallest <= largest:
        raise OutOfRange(
            f"The largest outer diameter ({said(largest, 'mm', '.1f')}) is below the smallest ({said(smallest, 'mm', '.1f')}).",
            field="pipe.max_outer_diameter",
        )
    share = oval_share(conditions)
    if share <= OVAL_SHARE:
        return []
    detail = (
        f"The pipe is oval: {bare(largest, 'mm', '.1f')} by {said(smallest, 'mm', '.1f')} outside. The area changes by only {share**2:.2%}, but "
        f"the beam's path, and the flow with it, is in doubt by {share:.1%}. Measure on two diameters at right angles and take the mean."
    )
    return [
        Finding(
            "pipe-out-of-round",
            "warning",
            detail,
            "pipe.outer_diameter",
            largest,
            smallest,
            "length",
            GEOMETRY,
        )
    ]


def oval_share(conditions: Conditions) -> float:
    """Half the difference of the largest and smallest diameter over their mean.

    Parameters
    ----------
    conditions : Conditions

    Returns
    -------
    share : float [-]  0 if not stated

    Source
    ------
    geometry : e of diameters D(1 + e) and D(1 - e).
    """
    largest, smallest = conditions.largest_diameter, conditions.smallest_diameter
    if largest is None or smallest is None:
        return 0.0
    return (largest - smallest) / (largest + smallest)
