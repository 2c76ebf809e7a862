"""Thinning a series for a plot so that its peaks stay."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def thinned(values: NDArray[np.float64], points: int) -> NDArray[np.int64]:
    """Positions to draw: the lowest and the highest of each of points/2 stretches, in order, with both ends.

    A plot of them shows every peak the whole series would.
    """
    count = len(values)
    if count <= points:
        return np.arange(count)
    edges = np.linspace(0, count, max(points // 2, 1) + 1).astype(np.int64)
    starts = edges[:-1]
    kept = [np.array([0, count - 1])]
    for start, end in zip(starts, edges[1:], strict=True):
        part = values[start:end]
        kept.append(start + np.array([part.argmin(), part.argmax()]))
    return np.unique(np.concatenate(kept))
