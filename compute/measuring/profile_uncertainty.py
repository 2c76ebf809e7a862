"""Uncertainty of the profile factor: probability of turbulent flow, scatter of the evidence, width of the beam."""

from __future__ import annotations

import math

import numpy as np

from compute.measuring.beam import Setup
from compute.measuring.profile import (
    LAMINAR_BELOW,
    LAMINAR_FACTOR,
    TURBULENT_FROM,
    FloatArray,
    darcy_friction_factor,
    profile_factor,
    profile_factor_with_share,
)

# The Reynolds number at which a flow turns turbulent is lognormal about the middle of 2300 and 4000, and beyond either with a
# probability of 5 %.
LOG_MIDDLE = math.log(LAMINAR_BELOW * TURBULENT_FROM) / 2
LOG_SPREAD = math.log(TURBULENT_FROM / LAMINAR_BELOW) / 2 / 1.645
# Standard uncertainty of the excess a of `profile_factor` where its evidence agrees, and what is added to it for each factor of
# 10 below Re 1e4, where profiles from simulation and fitted powers differ, and above 1e6, where 1.44 to 1.58 are supported; and
# at fully rough friction.
EXCESS_UNCERTAINTY = 0.06
EXCESS_BELOW, EXCESS_BELOW_PER_DECADE = 1e4, 0.10
EXCESS_ABOVE, EXCESS_ABOVE_PER_DECADE = 1e6, 0.01
EXCESS_ROUGH = 0.05
# Colebrook-White: standard, of the friction factor. Smooth pipes 2 % (the two cases simulated: 1.9 and 0.5 %); rough ones more, as
# the roughness of a commercial pipe is more than one length.
FRICTION_SMOOTH, FRICTION_ROUGH = 0.02, 0.05
# Laminar flow is rarely free of natural convection; default value.
LAMINAR_UNCERTAINTY = 0.005
# Effective width of the beam where a flat wedge meets a round pipe: 4 wavelengths in the medium, from 0 to twice that; default value.
BEAM_WAVELENGTHS = 4.0


def turbulence_probability(reynolds: float, relative_uncertainty: float = 0.0) -> float:
    """Return the probability that a flow is turbulent.

    Unlike `compute.measuring.profile.turbulent_share` it has tails below 2300 and above 4000.

    Parameters
    ----------
    reynolds : float [-]
    relative_uncertainty : float [-]  standard, of the Reynolds number, taken as lognormal

    Returns
    -------
    probability : float [-]

    Source
    ------
    default : the Reynolds number of the transition is lognormal, 5 % below 2300 and 5 % above 4000. Flow in undisturbed pipes stays
        laminar to far higher numbers and disturbed flow is intermittent from about 2040 (Avila et al. 2011; from memory).
    """
    if not reynolds > 0:
        return 0.0
    spread = math.sqrt(LOG_SPREAD**2 + math.log1p(relative_uncertainty**2))
    return 0.5 * math.erfc(-(math.log(reynolds) - LOG_MIDDLE) / spread / math.sqrt(2))


def beam_width_effect(factor: float, relative_beam_width: float) -> float:
    """Return by how much a beam of some width reads lower than a diameter, relative.

    For a profile 1 - d (r/R)^2 that has the profile factor: the velocity along a chord at the distance h R from the axis is
    that along the diameter less (2/3) d h^2, and h^2 is (width/bore)^2/3 on average.

    Parameters
    ----------
    factor : float [-]  profile factor
    relative_beam_width : float [-]  width / bore

    Returns
    -------
    effect : float [-]  not below 0

    Source
    ------
    geometry : 1/k = (1 - d/3)/(1 - d/2), so d = (1/k - 1)/(1/(2 k) - 1/3); laminar d = 1, exact.
    """
    bulge = (1 / factor - 1) / (0.5 / factor - 1 / 3)
    return (2 * bulge / 3) / (1 - bulge / 3) * relative_beam_width**2 / 3


def relative_beam_width(setup: Setup) -> float:
    """Return the effective width of the beam over the bore, at most 1.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    width : float [-]

    Source
    ------
    default : 4 wavelengths in the medium; the width is not entered and a flat wedge touches a round pipe along a line.
    """
    wavelength = float(np.mean(setup.medium.sound_speed)) / setup.transducers.frequency
    return min(BEAM_WAVELENGTHS * wavelength / float(np.mean(setup.pipe.bore)), 1.0)


