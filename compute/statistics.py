"""Mean of an autocorrelated log: how many independent readings it is worth, and how well its mean is known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from compute.errors import NotEnough, NumberInvalid

FloatArray = NDArray[np.float64]

# Sokal 1996, Monte Carlo Methods in Statistical Mechanics, lecture 3 (also Madras and Sokal 1988), from memory: integrated
# autocorrelation time, window of 5 times itself, relative variance 2 (2 window + 1) / n.
WINDOW_FACTOR = 5.0
FEWEST_READINGS = 8


@dataclass(frozen=True, slots=True)
class Repeatability:
    """What a log of equally spaced readings says of its own mean; every spread is in the readings' unit.

    autocorrelation_time   [readings] that count as one independent reading, 1 or more
    effective_sample_size  readings over autocorrelation time
    noise_uncertainty      standard uncertainty of the mean from the scatter about the trend
    drift                  change of the straight trend from the first reading to the last
    drift_uncertainty      |drift| / sqrt(12): the mean stands for a value that moved evenly over that width
    standard_uncertainty   of the mean, both together; `degrees_of_freedom` go with it
    """

    count: int
    mean: float
    standard_deviation: float
    autocorrelation_time: float
    effective_sample_size: float
    noise_uncertainty: float
    drift: float
    drift_uncertainty: float
    standard_uncertainty: float
    degrees_of_freedom: float


def repeatability(readings: FloatArray) -> Repeatability:
    """Mean of a log with its standard uncertainty, allowing for autocorrelation and for a slow drift.

    The trend is taken out before the scatter is looked at; else a drift would pass for endless correlation.
    A drift that is lost in the noise of its own slope (less than twice its standard error) counts as none.

    Parameters
    ----------
    readings : (n,) [any unit]  equally spaced in time, finite, 8 or more

    Returns
    -------
    result : Repeatability [as readings]

    Source
    ------
    Sokal 1996 (autocorrelation time), JCGM 100:2008 (GUM) 4.2 (mean), 4.3.7 (drift as a rectangular width).
    """
    values = _checked(readings)
    count = len(values)
    mean = float(values.mean())
    place = np.linspace(-0.5, 0.5, count)
    trend = float(place @ (values - mean)) / float(place @ place)
    residuals = values - mean - trend * place
    time, window = _time_and_window(residuals)
    effective = count / time
    scatter = float(residuals @ residuals) / max(count - 2 * time, 1.0)
    noise = math.sqrt(scatter * time / count)
    slope_noise = math.sqrt(scatter * time / float(place @ place))
    drift_doubt = abs(trend) / math.sqrt(12) if abs(trend) > 2 * slope_noise else 0.0
    freedom = max(min(effective - 2, count / (2 * window + 1)), 1.0)
    return Repeatability(
        count=count,
        mean=mean,
        standard_deviation=float(values.std(ddof=1)),
        autocorrelation_time=time,
        effective_sample_size=effective,
        noise_uncertainty=noise,
        drift=trend,
        drift_uncertainty=drift_doubt,
        standard_uncertainty=math.hypot(noise, drift_doubt),
        degrees_of_freedom=_joint_freedom(noise, drift_doubt, freedom),
    )


def autocorrelation_time(readings: FloatArray) -> float:
    """Integrated autocorrelation time: the number of successive readings worth one independent reading.

    Parameters
    ----------
    readings : (n,) [any unit]  equally spaced in time, finite, 8 or more

    Returns
    -------
    time : float [readings]  1 or more: readings that scatter against one another gain no credit

    Source
    ------
    Sokal 1996: 1 + 2 * sum of the autocorrelation up to the first lag that is 5 times the sum so far.
    """
    values = _checked(readings)
    return _time_and_window(values - values.mean())[0]


def effective_sample_size(readings: FloatArray) -> float:
    """Number of independent readings whose mean would be known as well as that of the log.

    Parameters
    ----------
    readings : (n,) [any unit]  equally spaced in time, finite, 8 or more

    Returns
    -------
    size : float [1]  1 to n

    Source
    ------
    Sokal 1996.
    """
    return len(readings) / autocorrelation_time(readings)


def autocorrelation(readings: FloatArray) -> FloatArray:
    """Autocorrelation of a series at every lag, by two Fourier transforms in n log n steps.

    Parameters
    ----------
    readings : (n,) [any unit]  equally spaced in time, finite, 8 or more

    Returns
    -------
    correlation : (n,) [1]  1 at lag 0; 0 beyond it for a series without scatter

    Source
    ------
    Wiener-Khinchin theorem; padded to twice the length so that the series does not meet its own start.
    """
    values = _checked(readings)
    return _autocorrelation(values - values.mean())


def _autocorrelation(centred: FloatArray) -> FloatArray:
    count = len(centred)
    size = float(np.abs(centred).max())
    correlation = np.zeros(count)
    correlation[0] = 1.0
    if size == 0:
        return correlation
    padded = 1 << (2 * count - 1).bit_length()
    spectrum = np.fft.rfft(centred / size, padded)
    products = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, padded)[:count]
    result: FloatArray = products / products[0]
    return result


def _time_and_window(centred: FloatArray) -> tuple[float, int]:
    sums = 2.0 * np.cumsum(_autocorrelation(centred)) - 1.0
    wide_enough = np.flatnonzero(np.arange(len(sums)) >= WINDOW_FACTOR * sums)
    window = int(wide_enough[0]) if len(wide_enough) else len(sums) - 1
    return float(np.clip(sums[window], 1.0, len(sums))), max(window, 1)


def _joint_freedom(noise: float, drift_doubt: float, noise_freedom: float) -> float:
    """Welch-Satterthwaite of the noise and a drift allowance taken as known."""
    if noise == 0:
        return math.inf
    return float(noise_freedom * (1 + (drift_doubt / noise) ** 2) ** 2)


def _checked(readings: FloatArray) -> FloatArray:
    values = np.asarray(readings, dtype=float)
    if values.ndim != 1 or len(values) < FEWEST_READINGS:
        detail = (
            f"{values.size} readings; a scatter that may be correlated needs {FEWEST_READINGS} in one row"
        )
        raise NotEnough(detail, field="readings")
    if not np.isfinite(values).all():
        raise NumberInvalid("a reading is not finite; take out rows that failed first", field="readings")
    return values
