"""Downsampling of a series for a plot, with its peaks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

Columns = Mapping[str, NDArray[np.float64]]
Downsampled = dict[str, tuple[NDArray[np.int64], NDArray[np.float64]]]


def downsampled(values: NDArray[np.float64], points: int) -> NDArray[np.int64]:
    """Return positions to draw: minimum and maximum of each of points/2 segments, in order, with both ends.

    A plot of them shows every peak the whole series would. Missing values (nan) are left out unless a whole
    interval is missing, which shows as a gap.
    """
    count = len(values)
    if count <= points:
        return np.arange(count)
    edges = np.linspace(0, count, max(points // 2, 1) + 1).astype(np.int64)
    return _extremes(values, edges[:-1], np.array([0, count - 1]))


def downsampled_blocks(
    blocks: Iterable[tuple[NDArray[np.int64], Columns]], count: int, points: int
) -> Downsampled:
    """Times and values to draw of every column, as `downsampled`, with one block in memory at a time.

    `count` is the number of readings in all blocks together.
    """
    if count <= points:
        edges = np.arange(count + 1)
    else:
        edges = np.linspace(0, count, max(points // 2, 1) + 1).astype(np.int64)
    kept: dict[str, list[tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]]] = {}
    start = 0
    for times, columns in blocks:
        end = start + len(times)
        inside = edges[(edges > start) & (edges < end)] - start
        starts = np.concatenate(([0], inside)) if len(times) else inside
        ends = np.array([at - start for at in (0, count - 1) if start <= at < end], dtype=np.int64)
        for name, values in columns.items():
            shown = _extremes(values, starts, ends) if len(starts) else starts
            kept.setdefault(name, []).append((shown + start, times[shown], values[shown]))
        start = end
    return {name: _joined(parts, edges, count) for name, parts in kept.items()}


def _joined(
    parts: list[tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]],
    edges: NDArray[np.int64],
    count: int,
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The extremes of blocks, with an interval that two blocks share down to its own two again."""
    positions, times, values = (np.concatenate([part[n] for part in parts]) for n in range(3))
    starts = np.unique(np.searchsorted(positions, edges[:-1], side="left"))
    starts = starts[starts < len(positions)]
    if not len(starts):
        return times, values
    shown = _extremes(values, starts, np.flatnonzero((positions == 0) | (positions == count - 1)))
    return times[shown], values[shown]


def _extremes(
    values: NDArray[np.float64], starts: NDArray[np.int64], always: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Positions of the first lowest and the first highest of each interval, and the requested ones, in order."""
    found = [always]
    missing = np.isnan(values)
    lowest, highest = (
        (values, values)
        if not missing.any()
        else (
            np.where(missing, np.inf, values),
            np.where(missing, -np.inf, values),
        )
    )
    sizes = np.diff(starts, append=len(values))
    for series, reach in ((lowest, np.minimum), (highest, np.maximum)):
        at = np.flatnonzero(series == np.repeat(reach.reduceat(series, starts), sizes))
        interval = np.searchsorted(starts, at, side="right")
        found.append(at[np.diff(interval, prepend=0) > 0])
    return np.unique(np.concatenate(found))
