"""Dead crude oil by its API gravity: Batzle and Wang 1992."""

from __future__ import annotations

from typing import Any

import numpy as np

from compute.base.sources import Source
from compute.library.fitted_properties import Real, State

BATZLE_WANG = Source(
    "Batzle and Wang 1992, Geophysics 57:1396, oil without dissolved gas: sound speed eq. 20, density eqs. 18-19, viscosity "
    "after Beggs and Robinson 1975, J. Pet. Technol. 27:1140",
    "unverified",
)


def specific_density(api_gravity: float) -> float:
    """Density at 60 degF over that of water, in the formulas g/cm3.

    Parameters
    ----------
    api_gravity : float [-]

    Returns
    -------
    density : float [-]

    Source
    ------
    definition : API gravity = 141.5/density - 131.5.
    """
    return 141.5 / (api_gravity + 131.5)


def crude_oil(temperature: Real, pressure: float, api_gravity: float) -> State:
    """Sound speed, density and viscosity of crude oil without gas.

    c = 2096 sqrt(r/(2.6 - r)) - 3.7 t + 4.64 P + 0.0115 (4.12 sqrt(1.08/r - 1) - 1) t P, r the specific density, t in
    degC, P in MPa.

    Parameters
    ----------
    temperature : float or (n,) [K]
    pressure : float [Pa]
    api_gravity : float [-]

    Returns
    -------
    state : State  sound speed [m/s], density [kg/m3], dynamic viscosity [Pa s]

    Source
    ------
    correlation : Batzle and Wang 1992, from memory.
    """
    r, t, p = specific_density(api_gravity), temperature - 273.15, pressure / 1e6
    speed = (
        2096 * np.sqrt(r / (2.6 - r))
        - 3.7 * t
        + 4.64 * p
        + 0.0115 * (4.12 * np.sqrt(1.08 / r - 1) - 1) * t * p
    )
    pressed = r + (0.00277 * p - 1.71e-7 * p**3) * (r - 1.15) ** 2 + 3.49e-4 * p
    density = 1000 * pressed / (0.972 + 3.81e-4 * (t + 17.78) ** 1.175)
    return _plain(speed), _plain(density), _plain(1e-3 * _viscosity(r, t, p))


def _viscosity(r: float, t: Any, p: float) -> Any:
    """Dynamic viscosity [mPa s]: log10(v + 1) = 0.505 y (17.8 + t)^-1.163, log10 y = 5.693 - 2.863/r, then pressure."""
    y = 10 ** (5.693 - 2.863 / r)
    unpressed = 10 ** (0.505 * y * (17.8 + t) ** -1.163) - 1
    logarithm = np.log10(unpressed)
    slope = 10 ** (18.6 * (0.1 * logarithm + (logarithm + 2) ** -0.1 - 0.985))
    return unpressed + 0.145 * p * slope


def _plain(value: Any) -> Real:
    return float(value) if np.ndim(value) == 0 else value
