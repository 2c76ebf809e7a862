"""Input uncertainties of a set-up from its library values: solids, wedge, mounting."""

from __future__ import annotations

import math

from compute.base.sources import Source
from compute.library.materials import COEFFICIENT_UNCERTAINTY, REFERENCE_TEMPERATURE, Solid
from compute.measuring.beam import Layer, Setup, WaveMode, trace
from compute.measuring.conditions import (
    WEDGE_COEFFICIENT as WEDGE_COEFFICIENT_SOURCE,
)
from compute.measuring.conditions import (
    WEDGE_GRADIENT,
    default_wedge_coefficient,
    wedge_gradient_uncertainty,
)
from compute.measuring.entries import ResolvedPipe, TransducerEntry
from compute.results.uncertainty import (
    WEDGE_COEFFICIENT,
    WEDGE_TEMPERATURE,
    InputUncertainty,
    WedgeState,
    speed_of,
)

MATERIAL_RANGE = Source(
    "common practice: rectangular between the lowest and highest sound speed of the material's sources, widened by 40 % of the change "
    "with temperature",
    "default",
)
ENTERED_SPEED = Source(
    "common practice: relative standard uncertainty 1 % of an entered sound speed", "default"
)
UNRECORDED_SPACING = Source(
    "common practice: a spacing that is not recorded is within 1 mm of the calculated one, rectangular",
    "default",
)
ENTERED_SPEED_UNCERTAINTY = 0.01
# Of a spacing that is not recorded [m].
UNRECORDED_SPACING_UNCERTAINTY = InputUncertainty(
    0.001 / math.sqrt(3), distribution="rectangular", source=UNRECORDED_SPACING
)


def solid_uncertainties(
    pipe: ResolvedPipe, setup: Setup, temperature: float | None
) -> dict[str, InputUncertainty]:
    """Return the uncertainties of the sound speeds of the wall and of the outermost lining.

    Parameters
    ----------
    pipe : ResolvedPipe
    setup : Setup  with that pipe
    temperature : float or None [K]  of the pipe

    Returns
    -------
    uncertainties : dict of InputUncertainty  by path

    Source
    ------
    library : the range of each material, see `sound_speed_uncertainty`.
    """
    modes = trace(setup).wave_modes
    found = {
        "pipe.wall_sound_speed": sound_speed_uncertainty(
            pipe.wall_solid, setup.pipe.wall, modes[0], temperature
        )
    }
    if setup.pipe.linings:
        found["pipe.lining.sound_speed"] = sound_speed_uncertainty(
            pipe.outermost_lining_solid, setup.pipe.linings[0], modes[1], temperature
        )
    return found


def sound_speed_uncertainty(
    solid: Solid | None, layer: Layer, mode: WaveMode, temperature: float | None
) -> InputUncertainty:
    """Return the uncertainty of the sound speed of a layer's wave.

    The root of the mean square distance from the value used, over a rectangular distribution between the lowest and the highest
    value of the sources. The range moves with temperature as the value does; its change has an uncertainty of its own.

    Parameters
    ----------
    solid : Solid or None  None: entered sound speeds
    layer : Layer  as calculated with
    mode : WaveMode
    temperature : float or None [K]

    Returns
    -------
    uncertainty : InputUncertainty  [m/s], or relative for entered sound speeds

    Source
    ------
    JCGM 100:2008 (GUM) 4.3.7 and 4.3.8, about the value used.
    """
    limits = solid and (solid.shear_range if mode == "shear" else solid.longitudinal_range)
    if solid is None or not limits:
        return InputUncertainty(ENTERED_SPEED_UNCERTAINTY, relative=True, source=ENTERED_SPEED)
    nominal = solid.shear_sound_speed if mode == "shear" else solid.longitudinal_sound_speed
    slope = solid.shear_per_kelvin if mode == "shear" else solid.longitudinal_per_kelvin
    used = float(speed_of(layer, mode))
    moved = used - (nominal or used)
    low, high = limits[0] + moved, limits[1] + moved
    warmer = 0.0 if temperature is None else temperature - REFERENCE_TEMPERATURE
    # The uncertain change with temperature widens the range to both sides.
    wider = math.sqrt(3) * COEFFICIENT_UNCERTAINTY * abs((slope or 0.0) * warmer)
    low, high = low - wider, high + wider
    if high <= low:
        return InputUncertainty(ENTERED_SPEED_UNCERTAINTY, relative=True, source=ENTERED_SPEED)
    square = ((high - used) ** 3 + (used - low) ** 3) / (3 * (high - low))
    return InputUncertainty(
        math.sqrt(square), distribution="rectangular", source=MATERIAL_RANGE, limits=(low, high)
    )


def wedge_state(pair: TransducerEntry, temperature: float | None) -> WedgeState | None:
    """Return the state of a wedge at the temperature of the pipe.

    Parameters
    ----------
    pair : TransducerEntry
    temperature : float or None [K]  of the medium

    Returns
    -------
    wedge : WedgeState or None  None without a temperature

    Source
    ------
    wedge : see `compute.measuring.conditions.warm_wedge`.
    """
    if temperature is None:
        return None
    per_kelvin, reference = pair.wedge_speed_per_kelvin, pair.wedge_reference_temperature
    if per_kelvin is None:
        per_kelvin = default_wedge_coefficient(pair.transducers.wedge_sound_speed).per_kelvin
    return WedgeState(per_kelvin, REFERENCE_TEMPERATURE if reference is None else reference, temperature)


def wedge_uncertainties(pair: TransducerEntry, temperature: float | None) -> dict[str, InputUncertainty]:
    """Return the uncertainties of a wedge's temperature, and of its temperature coefficient if that is a default.

    Parameters
    ----------
    pair : TransducerEntry
    temperature : float or None [K]  of the medium

    Returns
    -------
    uncertainties : dict of InputUncertainty  by path

    Source
    ------
    default : see `compute.measuring.conditions`.
    """
    if temperature is None:
        return {}
    found = {}
    if gradient := wedge_gradient_uncertainty(temperature):
        found[WEDGE_TEMPERATURE] = InputUncertainty(gradient, source=WEDGE_GRADIENT)
    if pair.wedge_speed_per_kelvin is None:
        coefficient = default_wedge_coefficient(pair.transducers.wedge_sound_speed)
        found[WEDGE_COEFFICIENT] = InputUncertainty(
            coefficient.standard_uncertainty, source=WEDGE_COEFFICIENT_SOURCE
        )
    return found
