"""Straight line through points, with the uncertainty of the line and of the next point."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange

FloatArray = NDArray[np.float64]
MIN_POINTS = 3


@dataclass(frozen=True, slots=True)
class Line:
    """Least-squares line y = level + slope (x - centre); units are those of the points.

    `level` and `slope` are uncorrelated because `centre` is the mean of x. `scatter` is the standard deviation of one point
    about the line, with `degrees_of_freedom` = points less 2.
    """

    centre: float
    level: float
    slope: float
    level_uncertainty: float
    slope_uncertainty: float
    scatter: float
    degrees_of_freedom: float

    def at(self, x: FloatArray | float) -> FloatArray:
        """Return the value of the line at x."""
        return np.asarray(self.level + self.slope * (np.asarray(x, dtype=float) - self.centre))

    def uncertainty_at(self, x: FloatArray | float) -> FloatArray:
        """Return the standard uncertainty of the line at x."""
        away = np.asarray(x, dtype=float) - self.centre
        return np.hypot(self.level_uncertainty, self.slope_uncertainty * away)

    def uncertainty_of_next(self, x: FloatArray | float) -> FloatArray:
        """Return the standard uncertainty of one more point at x: that of the line and the scatter about it."""
        return np.hypot(self.uncertainty_at(x), self.scatter)


def fit_line(x: Sequence[float], y: Sequence[float]) -> Line:
    """Least-squares straight line, all points with the same weight.

    Parameters
    ----------
    x : sequence of float [any unit]  not all the same
    y : sequence of float [any unit]  as many

    Returns
    -------
    line : Line

    Raises
    ------
    NotEnough      fewer than three points: the scatter about the line is not known
    OutOfRange     all points at one x, or not as many y as x
    NumberInvalid  a coordinate that is not finite

    Source
    ------
    JCGM 100:2008 (GUM) H.3.2, equations H.13a to H.13f (from memory), about the mean of x.
    """
    at, values = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if at.shape != values.shape or at.ndim != 1:
        raise OutOfRange(variant="line-coordinates", x=at.size, y=values.size)
    if not (np.isfinite(at).all() and np.isfinite(values).all()):
        raise NumberInvalid(variant="line-point-not-finite")
    if len(at) < MIN_POINTS:
        raise NotEnough(variant="line-points", points=len(at), at_least=MIN_POINTS)
    if np.ptp(at) == 0:
        raise OutOfRange(variant="line-slope")
    centre, level = float(at.mean()), float(values.mean())
    away = at - centre
    width = float(np.linalg.norm(away))
    slope = float(away / width @ (values - level)) / width
    freedom = len(at) - 2
    scatter = float(np.linalg.norm(values - level - slope * away)) / math.sqrt(freedom)
    return Line(centre, level, slope, scatter / math.sqrt(len(at)), scatter / width, scatter, float(freedom))
