"""Statistics of a log whose readings follow one another."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def effective_sample_size(values: FloatArray) -> float:
    """How many independent readings a series of correlated ones is worth.

    n / (1 + 2 sum of the autocorrelations), summed in pairs of neighbouring lags while the pairs stay positive and do not
    grow: the initial monotone sequence.

    Parameters
    ----------
    values : (n,)  readings at equal steps

    Returns
    -------
    size : float [-]  from 1 up to n

    Source
    ------
    Geyer 1992, Practical Markov Chain Monte Carlo, Stat. Sci. 7:473 (initial monotone sequence); from memory.
    """
    count = len(values)
    if count < 4:
        return float(max(count, 1))
    centred = values - values.mean()
    variance = float(centred @ centred) / count
    if variance <= 0:
        return float(count)
    autocorrelation = _autocovariance(centred) / variance
    pairs = autocorrelation[: count // 2 * 2].reshape(-1, 2).sum(axis=1)
    positive = pairs > 0
    length = len(pairs) if positive.all() else int(np.argmin(positive))
    total = 2 * float(np.minimum.accumulate(pairs[:length]).sum()) - 1
    return float(np.clip(count / max(total, 1.0), 1.0, count))


def standard_uncertainty_of_mean(values: FloatArray) -> tuple[float, float]:
    """Standard uncertainty of the mean of correlated readings, and its degrees of freedom.

    Parameters
    ----------
    values : (n,)  at least 2 readings at equal steps

    Returns
    -------
    uncertainty : float [unit of the readings]
    degrees_of_freedom : float [-]  effective sample size less one, at least 1

    Source
    ------
    JCGM 100:2008 (GUM) 4.2.3 with the effective sample size in place of n; from memory.
    """
    size = effective_sample_size(values)
    return float(values.std(ddof=1)) / float(np.sqrt(size)), max(size - 1, 1.0)


def _autocovariance(centred: FloatArray) -> FloatArray:
    count = len(centred)
    width = 1 << (2 * count - 1).bit_length()
    spectrum = np.fft.rfft(centred, width)
    return np.asarray(np.fft.irfft(np.abs(spectrum) ** 2, width)[:count] / count)
