"""Velocity profile: friction, Reynolds number, profile factor, and mean velocity from the velocity along the beam."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import OutOfRange
from compute.base.memoization import memoized
from compute.base.messages import quantity, term

FloatArray = NDArray[np.float64]
Real = float | FloatArray

LAMINAR_BELOW = 2300.0
TURBULENT_FROM = 4000.0
LOG_BETWEEN = float(np.log(TURBULENT_FROM / LAMINAR_BELOW))
LAMINAR_FACTOR = 0.75
# The mean along a diameter exceeds that over the area by 1.74 - 0.022/sqrt(f) friction velocities; friction velocity / mean
# velocity = sqrt(f/8). With x = 1/sqrt(f): 1/k = PLUG + EXCESS/x. See `profile_factor` for the evidence.
DIAMETER_EXCESS = 1.74
DIAMETER_EXCESS_FALL = 0.022
EXCESS = DIAMETER_EXCESS / 8**0.5
PLUG = 1 - DIAMETER_EXCESS_FALL / 8**0.5
# Newton's method on Colebrook-White doubles the digits each time; from the explicit start three steps reach rounding.
NEWTON_STEPS = 3
PER_E_FOLD = float(2 / np.log(10))
# For many readings a polynomial through this number of solutions over their range gives the factor; the size of its last
# terms shows its accuracy. A wider range is solved reading by reading.
NODES = 32
POLYNOMIAL_FITS = 2e-16
# Readings processed at a time, which fit the processor's cache.
PIECE = 8192
MIN_VALUES_FOR_POLYNOMIAL = 2048
# Between the regimes, from the upper end: six steps reach rounding.
NEWTON_STEPS_BETWEEN = 6


def reynolds_number(velocity: Real, bore: Real, density: Real, dynamic_viscosity: Real) -> Real:
    """Return the Reynolds number of the mean velocity and the bore.

    Parameters
    ----------
    velocity : float or (n,) [m/s]  mean over the bore; its sign does not matter
    bore : float or (n,) [m]
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
    for name, value in (("density", density), ("dynamic_viscosity", dynamic_viscosity)):
        possible = np.isfinite(value) & (np.asarray(value) > 0)
        if not np.all(possible):
            wrong = float(np.asarray(value)[~possible].flat[0])
            raise OutOfRange(field=f"medium.{name}", value=quantity(wrong, name), above=quantity(0.0, name))
    reynolds: Real = np.abs(velocity) * (bore * density / dynamic_viscosity)
    return reynolds


def darcy_friction_factor(reynolds: Real, relative_roughness: Real) -> Real:
    """Return the Darcy friction factor of turbulent flow by Colebrook-White.

    Solves 1/sqrt(f) = -2 log10(e/3.7 + 2.51/(Re sqrt(f))) by Newton's method on 1/sqrt(f).

    Parameters
    ----------
    reynolds : float or (n,) [-]  from 2300, below which flow is laminar; the equation holds from about 4000
    relative_roughness : float or (n,) [-]  roughness / bore

    Returns
    -------
    friction_factor : as reynolds [-]

    Raises
    ------
    OutOfRange  a Reynolds number below 2300, a roughness below 0

    Source
    ------
    colebrook : Colebrook 1939, J. Inst. Civ. Eng. 11:133 (from memory); checked against a second solver.
    """
    for name, value, limit in (
        ("relative-roughness", relative_roughness, 0.0),
        ("reynolds-number", reynolds, LAMINAR_BELOW),
    ):
        if not np.all(np.asarray(value) >= limit):
            raise OutOfRange(quantity=term(name), value=float(np.min(value)), at_least=limit)
    x = _colebrook_root(relative_roughness / 3.7, 2.51 / reynolds, 0.0)
    factor: Real = 1 / (x * x)
    return factor


def _colebrook_root(rough: Real, smooth: Real, shift: float) -> Real:
    """Return the x that solves x = -2 log10(rough + smooth (x + shift))."""
    # Start: the right side at f = 0.02.
    x: Real = -PER_E_FOLD * np.log(rough + smooth * (0.02**-0.5 + shift))
    for _ in range(NEWTON_STEPS):
        inside = rough + smooth * (x + shift)
        x = x - (x + PER_E_FOLD * np.log(inside)) / (1 + PER_E_FOLD * smooth / inside)
    return x