def profile_factor_uncertainty(
    reynolds: float,
    relative_roughness: float,
    relative_beam_width: float = 0.0,
    reynolds_relative_uncertainty: float = 0.0,
) -> float:
    """Return the relative standard uncertainty of a profile factor.

    The root of the sum of three squares. The regime: the mean square of the two factors' distances from the factor used,
    weighted by their probabilities. The model of the more likely regimes. The width of the beam: from 0 to twice its effect.
    Continuous in the Reynolds number.

    Parameters
    ----------
    reynolds : float [-]
    relative_roughness : float [-]  roughness / bore
    relative_beam_width : float [-]  width / bore
    reynolds_relative_uncertainty : float [-]  standard, of the Reynolds number

    Returns
    -------
    uncertainty : float [-]  relative, standard

    Source
    ------
    regime : a mixture of two values; `turbulence_probability`.
    model : see `profile_factor` for the evidence; constants of this module.
    width : rectangular distribution from 0 to twice the effect, about 0.
    """
    used = float(profile_factor(reynolds, relative_roughness))
    turbulent = float(profile_factor_with_share(reynolds, relative_roughness, 1.0))
    probability = turbulence_probability(reynolds, reynolds_relative_uncertainty)
    square = (
        probability
        * ((turbulent - used) ** 2 + (turbulent * _turbulent_model(reynolds, relative_roughness)) ** 2)
        + (1 - probability) * ((LAMINAR_FACTOR - used) ** 2 + (LAMINAR_FACTOR * LAMINAR_UNCERTAINTY) ** 2)
    ) / used**2
    width = 2 / math.sqrt(3) * beam_width_effect(used, relative_beam_width)
    return math.sqrt(square + width**2)


def draw_profile_factors(
    reynolds: FloatArray,
    relative_roughness: float,
    regime: FloatArray,
    model: FloatArray,
    relative_beam_width: float = 0.0,
) -> FloatArray:
    """Return profile factors drawn from their distribution, one for each Reynolds number.

    A Reynolds number drawn with its own uncertainty has its own probability of turbulence, so that none is passed here.

    Parameters
    ----------
    reynolds : (n,) [-]
    relative_roughness : float [-]  roughness / bore
    regime : (n,) [-]  uniform from 0 to 1; below the probability of turbulence the flow is turbulent
    model : (n,) [-]  standard normal, error of the regime's model
    relative_beam_width : float [-]  width / bore

    Returns
    -------
    factors : (n,) [-]

    Source
    ------
    distribution : that of `profile_factor_uncertainty`.
    """
    from scipy.special import ndtr

    with np.errstate(divide="ignore"):
        place = (np.log(np.abs(reynolds)) - LOG_MIDDLE) / LOG_SPREAD
    turbulent = regime < ndtr(place)
    factors = np.asarray(profile_factor_with_share(reynolds, relative_roughness, turbulent.astype(float)))
    middle = float(np.median(reynolds))
    width = (
        2
        / math.sqrt(3)
        * beam_width_effect(float(profile_factor(middle, relative_roughness)), relative_beam_width)
    )
    relative = np.where(turbulent, _turbulent_model(middle, relative_roughness), LAMINAR_UNCERTAINTY)
    drawn: FloatArray = factors * (1 + np.hypot(relative, width) * model)
    return drawn


def _turbulent_model(reynolds: float, relative_roughness: float) -> float:
    """Return the relative standard uncertainty of the turbulent factor; below 4000 that at 4000."""
    reynolds = max(reynolds, TURBULENT_FROM)
    friction = float(darcy_friction_factor(reynolds, relative_roughness))
    rough = relative_roughness / 3.7
    share_rough = rough / (rough + 2.51 / (reynolds * math.sqrt(friction)))
    excess = (
        EXCESS_UNCERTAINTY
        + EXCESS_BELOW_PER_DECADE * max(math.log10(EXCESS_BELOW / reynolds), 0.0)
        + EXCESS_ABOVE_PER_DECADE * max(math.log10(reynolds / EXCESS_ABOVE), 0.0)
        + EXCESS_ROUGH * share_rough
    )
    factor = float(profile_factor(reynolds, relative_roughness))
    of_friction = (1 - factor) / 2 * (FRICTION_SMOOTH + (FRICTION_ROUGH - FRICTION_SMOOTH) * share_rough)
    return math.hypot(factor * excess * math.sqrt(friction / 8), of_friction)
