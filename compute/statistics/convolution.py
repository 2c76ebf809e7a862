"""Coverage factor of a sum of inputs of known shapes, by the characteristic function of the sum."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache

import numpy as np

from compute.base.errors import OutOfRange
from compute.base.sources import Source
from compute.statistics.gum import HALF_WIDTH_DIVISOR, Distribution, FloatArray, coverage_factor

CONVOLUTION = Source(
    "JCGM 100:2008 (GUM) G.1.4 and G.1.5: coverage factor from the convolution of the distributions",
    "unverified",
)
# Frequencies of the characteristic function, in standard deviations of the sum, and the coverage factors between which the
# right one is sought: the least of a bounded distribution is that of the arcsine, 1.41.
HIGHEST_FREQUENCY, FREQUENCIES = 40.0, 300
FACTORS = np.linspace(1.2, 3.2, 41)
# Standard deviation of a normal part that is added to smooth a sum without one; a default value.
SMOOTHING = 0.05


def coverage_factor_of_sum(
    parts: Sequence[float],
    distributions: Sequence[Distribution],
    degrees_of_freedom: float = math.inf,
    probability: float = 0.95,
) -> float:
    """Return the factor k for which +-k standard uncertainties of a sum of independent inputs hold a probability.

    The probability within +-k of a symmetric distribution is 2/pi times the integral of sin(k t)/t x characteristic function. With
    finite degrees of freedom k grows as Student's t grows against the normal distribution.

    Parameters
    ----------
    parts : sequence of float [any unit]  standard uncertainty of each input times its sensitivity
    distributions : sequence of str  shape of each input
    degrees_of_freedom : float [-]  effective, of the sum
    probability : float [-]  0.9 to 0.99

    Returns
    -------
    factor : float [-]

    Raises
    ------
    OutOfRange  another probability

    Source
    ------
    inversion : Gil-Pelaez 1951, Biometrika 38:481 (from memory); convolution: GUM G.1.4.
    """
    if not 0.9 <= probability <= 0.99:
        raise OutOfRange(field="coverage_probability", value=probability, at_least=0.9, at_most=0.99)
    total = math.sqrt(math.fsum(part * part for part in parts))
    if total == 0:
        return coverage_factor(probability, degrees_of_freedom)
    normal = coverage_factor(probability, math.inf)
    longer_tails = coverage_factor(probability, degrees_of_freedom) / normal
    bounded = [
        (abs(part) / total, shape)
        for part, shape in zip(parts, distributions, strict=True)
        if shape != "normal" and abs(part) > 0.01 * total
    ]
    if not bounded:
        return normal * longer_tails
    frequencies, integrand = _grid()
    left = max(1.0 - math.fsum(part * part for part, _ in bounded), SMOOTHING**2)
    function = np.exp(-left * frequencies**2 / 2)
    for part, shape in bounded:
        function = function * _characteristic(shape, part * frequencies)
    within = integrand @ function
    return float(np.interp(probability, np.maximum.accumulate(within), FACTORS)) * longer_tails


def _characteristic(shape: Distribution, frequencies: FloatArray) -> FloatArray:
    """Return the characteristic function of a bounded distribution of standard deviation 1."""
    x = HALF_WIDTH_DIVISOR[shape] * frequencies
    if shape == "rectangular":
        return np.asarray(np.sinc(x / math.pi))
    if shape == "triangular":
        return np.asarray(np.sinc(x / 2 / math.pi) ** 2)
    from scipy.special import j0

    return np.asarray(j0(x))


@cache
def _grid() -> tuple[FloatArray, FloatArray]:
    """Return the frequencies, and the weights of the integral for each coverage factor (trapezoids between midpoints)."""
    step = HIGHEST_FREQUENCY / FREQUENCIES
    frequencies: FloatArray = (np.arange(FREQUENCIES, dtype=np.float64) + 0.5) * step
    return frequencies, 2 / math.pi * step * np.sin(np.outer(FACTORS, frequencies)) / frequencies