def profile_factor(reynolds: Real, relative_roughness: Real) -> Real:
    """Return the mean velocity over the bore divided by the mean along the beam, a diameter.

    Laminar up to 2300: 3/4. Turbulent from 4000: 1/(1 + a sqrt(f/8)) with a = 1.74 - 0.022/sqrt(f), f by Colebrook-White.
    Between: the two weighted by `turbulent_share`. `compute.measuring.profile_uncertainty` has the uncertainty.

    Parameters
    ----------
    reynolds : float or (n,) [-]
    relative_roughness : float or (n,) [-]  roughness / bore

    Returns
    -------
    factor : as reynolds [-]

    Raises
    ------
    OutOfRange  a roughness below 0, a Reynolds number that is not a number

    Source
    ------
    laminar : Hagen-Poiseuille parabola, exact.
    turbulent : a is a line in 1/sqrt(f) through the evidence. Profiles integrated from direct numerical simulation (Yao et al.,
        arXiv:2207.06289): 1.584 at Re 19,000 and 1.589 at 82,963. From memory: 1.63 at 5,300, from the centreline defect of
        Eggels et al. 1994, 4.58 friction velocities, times the ratio 0.355; 1.48 from 1e6, from the centreline defect of McKeon
        et al. 2005, 4.28, times the ratio 0.346; 1.44 to 1.52 from 1e5 on, from the exponents of Nikuradse 1932.
        Rough pipes: the same a, as the outer layer depends on the friction velocity alone (Townsend 1976; from memory).
    between : weighting, common practice.
    """
    turbulent = _turbulent_factor(np.maximum(reynolds, TURBULENT_FROM), relative_roughness)
    if np.all(np.asarray(reynolds) >= TURBULENT_FROM):
        return turbulent
    return LAMINAR_FACTOR + turbulent_share(reynolds) * (turbulent - LAMINAR_FACTOR)


def profile_factor_with_share(reynolds: Real, relative_roughness: Real, share: Real) -> Real:
    """Return the profile factor with the share of turbulent flow given, instead of that of the Reynolds number.

    Parameters
    ----------
    reynolds : float or (n,) [-]
    relative_roughness : float or (n,) [-]  roughness / bore
    share : float or (n,) [-]  0 laminar, 1 turbulent

    Returns
    -------
    factor : as reynolds [-]

    Raises
    ------
    OutOfRange  a roughness below 0, a Reynolds number that is not a number

    Source
    ------
    factor : see `profile_factor`.
    """
    turbulent = _turbulent_factor(np.maximum(reynolds, TURBULENT_FROM), relative_roughness)
    return LAMINAR_FACTOR + share * (turbulent - LAMINAR_FACTOR)


def turbulent_share(reynolds: Real) -> Real:
    """Return the weight of turbulent flow in the profile factor: 0 up to 2300, 1 from 4000, straight in log Re between.

    Parameters
    ----------
    reynolds : float or (n,) [-]

    Returns
    -------
    share : as reynolds [-]

    Source
    ------
    between : interpolation, common practice.
    """
    share: Real = np.log(np.clip(reynolds, LAMINAR_BELOW, TURBULENT_FROM) / LAMINAR_BELOW) / LOG_BETWEEN
    return share


def _turbulent_factor(reynolds: Real, relative_roughness: Real) -> Real:
    return 1 / (PLUG + EXCESS * np.sqrt(darcy_friction_factor(reynolds, relative_roughness)))


def mean_from_path_velocity(
    path_velocity: Real, reynolds_per_velocity: Real, relative_roughness: Real
) -> tuple[Real, Real]:
    """Return the mean velocity and profile factor of a velocity along the beam.

    The factor k depends on the Reynolds number of the mean velocity, which it determines. That fixed point is solved directly,
    not by iteration, so that a reading's value does not depend on its neighbours. With P the Reynolds number of the
    path velocity, Re = k P:
    turbulent, 1/k = b + a/x with x = 1/sqrt(f), a = 1.74/sqrt(8) and b = 1 - 0.022/sqrt(8), so that Colebrook-White reads
    x = -2 log10(e/3.7 + 2.51 (b x + a)/P); between, Re = P (3/4 + s log(Re/2300)); laminar, 3/4.
    Re/k rises with Re in all three, so the fixed point is the only one.

    Parameters
    ----------
    path_velocity : float or (n,) [m/s]  with its sign
    reynolds_per_velocity : float or (n,) [s/m]  bore x density / dynamic viscosity
    relative_roughness : float or (n,) [-]  roughness / bore

    Returns
    -------
    mean_velocity : as path_velocity [m/s]
    factor : as path_velocity [-]

    Source
    ------
    fixed point : v = k(Re(v)) x path velocity, `profile_factor` for k.
    """
    path_reynolds = np.abs(path_velocity) * reynolds_per_velocity
    edge = _turbulent_factor(TURBULENT_FROM, relative_roughness)
    turbulent_from = TURBULENT_FROM / edge
    smooth = 2.51 * PLUG / np.maximum(path_reynolds, turbulent_from)
    x = _colebrook_root(relative_roughness / 3.7, smooth, EXCESS / PLUG)
    factor: Real = x / (PLUG * x + EXCESS)
    slow = np.asarray(path_reynolds < turbulent_from)
    if slow.any():
        factor = np.where(slow, _factor_below_turbulence(path_reynolds, edge), factor)[()]
    return factor * path_velocity, factor


