"""Uncertainty of the mean of few readings whose correlation is not known.

Few readings do not show how they correlate, and the spread of correlated readings is smaller than the scatter that their mean has. So
no single correlation is estimated: each model of the noise in a list counts by its prior weight and by how well it explains the
readings. Given a model, the mean has Student's distribution exactly; the mixture of these is what the readings say of their mean.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, NumberInvalid
from compute.statistics.autocorrelation import MIN_READINGS_AUTOCORRELATION, noise_of_segments

FloatArray = NDArray[np.float64]

# Readings or means of neighbours in the models; a longer log is condensed to between half as many and as many.
MAX_CELLS = 64
# From this number of independent readings on the window of Sokal 1996 is reliable: 95 % intervals hold 94 to 96 %.
MIN_EFFECTIVE_SOKAL = 50.0
# Models of the noise: white; first-order autoregressions of these correlations; flicker (1/f) noise over PINK_LENGTH readings;
# white noise and a slow autoregression in equal parts; white noise on a drift.
CORRELATIONS = (0.3, 0.6, 0.8, 0.9, 0.95, 0.98)
PINK_LENGTH = 4096
SLOW = 0.95
DRIFT_VARIANCE = 400.0
# Prior weights of the models by the number of readings, in the order above, found by simulation (tests/coverage/short_samples.py):
# for white noise the median interval is at most 3 times Student's, for the others it contains the mean as often as that allows.
WEIGHTS: dict[int, tuple[float, ...]] = {
    2: (0.645, 0.05, 0.02, 0.01, 0.01, 0.03, 0.195, 0.01, 0.01, 0.02),
    3: (0.80, 0.02, 0.01, 0.01, 0.01, 0.02, 0.11, 0.01, 0.01, 1e-4),
    4: (0.81, 0.02, 0.01, 0.01, 0.01, 0.02, 0.10, 0.01, 0.01, 1e-4),
    5: (0.80, 0.02, 0.01, 0.01, 0.01, 0.02, 0.11, 0.01, 0.01, 1e-4),
    6: (0.80, 0.02, 0.01, 0.01, 0.01, 0.02, 0.11, 0.01, 0.01, 1e-4),
    8: (0.68, 0.05, 0.02, 0.01, 0.01, 0.02, 0.15, 0.01, 0.01, 0.02),
    10: (0.39, 0.20, 0.06, 0.04, 0.03, 0.04, 0.15, 0.02, 0.05, 0.02),
    12: (0.34, 0.17, 0.08, 0.06, 0.03, 0.05, 0.17, 0.02, 0.05, 0.03),
    15: (0.26, 0.12, 0.08, 0.06, 0.08, 0.11, 0.18, 0.02, 0.06, 0.03),
    20: (0.22, 0.10, 0.09, 0.09, 0.09, 0.06, 0.16, 0.09, 0.07, 0.03),
    30: (0.22, 0.06, 0.08, 0.09, 0.13, 0.05, 0.07, 0.22, 0.06, 0.03),
    60: (0.22, 0.07, 0.10, 0.10, 0.16, 0.04, 0.05, 0.18, 0.06, 0.03),
}
PROBABILITY, ONE_DEVIATION = 0.95, 0.6826894921370859
# Degrees of freedom above this number are as good as a normal distribution.
MAX_FREEDOM = 1000.0
# Readings that count as one independent reading: more than this number are called correlated; a default value.
CORRELATED_TIME = 3.0


@dataclass(frozen=True, slots=True)
class MeanUncertainty:
    """Uncertainty of the mean of a log, in the unit of the readings.

    standard_uncertainty   with `degrees_of_freedom`: Student's t times it is the half-width that holds the mean with 95 %
    correlation_time       [readings] that count as one independent reading, 1 or more
    effective_sample_size  readings over correlation time
    correlated             [1] probability that the readings correlate over several readings
    """

    standard_uncertainty: float
    degrees_of_freedom: float
    correlation_time: float
    effective_sample_size: float
    correlated: float


def mean_uncertainty(segments: Sequence[FloatArray]) -> MeanUncertainty:
    """Return the uncertainty of the mean over all readings of one or several segments, from 2 readings up to millions.

    With 50 independent readings or more, the window of Sokal 1996 (`noise_of_segments`). With fewer, the mixture of models. Each
    segment has a level of its own.

    Parameters
    ----------
    segments : sequence of (n,) [any unit]  each equally spaced in time and finite; one has 2 readings or more

    Returns
    -------
    uncertainty : MeanUncertainty

    Raises
    ------
    NotEnough      no segment has 2 readings
    NumberInvalid  a reading that is not finite

    Source
    ------
    mixture : Bayesian model averaging with the usual improper priors of level and scale (Box and Tiao 1973, Bayesian Inference in
        Statistical Analysis, sections 2.4 and 8; from memory). Weights: own simulation, see WEIGHTS.
    """
    values = [np.asarray(segment, dtype=float) for segment in segments if len(segment)]
    if not any(len(one) > 1 for one in values):
        raise NotEnough(field="readings", variant="readings-few", count=len(values), at_least=2)
    if not all(np.isfinite(one).all() for one in values):
        raise NumberInvalid(field="readings", variant="reading-not-finite")
    count = sum(len(one) for one in values)
    if count >= MIN_EFFECTIVE_SOKAL and max(len(one) for one in values) >= MIN_READINGS_AUTOCORRELATION:
        noise = noise_of_segments(values)
        if noise.effective_sample_size - 2 * len(values) >= MIN_EFFECTIVE_SOKAL:
            return MeanUncertainty(
                noise.uncertainty,
                noise.degrees_of_freedom,
                noise.autocorrelation_time,
                noise.effective_sample_size,
                float(noise.autocorrelation_time > CORRELATED_TIME),
            )
    return _mixture(values, count)


@dataclass(frozen=True, slots=True)
class _Models:
    """What a number of readings is to each of the models (k,).

    projection : (k, n, n)  x' P x is the sum of squares about the best level, in units of the variance of a reading
    density    : logarithm of the normalisation of the likelihood, level integrated out
    best       : (k, n)  weights of the readings in the best estimate of the level
    variance   : of that estimate, for a variance of 1 of a reading
    mean       : variance of the arithmetic mean, likewise
    """

    projection: FloatArray
    density: FloatArray
    best: FloatArray
    variance: FloatArray
    mean: FloatArray


@lru_cache(maxsize=2 * MAX_CELLS)
def _models(count: int) -> _Models:
    lags = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    white, place = np.eye(count), np.linspace(-0.5, 0.5, count) if count > 1 else np.zeros(1)
    tones = np.arange(1, PINK_LENGTH // 2 + 1)
    pink = np.cos(np.outer(np.arange(count), tones) * (2 * math.pi / PINK_LENGTH)) @ (1 / tones)
    matrices = np.array(
        [
            white,
            *(correlation**lags for correlation in CORRELATIONS),
            (pink / pink[0])[lags],
            0.5 * white + 0.5 * SLOW**lags,
            white + DRIFT_VARIANCE * np.outer(place, place),
        ]
    )
    inverse = np.linalg.inv(matrices)
    rows = inverse.sum(axis=2)
    information = rows.sum(axis=1)
    return _Models(
        projection=inverse - rows[:, :, None] * rows[:, None, :] / information[:, None, None],
        density=-0.5 * np.linalg.slogdet(matrices)[1] - 0.5 * np.log(information),
        best=rows / information[:, None],
        variance=1 / information,
        mean=matrices.mean(axis=(1, 2)),
    )


def _mixture(values: Sequence[FloatArray], count: int) -> MeanUncertainty:
    """Return the uncertainty from the mixture of models over readings, or over means of as many neighbours each."""
    size = -(-count // MAX_CELLS)
    cells = [_condensed(one, size) for one in values]
    width = max(float(np.ptp(cell)) for cell in cells)
    freedom = sum(len(cell) for cell in cells) - len(cells)
    if width == 0 or freedom == 0:
        return MeanUncertainty(0.0, float(max(freedom, 1)), 1.0, float(count), 0.0)
    squares, density, offset, variance, mean = (np.zeros(len(CORRELATIONS) + 4) for _ in range(5))
    for one, cell in zip(values, cells, strict=True):
        models, share, left = _models(len(cell)), len(one) / count, (cell - cell.mean()) / width
        squares += models.projection @ left @ left
        density += models.density
        offset += share * (models.best @ left)
        variance += share**2 * models.variance
        mean += share**2 * models.mean
    squares = np.maximum(squares, np.finfo(float).tiny)
    density += np.log(_weights(freedom + 1)) - freedom / 2 * np.log(squares)
    probability = np.exp(density - density.max())
    probability /= probability.sum()
    mixture = _Mixture(probability, offset, np.sqrt(variance * squares / freedom), freedom)
    wide, near = mixture.half_width(PROBABILITY), mixture.half_width(ONE_DEVIATION)
    freedoms, ratios, factors = _student_ratios()
    matched = float(np.interp(near / wide, ratios, freedoms))
    times = np.maximum(count * mean, 1.0)
    time = min(float(np.exp(probability @ np.log(times))), float(count))
    return MeanUncertainty(
        standard_uncertainty=wide * width / float(np.interp(matched, freedoms, factors)),
        degrees_of_freedom=matched,
        correlation_time=time,
        effective_sample_size=count / time,
        correlated=float(probability @ (times > CORRELATED_TIME)),
    )


@dataclass(frozen=True, slots=True)
class _Mixture:
    """Student's distributions of the mean about the arithmetic mean, each with its probability: offsets and widths, (k,)."""

    probability: FloatArray
    offset: FloatArray
    width: FloatArray
    freedom: int

    def half_width(self, content: float) -> float:
        """Half-width of the interval about the arithmetic mean that has this probability."""
        from scipy.optimize import brentq
        from scipy.special import stdtr, stdtrit

        def excess(half: float) -> float:
            above = stdtr(self.freedom, (half - self.offset) / self.width)
            below = stdtr(self.freedom, (-half - self.offset) / self.width)
            return float(self.probability @ (above - below)) - content

        factor = stdtrit(self.freedom, 0.5 + content / 2)
        widest = float(np.max(np.abs(self.offset) + factor * self.width))
        return float(brentq(excess, 0.0, widest * (1 + 1e-9), rtol=1e-6))


