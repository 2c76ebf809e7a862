"""Screening of a log for outliers: single readings and short blocks far from their neighbours (Hampel identifier).

A flow that changes stays: a step, a ramp, and a block longer than half the window. What is excluded is listed with the result
and can be included again.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from compute.base.prefetch import alternating_threads

FloatArray = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Readings of a window, and readings from one window to the next; a block longer than half the window is a flow of its own.
WINDOW = 21
STEP = 7
# Windows at the ends of the log: a change there lasts longer than half of one of them.
END_WINDOWS = (5, 11)
# Distance from the median of every window near a reading, in standard deviations; a default value. Normal noise exceeds it in 2e-9.
THRESHOLD = 6.0
# A standard deviation from few readings is uncertain: the threshold is wider for fewer than two windows (simulated, see tests).
FEW_WIDER, FEW_EXPONENT = 650.0, 2.6
MIN_READINGS = 5
# Readings whose median distance from their window is the scale of each of them.
SCALE_CELL = 105
# Standard deviation of a normal distribution over its median absolute deviation.
DEVIATION_OF_MEDIAN = 1.4826022185056018
# A larger share than this is not an outlier but the log: nothing is excluded; a default value.
MAX_FRACTION = 0.1
# Readings screened at a time: they fit the processor's cache, and each chunk sees the windows on both sides.
CHUNK = 210 * 64


def outliers(values: FloatArray, floor: float) -> Mask:
    """Return which readings of a series are outliers.

    The level of a reading is the median of 21 readings; of the windows up to 10 readings away, the nearest level counts, so that
    readings beside a step are no outliers. The scale is 1.48 times the median distance from the levels, over some hundred readings and
    in the windows before, around and after the reading; the largest counts. An outlier is more than 6 times the scale away. A series
    shorter than two windows has one level and a wider threshold.

    Parameters
    ----------
    values : (n,) [any unit]  in sequence, finite
    floor : float [as values]  least scale: the resolution of the log

    Returns
    -------
    outlier : (n,)

    Source
    ------
    Hampel 1974, J. Am. Stat. Assoc. 69:383, and Davies and Gather 1993, ibid. 88:782 (identifier by median and median absolute
        deviation); the least distance from several windows, the threshold and the wider one: own rules, checked by simulation.
    """
    count = len(values)
    if count < MIN_READINGS:
        return np.zeros(count, dtype=np.bool_)
    if count < 2 * WINDOW:
        return _few(values, floor)
    found = np.concatenate(
        list(alternating_threads(lambda start: _chunk(values, start, floor), range(0, count, CHUNK)))
    )
    _keep_scattered(values, found)
    return found if np.count_nonzero(found) <= MAX_FRACTION * count else np.zeros(count, dtype=np.bool_)


def _few(values: FloatArray, floor: float) -> Mask:
    distance = np.abs(values - np.median(values))
    scale = max(DEVIATION_OF_MEDIAN * float(np.median(distance)), floor)
    wider = THRESHOLD * (1 + FEW_WIDER / len(values) ** FEW_EXPONENT)
    found: Mask = distance > wider * scale
    # Of few readings one may be an outlier; two that agree are a flow.
    return found if np.count_nonzero(found) <= max(1.0, MAX_FRACTION * len(values)) else np.zeros_like(found)


def _chunk(values: FloatArray, start: int, floor: float) -> Mask:
    """Return the outliers of a chunk; its windows and scales begin a cell before it and end a cell after."""
    first = max(start - SCALE_CELL, 0)
    last = min(start + CHUNK + SCALE_CELL, len(values))
    if last - first < 2 * WINDOW:  # a remainder at the end
        first = max(last - 2 * WINDOW, 0)
    part = values[first:last]
    windows = _windows(part)
    distance, own = _distances(part, windows)
    if first == 0:
        _from_end(part, distance)
    if last == len(values):
        _from_end(part[::-1], distance[::-1])
    found: Mask = distance > THRESHOLD * _scales(own, floor)
    return found[start - first : start - first + CHUNK]


def _keep_scattered(values: FloatArray, found: Mask) -> None:
    """Remove from the outliers found those that are within the scatter of a window around, before or after them.

    The scale of a hundred readings is too small for a flow that is noisy in some of them only, as of a pump that switches.
    """
    which = np.flatnonzero(found)
    if not len(which):
        return
    half = WINDOW // 2
    local = np.zeros(len(which))
    level = np.empty((3, len(which)))
    for row, shift in enumerate((-half, 0, half)):
        starts = np.clip(which - half + shift, 0, len(values) - WINDOW)
        windows = values[starts[:, None] + np.arange(WINDOW)]
        level[row] = np.median(windows, axis=1)
        scatter = np.median(np.abs(windows - level[row][:, None]), axis=1)
        np.maximum(local, DEVIATION_OF_MEDIAN * scatter, out=local)
    found[which] = np.abs(values[which] - level).min(axis=0) > THRESHOLD * local


def _windows(part: FloatArray) -> FloatArray:
    """Return the medians of the windows, the last of which ends with the part."""
    starts = np.append(np.arange(0, len(part) - WINDOW, STEP), len(part) - WINDOW)
    rows = np.lib.stride_tricks.sliding_window_view(part, WINDOW)[starts]
    medians: FloatArray = np.partition(rows, WINDOW // 2, axis=1)[:, WINDOW // 2]
    return medians


def _distances(part: FloatArray, levels: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the distance of each reading from the nearest level within half a window, and from the level of its own window."""
    place = (np.arange(len(part)) - WINDOW // 2 + STEP // 2) // STEP
    own = np.abs(part - levels[np.clip(place, 0, len(levels) - 1)])
    nearest = own.copy()
    for shift in (*range(-(WINDOW // 2 // STEP), 0), *range(1, WINDOW // 2 // STEP + 1)):
        level = levels[np.clip(place + shift, 0, len(levels) - 1)]
        np.minimum(nearest, np.abs(part - level), out=nearest)
    return nearest, own


def _from_end(part: FloatArray, distance: FloatArray) -> None:
    """Give the readings at an end of the log the levels of shorter windows too: there a change has half its neighbours."""
    for size in END_WINDOWS:
        level = float(np.median(part[:size]))
        distance[:size] = np.minimum(distance[:size], np.abs(part[:size] - level))


def _scales(distance: FloatArray, floor: float) -> FloatArray:
    """Return the scale of each reading: the largest of its cell and of the two beside it."""
    count = len(distance)
    cells = max(count // SCALE_CELL, 1)
    edges = np.linspace(0, count, cells + 1).astype(np.intp)
    size = int(np.diff(edges).min())
    # Cells are as long as one another, to a reading.
    rows = distance[edges[:-1, None] + np.arange(size)]
    scale = DEVIATION_OF_MEDIAN * np.partition(rows, size // 2, axis=1)[:, size // 2]
    wide = np.maximum(scale, floor)
    wide[1:] = np.maximum(wide[1:], scale[:-1])
    wide[:-1] = np.maximum(wide[:-1], scale[1:])
    return np.repeat(wide, np.diff(edges))
