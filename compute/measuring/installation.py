"""Effect of the straight length on the flow: disturbed profiles and developing laminar flow, as corrections with uncertainties."""

from __future__ import annotations

import math
from dataclasses import dataclass

from compute.base.errors import OutOfRange
from compute.base.messages import field_name
from compute.base.sources import Source
from compute.measuring.profile import LAMINAR_FACTOR, turbulent_share
from compute.measuring.profile_uncertainty import turbulence_probability

SYNOWIEC = Source(
    "Synowiec 2021: reads low after a bend, up to 10.8 % with less than 8 diameters, at most 2 % from 8 diameters; here for every "
    "disturbance the half-width of a rectangular distribution, 10.8 % at no straight length, 2 % at the recommended one, "
    "exponential between and beyond (default value)",
    "published",
)
DISTURBED_AT_ONCE, DISTURBED_AT_LENGTH = 0.108, 0.02
# Of the disturbances only one bend has an error with a published sign: it reads low.
READS_LOW = "single-bend"
# Flow across the pipe cancels in pairs of traverses. What an odd one leaves is taken as half of the effect of the axial profile,
# divided by the number of traverses; default value.
TRANSVERSE_SHARE = 0.5
# Developing laminar flow behind a uniform inlet: 1 - g = exp(-(a sqrt(x) + b x + c x^1.5)) for x = length/(diameter x Re), where the mean
# along a diameter is 1 + g/3 of the mean velocity. Fitted to our own solution of the boundary-layer equations, within 0.1 %.
DEVELOPMENT = (10.04, 4.455, 141.8)


@dataclass(frozen=True, slots=True)
class Installation:
    """Effect of the place on the flow.

    factor [-]  corrects the flow; the product of both corrections
    standard_uncertainty [-]  relative
    bend, development [-]  corrections of the flow for one bend and for developing laminar flow, relative; 0: none
    """

    factor: float
    standard_uncertainty: float
    bend: float
    development: float


def disturbed_half_width(straight_share: float | None) -> float:
    """Return how far the flow may be wrong behind a disturbance, relative.

    10.8 % without straight length, 2 % at the recommended length, exponential in the straight length.

    Parameters
    ----------
    straight_share : float or None [-]  upstream straight length over the recommended one; None: not known, as without straight length

    Returns
    -------
    half_width : float [-]

    Raises
    ------
    OutOfRange  a share below 0

    Source
    ------
    installation : Synowiec 2021 (DN 50, one bend) for the ends; the exponential curve through them is a default.
    """
    if straight_share is None:
        return DISTURBED_AT_ONCE
    if straight_share < 0:
        raise OutOfRange(quantity=field_name("straight_share"), value=straight_share, at_least=0)
    return DISTURBED_AT_ONCE * math.exp(straight_share * math.log(DISTURBED_AT_LENGTH / DISTURBED_AT_ONCE))


def installation_uncertainty(straight_share: float | None, traverses: int, disturbance: str = "") -> float:
    """Return the relative standard uncertainty from the straight length, after the correction of one bend.

    Parameters
    ----------
    straight_share : float or None [-]  upstream straight length over the recommended one; None: not known, the widest
    traverses : int
    disturbance : str  its name; after one bend the flow is corrected by half of the error and the other half stays uncertain

    Returns
    -------
    uncertainty : float [-]  relative, standard

    Raises
    ------
    OutOfRange  a share below 0

    Source
    ------
    installation : see `disturbed_half_width`.
    traverses : flow across the pipe changes the time of two traverses with opposite signs (geometry); its size is a default.
    """
    half_width = disturbed_half_width(straight_share)
    axial = half_width / 2 if disturbance == READS_LOW and straight_share is not None else half_width
    across = TRANSVERSE_SHARE * half_width / traverses if traverses % 2 else 0.0
    return math.hypot(axial, across) / math.sqrt(3)


def laminar_development(length_over_diameter: float, reynolds: float) -> float:
    """Return how much of the parabola laminar flow has developed behind a uniform inlet.

    Parameters
    ----------
    length_over_diameter : float [-]  straight length / bore
    reynolds : float [-]

    Returns
    -------
    developed : float [-]  0 plug, 1 parabola: the mean along a diameter is 1 + developed/3 of the mean velocity

    Source
    ------
    development : boundary-layer equations with a uniform inlet, solved by us; centreline and length of Hornbeck 1964 as in Shah and
        London 1978, Laminar Flow Forced Convection in Ducts (from memory).
    """
    if reynolds <= 0:
        return 1.0
    place = length_over_diameter / reynolds
    root = math.sqrt(place)
    exponent = root * (DEVELOPMENT[0] + root * (DEVELOPMENT[1] + root * DEVELOPMENT[2]))
    return -math.expm1(-exponent)


def installation_effect(
    *,
    disturbance: str,
    straight_share: float | None,
    length_over_diameter: float | None,
    recommended_over_diameter: float,
    traverses: int,
    reynolds: float,
) -> Installation:
    """Return the effect of a place on the flow.

    Laminar flow behind a disturbance is between a plug and a parabola: the flow is corrected to the middle between fully developed
    flow and flow from a uniform inlet, and the half of their difference is the half-width of a rectangular distribution. Without a
    known length nothing is corrected, and the flow is uncertain as at half of the recommended length.

    Parameters
    ----------
    disturbance : str
    straight_share : float or None [-]  upstream straight length over the recommended one
    length_over_diameter : float or None [-]  upstream straight length / bore
    recommended_over_diameter : float [-]  recommended straight length / bore
    traverses : int
    reynolds : float [-]

    Returns
    -------
    installation : Installation

    Raises
    ------
    OutOfRange  a share below 0

    Source
    ------
    bend : Synowiec 2021; see `disturbed_half_width`.
    development : see `laminar_development`.
    """
    known = straight_share is not None and disturbance == READS_LOW
    bend = disturbed_half_width(straight_share) / 2 if known else 0.0
    length = recommended_over_diameter / 2 if length_over_diameter is None else length_over_diameter
    mean_along_diameter = 1 + laminar_development(length, reynolds) / 3
    whole = 1 / (LAMINAR_FACTOR * mean_along_diameter) - 1
    corrected = 0.0 if length_over_diameter is None else whole / 2
    development = (1 - float(turbulent_share(reynolds))) * corrected
    remaining = (1 - turbulence_probability(reynolds)) * (whole - corrected) / math.sqrt(3)
    disturbed = installation_uncertainty(straight_share, traverses, disturbance)
    return Installation((1 + bend) * (1 + development), math.hypot(disturbed, remaining), bend, development)