def _condensed(values: FloatArray, size: int) -> FloatArray:
    """Return the means of neighbours, as many each; readings left over at the end are in none."""
    if size == 1:
        return values
    whole = len(values) // size * size
    if not whole:
        return np.array([values.mean()])
    means: FloatArray = values[:whole].reshape(-1, size).mean(axis=1)
    return means


def _weights(count: int) -> FloatArray:
    """Return the prior weights of the models for a number of cells, between those of the table in proportion to its logarithm."""
    numbers = np.log(list(WEIGHTS))
    columns = np.array(list(WEIGHTS.values())).T
    weights: FloatArray = np.array([np.interp(math.log(count), numbers, column) for column in columns])
    weights /= weights.sum()
    return weights


@lru_cache(maxsize=1)
def _student_ratios() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return degrees of freedom, the ratio of the half-widths for 68 % and 95 % (rising), and the factor for 95 %."""
    from scipy.special import stdtrit

    freedoms = np.geomspace(1.0, MAX_FREEDOM, 200)
    wide: FloatArray = np.asarray(stdtrit(freedoms, 0.5 + PROBABILITY / 2), dtype=float)
    near: FloatArray = np.asarray(stdtrit(freedoms, 0.5 + ONE_DEVIATION / 2), dtype=float)
    return freedoms, near / wide, wide
