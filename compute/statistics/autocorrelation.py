"""Mean of an autocorrelated log: its effective sample size and standard uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, NumberInvalid
from compute.base.prefetch import alternating_threads

FloatArray = NDArray[np.float64]

# Sokal 1996, Monte Carlo Methods in Statistical Mechanics, lecture 3 (also Madras and Sokal 1988), from memory: integrated
# autocorrelation time, window of 5 times itself, relative variance 2 (2 window + 1) / n.
WINDOW_FACTOR = 5.0
MIN_READINGS_AUTOCORRELATION = 8
# A window nearly as long as its segment is unreliable: the correction is limited to five times; a default value.
MIN_VARIANCE_LEFT = 0.2
# Products of a series with itself are summed in pieces that fit the processor's cache.
PIECE = 8192
# Few lags are summed directly, which is faster; more lags, eight times as many at each try, by Fourier transforms.
FEW_LAGS = 16
MORE_LAGS = 8
# A transform of this multiple of the lags loses little to the overlap of its pieces.
TRANSFORM_PER_LAG = 16
TRANSFORM_ROWS = 16


@dataclass(frozen=True, slots=True)
class Noise:
    """Uncertainty of the mean over several segments from the scatter within them, in the readings' unit.

    autocorrelation_time [readings] and effective_sample_size [1] as in `Repeatability`; degrees_of_freedom [1]: that size less
    two for each segment, its level and its trend.
    """

    uncertainty: float
    autocorrelation_time: float
    effective_sample_size: float
    degrees_of_freedom: float


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

    The trend is taken out before the scatter is looked at; else a drift would pass for endless correlation. What correlation
    was removed with it is restored, see `noise_of_segments`: 95 % intervals from 60 readings that correlate by 0.95 held the truth in
    77 % of trials without, in 89 % with it. A drift that is lost in the noise of its own slope (less than twice its standard
    error) counts as none.

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
    straight = _Detrended.of(values)
    squares, time, window = _scatter_and_time([straight])
    time = _detrending_correction(time, window, count, 1)
    effective = count / time
    scatter = squares / max(count - 2 * time, 1.0)
    noise = math.sqrt(scatter * time / count)
    slope_noise = math.sqrt(scatter * time / _place_squares(count))
    drift_uncertainty = abs(straight.trend) / math.sqrt(12) if abs(straight.trend) > 2 * slope_noise else 0.0
    freedom = max(min(effective - 2, count / (2 * window + 1)), 1.0)
    return Repeatability(
        count=count,
        mean=straight.mean,
        # The straight line and what is left of it are at right angles.
        standard_deviation=math.sqrt((squares + straight.trend**2 * _place_squares(count)) / (count - 1)),
        autocorrelation_time=time,
        effective_sample_size=effective,
        noise_uncertainty=noise,
        drift=straight.trend,
        drift_uncertainty=drift_uncertainty,
        standard_uncertainty=math.hypot(noise, drift_uncertainty),
        degrees_of_freedom=_joint_freedom(noise, drift_uncertainty, freedom),
    )


def noise_of_segments(segments: Sequence[FloatArray]) -> Noise:
    """Return the uncertainty of the mean over all readings of several segments from the scatter within each.

    Each segment has a level and a trend of its own, taken out first: a jump from one to the next is a change of the flow, and
    neither scatter nor correlation. Scatter and autocorrelation are pooled over the segments, lag by lag, and no lag
    reaches from one segment into another. Segments too short for a trend count in the number of readings only.

    A level and a trend taken out of a short segment take correlation with them: with t the true time, each lag loses about
    2 t/n of the variance, so that the sum over a window W comes out as t (1 - 2 (1 + 2 W - t)/n). That is undone. Without, 95 %
    intervals from five segments of 200 readings that correlate by 0.9 held the truth in 75 % of trials; with it in 96 %.

    Parameters
    ----------
    segments : sequence of (n,) [any unit]  each equally spaced in time and finite; one has 8 readings or more

    Returns
    -------
    noise : Noise

    Raises
    ------
    NotEnough  no segment has 8 readings

    Source
    ------
    Sokal 1996 for one series; pooling within groups as in the analysis of variance (JCGM 100:2008 H.5), from memory. The
        bias: own derivation along the lines of Wolff 2004, Comput. Phys. Commun. 156:143 (from memory), checked by simulation.
    """
    long = [
        _Detrended.of(_checked(segment))
        for segment in segments
        if len(segment) >= MIN_READINGS_AUTOCORRELATION
    ]
    if not long:
        raise NotEnough(field="readings", variant="segments-short", at_least=MIN_READINGS_AUTOCORRELATION)
    squares, time, window = _scatter_and_time(long)
    used = sum(len(segment.values) for segment in long)
    time = _detrending_correction(time, window, used, len(long))
    count = sum(len(segment) for segment in segments)
    scatter = squares / max(used - 2 * time * len(long), 1.0)
    freedom = max(used / time - 2 * len(long), 1.0)
    return Noise(math.sqrt(scatter * time / count), time, count / time, freedom)


def standard_deviation(readings: FloatArray, mean: float) -> float:
    """Experimental standard deviation of readings about their mean, gone through in pieces: no second array is made.

    Parameters
    ----------
    readings : (n,) [any unit]  2 or more
    mean : float [as readings]  of the readings

    Returns
    -------
    deviation : float [as readings]

    Source
    ------
    JCGM 100:2008 (GUM) 4.2.2.
    """
    level = _Detrended(readings, mean, 0.0)
    squares = math.fsum(float(piece @ piece) for _, piece in level.pieces(PIECE))
    return math.sqrt(squares / (len(readings) - 1))


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
    return _scatter_and_time([_Detrended(values, float(values.mean()), 0.0)])[1]


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


@dataclass(frozen=True, slots=True)
class _Detrended:
    """Series less its mean and its straight trend, calculated piece by piece and not stored."""

    values: FloatArray
    mean: float
    trend: float

    @staticmethod
    def of(values: FloatArray) -> _Detrended:
        """Return the series with its mean and the slope of its least-squares line over a position from -1/2 to 1/2."""
        level = _Detrended(values, float(values.mean()), 0.0)
        along = sum(
            float(_place(start, len(values), len(piece)) @ piece) for start, piece in level.pieces(PIECE)
        )
        return _Detrended(values, level.mean, along / _place_squares(len(values)))

    def part(self, start: int, stop: int) -> FloatArray:
        """Return the residuals of the readings from `start` to `stop`."""
        left: FloatArray = self.values[start:stop] - self.mean
        if self.trend:
            left -= self.trend * _place(start, len(self.values), len(left))
        return left

    def reach(self) -> float:
        """Return an upper limit of the residuals; 0 if all are 0."""
        widest = max(float(self.values.max()) - self.mean, self.mean - float(self.values.min()))
        return widest + abs(self.trend) / 2

    def pieces(self, size: int, overlap: int = 0) -> Iterator[tuple[int, FloatArray]]:
        """Yield consecutive pieces, each with its start and with `overlap` readings of the next."""
        for start in range(0, len(self.values), size):
            yield start, self.part(start, start + size + overlap)


def _place(start: int, count: int, size: int) -> FloatArray:
    """Return the positions of successive readings on a scale from -1/2, the first of the series, to 1/2, the last."""
    places = np.arange(start, start + size, dtype=float)
    places /= count - 1
    places -= 0.5
    return places


def _place_squares(count: int) -> float:
    """Return the sum of the squares of all positions."""
    return count * (count + 1) / (12 * (count - 1))


def _scatter_and_time(series: Sequence[_Detrended]) -> tuple[float, float, int]:
    """Sum of squares, autocorrelation time and its window, over all series. Only so many lags are worked out as the window needs."""
    longest = max(len(one.values) for one in series)
    size = max(one.reach() for one in series)
    if size == 0:
        return 0.0, 1.0, min(int(WINDOW_FACTOR), longest - 1)
    lags = min(FEW_LAGS, longest - 1)
    while True:
        products = sum((_lagged_products(one, lags, size) for one in series), np.zeros(lags + 1))
        sums = 2.0 * np.cumsum(products / products[0]) - 1.0
        wide_enough = np.flatnonzero(np.arange(len(sums)) >= WINDOW_FACTOR * sums)
        if len(wide_enough) or lags == longest - 1:
            break
        lags = min(MORE_LAGS * lags, longest - 1)
    window = int(wide_enough[0]) if len(wide_enough) else lags
    time = float(np.clip(sums[window], 1.0, longest))
    return float(products[0]) * size * size, time, max(window, 1)


def _detrending_correction(time: float, window: int, count: int, segments: int) -> float:
    """Correct the autocorrelation time for the levels and trends removed from the segments."""
    left = max(1 - 2 * segments * (1 + 2 * window - time) / count, MIN_VARIANCE_LEFT)
    return min(time / left, count / segments)


def _lagged_products(series: _Detrended, lags: int, size: float) -> FloatArray:
    """Sums of the products of readings `lag` apart, for lags of 0 to `lags`; of readings over `size`, lest squares vanish."""
    if lags <= FEW_LAGS:
        return sum(
            (
                np.correlate(_filled(piece, len(piece[:PIECE]) + lags), piece[:PIECE], "valid")
                for _, piece in ((start, piece / size) for start, piece in series.pieces(PIECE, lags))
            ),
            np.zeros(lags + 1),
        )
    width = 1 << (TRANSFORM_PER_LAG * lags - 1).bit_length()
    width = min(width, 1 << (len(series.values) + lags - 1).bit_length())
    step, rows = width - lags, max(1, min(TRANSFORM_ROWS, -(-len(series.values) // (width - lags))))

    def spectrum_of(start: int) -> NDArray[np.complex128]:
        piece = _filled(series.part(start, start + step * rows + lags) / size, step * rows + lags)
        # Each row overlaps the next by the lags, so that no product is lost; its own readings are those before the overlap.
        row = np.lib.stride_tricks.sliding_window_view(piece, width)[::step].copy()
        whole = np.fft.rfft(row)
        row[:, step:] = 0.0
        summed: NDArray[np.complex128] = np.einsum("ij,ij->j", np.fft.rfft(row).conj(), whole)
        return summed

    # On two threads, added in order: the same value to the bit in every run.
    spectrum = np.zeros(width // 2 + 1, dtype=np.complex128)
    for summed in alternating_threads(spectrum_of, range(0, len(series.values), step * rows)):
        spectrum += summed
    products: FloatArray = np.fft.irfft(spectrum, width)[: lags + 1]
    return products


def _filled(values: FloatArray, count: int) -> FloatArray:
    """Return the values, padded with zeros to a length."""
    return values if len(values) >= count else np.concatenate([values, np.zeros(count - len(values))])


def _joint_freedom(noise: float, drift_uncertainty: float, noise_freedom: float) -> float:
    """Return the degrees of freedom (Welch-Satterthwaite) of the noise and a drift allowance that counts as known."""
    if noise == 0:
        return math.inf
    return float(noise_freedom * (1 + (drift_uncertainty / noise) ** 2) ** 2)


def _checked(readings: FloatArray) -> FloatArray:
    values = np.asarray(readings, dtype=float)
    if values.ndim != 1 or len(values) < MIN_READINGS_AUTOCORRELATION:
        raise NotEnough(
            field="readings",
            variant="readings-few",
            count=values.size,
            at_least=MIN_READINGS_AUTOCORRELATION,
        )
    if not np.isfinite(values).all():
        raise NumberInvalid(field="readings", variant="reading-not-finite")
    return values
