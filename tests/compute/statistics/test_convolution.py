"""Coverage factors of sums of inputs of known shapes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from compute.base.errors import OutOfRange
from compute.statistics.convolution import coverage_factor_of_sum
from compute.statistics.gum import Distribution, coverage_factor


@pytest.mark.parametrize(
    ("parts", "shapes", "factor"),
    [
        # By hand, 95 %: half-width x 0.95 of a rectangle; x (1 - sqrt(0.05)) of a triangle; x sin(0.95 x 90 deg) of an arcsine.
        ([2.0], ["rectangular"], 0.95 * math.sqrt(3)),
        ([2.0], ["triangular"], math.sqrt(6) * (1 - math.sqrt(0.05))),
        ([2.0], ["arcsine"], math.sqrt(2) * math.sin(0.95 * math.pi / 2)),
        # Two equal rectangles make a triangle (GUM 4.3.9 and JCGM 101 9.2.4).
        ([1.0, 1.0], ["rectangular", "rectangular"], math.sqrt(6) * (1 - math.sqrt(0.05))),
        ([1.0], ["normal"], 1.959964),
    ],
)
def test_the_factor_is_that_of_the_shape(
    parts: list[float], shapes: list[Distribution], factor: float
) -> None:
    assert coverage_factor_of_sum(parts, shapes) == pytest.approx(factor, rel=0.02)


def test_a_rectangle_with_a_normal_part_agrees_with_draws() -> None:
    generator = np.random.default_rng(1)
    drawn = generator.uniform(-math.sqrt(3), math.sqrt(3), 10**6) + 0.5 * generator.standard_normal(10**6)
    factor = coverage_factor_of_sum([1.0, 0.5], ["rectangular", "normal"])
    assert factor == pytest.approx(np.quantile(np.abs(drawn), 0.95) / math.sqrt(1.25), rel=0.005)


def test_few_degrees_of_freedom_lengthen_the_factor_as_students_t_does() -> None:
    assert coverage_factor_of_sum([1.0], ["normal"], 5.0) == pytest.approx(coverage_factor(0.95, 5.0))


def test_another_probability_is_rejected() -> None:
    with pytest.raises(OutOfRange):
        coverage_factor_of_sum([1.0], ["normal"], probability=0.5)
