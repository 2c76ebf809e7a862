"""From the velocity along the beam to the mean over the bore: friction, Reynolds number, profile factor."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from compute.errors import OutOfRange

FloatArray = NDArray[np.float64]
Real = float | FloatArray

LAMINAR_BELOW = 2300.0
TURBULENT_FROM = 4000.0
LAMINAR_FACTOR = 0.75
# Log law with von Karman constant 0.4: the mean along a diameter exceeds that over the area by (1/2)/0.4
# friction velocities; friction velocity / mean velocity = sqrt(f/8).
DIAMETER_EXCESS = 0.5 / 0.4
# Newton on Colebrook-White doubles the digits each time; from the explicit start below four leave only rounding.
NEWTON_STEPS = 4
FIXED_POINT_STEPS = 60
FIXED_POINT_TOLERANCE = 1e-13


def reynolds_number(velocity: Real, bore: float, density: Real, dynamic_viscosity: Real) -> Real:
    """Reynolds number of the mean velocity and the bore.

    Parameters
    ----------
    velocity : float or (n,) [m/s]  mean over the bore; its sign does not matter
    bore : float [m]
    density : float or (n,) [kg/m3]
    dynamic_viscosity : float or (n,) [Pa s]  above 0

    Returns
    -------
    reynolds : float or (n,) [-]

    Raises
    ------
    OutOfRange  a viscosity or density not above 0

    Source
    ------
    definition : density x velocity x bore / dynamic viscosity.
    """
    if not (np.all(np.asarray(dynamic_viscosity) > 0) and np.all(np.asarray(density) > 0)):
        raise OutOfRange(
            f"Density and viscosity are above 0; these are {density} kg/m3 and {dynamic_viscosity} Pa s.",
            field="medium",
        )
    reynolds: Real = np.abs(velocity) * (bore * density / dynamic_viscosity)
    return reynolds


def darcy_friction_factor(reynolds: Real, relative_roughness: float) -> Real:
    """Darcy friction factor of turbulent flow by Colebrook-White.

    Solves 1/sqrt(f) = -2 log10(e/3.7 + 2.51/(Re sqrt(f))) by Newton's method on 1/sqrt(f).

    Parameters
    ----------
    reynolds : float or (n,) [-]  above 0; the equation holds from about 4000
    relative_roughness : float [-]  roughness / bore

    Returns
    -------
    friction_factor : as reynolds [-]

    Raises
    ------
    OutOfRange  a Reynolds number not above 0, a roughness below 0

    Source
    ------
    colebrook : Colebrook 1939, J. Inst. Civ. Eng. 11:133 (from memory); checked against a second solver.
    """
    if not np.all(np.asarray(reynolds) > 0) or relative_roughness < 0:
        raise OutOfRange("Colebrook-White needs a Reynolds number above 0 and a roughness not below 0.")
    rough = relative_roughness / 3.7
    smooth = 2.51 / reynolds
    # Start: the equation with its own right side taken once at f = 0.02.
    x: Real = -2 * np.log10(rough + smooth / np.sqrt(0.02))
    for _ in range(NEWTON_STEPS):
        inside = rough + smooth * x
        residual = x + 2 * np.log10(inside)
        x = x - residual / (1 + 2 / np.log(10) * smooth / inside)
    factor: Real = 1 / (x * x)
    return factor


def profile_factor(reynolds: Real, relative_roughness: float) -> Real:
    """Mean velocity over the bore divided by the mean along the beam, a diameter.

    Laminar up to 2300: 3/4. Turbulent from 4000: 1/(1 + 1.25 sqrt(f/8)). Between: a straight line in log Re.

    Parameters
    ----------
    reynolds : float or (n,) [-]
    relative_roughness : float [-]  roughness / bore

    Returns
    -------
    factor : as reynolds [-]

    Source
    ------
    laminar : Hagen-Poiseuille parabola, exact.
    turbulent : logarithmic law with von Karman constant 0.4, integrated along a diameter and over the area.
    between : interpolation, common practice, no source.
    """
    turbulent = _turbulent_factor(np.maximum(reynolds, TURBULENT_FROM), relative_roughness)
    if np.all(np.asarray(reynolds) >= TURBULENT_FROM):
        return turbulent
    between: Real = np.log(np.clip(reynolds, LAMINAR_BELOW, TURBULENT_FROM) / LAMINAR_BELOW)
    weight = between / np.log(TURBULENT_FROM / LAMINAR_BELOW)
    factor: Real = LAMINAR_FACTOR + weight * (turbulent - LAMINAR_FACTOR)
    return factor


def _turbulent_factor(reynolds: Real, relative_roughness: float) -> Real:
    return 1 / (1 + DIAMETER_EXCESS * np.sqrt(darcy_friction_factor(reynolds, relative_roughness) / 8))


def mean_from_path_velocity(
    path_velocity: Real, reynolds_per_velocity: Real, relative_roughness: float
) -> tuple[Real, Real]:
    """Mean velocity and profile factor that belong to a velocity along the beam.

    The factor depends on the Reynolds number of the mean velocity, which it gives: iterated to a fixed point.
    Where the factor falls with Reynolds number nowhere, the fixed point is the only one.

    Parameters
    ----------
    path_velocity : float or (n,) [m/s]  with its sign
    reynolds_per_velocity : float or (n,) [s/m]  bore x density / dynamic viscosity
    relative_roughness : float [-]  roughness / bore

    Returns
    -------
    mean_velocity : as path_velocity [m/s]
    factor : as path_velocity [-]

    Source
    ------
    fixed point : v = k(Re(v)) x path velocity.
    """
    speed = np.abs(path_velocity)
    return _settle(
        path_velocity, lambda k: profile_factor(k * speed * reynolds_per_velocity, relative_roughness)
    )


def _settle(path_velocity: Real, factor_of: Callable[[Real], Real]) -> tuple[Real, Real]:
    factor: Real = factor_of(np.full_like(np.asarray(path_velocity, dtype=float), 0.94)[()])
    for _ in range(FIXED_POINT_STEPS):
        new = factor_of(factor)
        moved = np.max(np.abs(new - factor), initial=0.0)
        factor = new
        if moved < FIXED_POINT_TOLERANCE:
            break
    return factor * path_velocity, factor


def power_law_profile_factor(reynolds: Real) -> Real:
    """Profile factor of the power-law profile u ~ (1 - r/R)^(1/n), to compare with.

    Along a diameter the mean is n/(n+1), over the area 2 n^2/((n+1)(2n+1)); their quotient is 2n/(2n+1).
    n = 1.66 log10(Re).

    Parameters
    ----------
    reynolds : float or (n,) [-]  above 4000

    Returns
    -------
    factor : as reynolds [-]

    Source
    ------
    exponent : n = 1.66 log10(Re), in use in flow measurement since Nikuradse's data; from memory.
    """
    n = 1.66 * np.log10(reynolds)
    return 2 * n / (2 * n + 1)


def logarithmic_fit_profile_factor(reynolds: Real) -> Real:
    """Profile factor of the older logarithmic fit for smooth pipes, to compare with.

    k = 1/(1.119 - 0.011 log10(Re)).

    Parameters
    ----------
    reynolds : float or (n,) [-]  about 4000 to 10^7

    Returns
    -------
    factor : as reynolds [-]

    Source
    ------
    fit : as widely repeated in the literature of transit-time meters; from memory.
    """
    return 1 / (1.119 - 0.011 * np.log10(reynolds))
