"""Water at many temperatures, three properties at each: against Horner's rule and against a cubic spline, both in chunks."""

from __future__ import annotations

import numpy as np

from compute.library.fitted_properties import CHUNK
from compute.library.media import medium_properties
from tests.benchmarks.measuring import Figures, ratio

PRESSURE = 6e5


def figures(small: bool) -> Figures:
    from scipy.interpolate import CubicSpline

    count, repeats = (10_000, 1) if small else (1_000_000, 9)
    temperatures = np.linspace(280.0, 360.0, count)
    coefficients = np.linspace(1.0, 0.1, 13)
    knots = np.linspace(279.0, 361.0, 200)
    known = medium_properties("water", knots, PRESSURE)
    splines = [CubicSpline(knots, values) for values in (known.sound_speed, known.density, known.dynamic_viscosity)]  # fmt: skip

    def ours() -> None:
        medium_properties("water", temperatures, PRESSURE)

    def horner() -> None:
        for _ in range(3):
            for start in range(0, count, CHUNK):
                x = temperatures[start : start + CHUNK] / 400
                total = coefficients[-1] + 0 * x
                for c in coefficients[-2::-1]:
                    total *= x
                    total += c

    def spline() -> None:
        for one in splines:
            for start in range(0, count, CHUNK):
                one(temperatures[start : start + CHUNK])

    yield ratio(
        "three properties of water to plain Horner of degree 12", ours, horner, repeats=repeats, target=1.5, size=count
    )  # fmt: skip
    yield ratio("the same to a cubic spline of each", ours, spline, repeats=repeats, target=1.0, size=count)