def means_from_path_velocities(
    path_velocity: FloatArray, reynolds_per_velocity: float, relative_roughness: float
) -> FloatArray:
    """`mean_from_path_velocity` for the many readings of a log, all with one Reynolds number per velocity and one roughness.

    The factor is a smooth function of the velocity. Where readings lie close together, as those of a log do, it is solved for
    at the nodes of a Chebyshev polynomial over their range and the polynomial is evaluated for the rest, within rounding
    (4e-16) of solving for each. Readings outside the range, or near laminar flow, are solved for one by one.

    Parameters
    ----------
    path_velocity : (n,) [m/s]  with their signs
    reynolds_per_velocity : float [s/m]  bore x density / dynamic viscosity
    relative_roughness : float [-]  roughness / bore

    Returns
    -------
    mean_velocity : (n,) [m/s]

    Source
    ------
    fixed point : see `mean_from_path_velocity`.
    polynomial : Chebyshev interpolation; its error falls as the last coefficients do (Trefethen 2013, from memory).
    """
    found = _polynomial(path_velocity, reynolds_per_velocity, relative_roughness)
    if found is None:
        return np.asarray(
            mean_from_path_velocity(path_velocity, reynolds_per_velocity, relative_roughness)[0]
        )
    low, high, coefficients = found
    mean = np.empty_like(path_velocity)
    place, factor = np.empty(PIECE), np.empty(PIECE)
    for start in range(0, len(mean), PIECE):
        velocity, into = path_velocity[start : start + PIECE], mean[start : start + PIECE]
        x, k = place[: len(velocity)], factor[: len(velocity)]
        np.abs(velocity, out=x)
        outside = x.min() < low or x.max() > high
        x -= (low + high) / 2
        x *= 2 / (high - low)
        np.multiply(x, coefficients[-1], out=k)
        for coefficient in coefficients[-2:0:-1]:
            k += coefficient
            k *= x
        k += coefficients[0]
        np.multiply(velocity, k, out=into)
        if outside:
            far = np.abs(x) > 1
            into[far] = mean_from_path_velocity(velocity[far], reynolds_per_velocity, relative_roughness)[0]
    return mean


def _polynomial(
    path_velocity: FloatArray, reynolds_per_velocity: float, relative_roughness: float
) -> tuple[float, float, tuple[float, ...]] | None:
    """Return a range of velocities and the factor's polynomial over it, powers of a position from -1 to 1; None where none fits well."""
    if len(path_velocity) < MIN_VALUES_FOR_POLYNOMIAL:
        return None
    sample = np.sort(np.abs(path_velocity[:: len(path_velocity) // 1024]))
    # The range of a sample without outliers, extended by half on either side.
    least, most = float(sample[len(sample) // 50]), float(sample[-1 - len(sample) // 50])
    half = (most - least) / 2 + 1e-6 * most
    edge = TURBULENT_FROM / float(_turbulent_factor(TURBULENT_FROM, relative_roughness))
    if not edge / reynolds_per_velocity < least:
        return None
    # Ends on round numbers, so that most blocks of a log share one range.
    step = 2.0 ** math.floor(math.log2(half))
    low = max(math.floor((least - half) / step) * step, edge / reynolds_per_velocity)
    high = math.ceil((most + half) / step) * step
    coefficients = _coefficients(low, high, reynolds_per_velocity, relative_roughness)
    return None if coefficients is None else (low, high, coefficients)


@memoized
def _coefficients(
    low: float, high: float, reynolds_per_velocity: float, relative_roughness: float
) -> tuple[float, ...] | None:
    """Return powers of a position from -1 to 1 in the factor between two velocities; None where this number is insufficient."""
    order = np.arange(NODES)
    angles = np.pi * (order + 0.5) / NODES
    velocities = (low + high) / 2 + np.cos(angles) * (high - low) / 2
    factors = np.asarray(mean_from_path_velocity(velocities, reynolds_per_velocity, relative_roughness)[1])
    # The common value is subtracted first, as its rounding exceeds the small coefficients.
    chebyshev = np.cos(np.outer(order, angles)) @ (factors - factors[0]) * (2 / NODES)
    chebyshev[0] = chebyshev[0] / 2 + factors[0]
    needed = int(np.flatnonzero(np.abs(chebyshev) > POLYNOMIAL_FITS)[-1]) + 1
    if needed > NODES - 2:
        return None
    return tuple(np.polynomial.chebyshev.cheb2poly(chebyshev[: max(needed, 2)]).tolist())


def _factor_below_turbulence(path_reynolds: Real, edge: Real) -> Real:
    """Return the profile factor where Re < 4000, from the Reynolds number of the path velocity; `edge` is the factor at 4000."""
    slope = (edge - LAMINAR_FACTOR) / LOG_BETWEEN
    ratio = np.clip(path_reynolds / LAMINAR_BELOW, 1 / LAMINAR_FACTOR, TURBULENT_FROM / LAMINAR_BELOW / edge)
    # y = log(Re/2300) solves exp(y) = ratio (3/4 + slope y): convex, so Newton from the upper end never oversteps.
    y: Real = np.full_like(np.asarray(ratio), LOG_BETWEEN)
    for _ in range(NEWTON_STEPS_BETWEEN):
        power = np.exp(y)
        y = y - (power - ratio * (LAMINAR_FACTOR + slope * y)) / (power - ratio * slope)
    factor: Real = np.where(ratio > 1 / LAMINAR_FACTOR, LAMINAR_FACTOR + slope * y, LAMINAR_FACTOR)
    return factor
