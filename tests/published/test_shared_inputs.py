"""Results that share inputs, against the guide's own example and an independent library that tracks every influence."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest

from compute.combining.combination import combine
from compute.combining.components import Component, Part


def test_ten_resistors_calibrated_against_one_standard() -> None:
    # JCGM 100:2008 5.2.2, example (from memory): ten resistors of 1000 ohm in series, each compared with the same standard of
    # 1000 ohm, u = 100 mohm. The printed u of the sum is 1 ohm; 0.32 ohm is printed as the incorrect one for independent ones.
    resistors = [Part(1000.0, (Component("standard", 0.1),)) for _ in range(10)]
    total = combine(resistors)
    assert total.value == 10_000
    assert total.combined_standard_uncertainty == pytest.approx(1.0)
    assert total.shared_variance_fraction == pytest.approx(1.0)
    [row] = total.budget
    assert row.contribution_if_independent == pytest.approx(0.32, abs=0.005)


def test_an_input_of_two_quantities_makes_their_covariance() -> None:
    # JCGM 100:2008 F.1.2.3: u(x1, x2) = sum of the products of what each common variable does to both.
    rng = np.random.default_rng(2)
    a, b = rng.normal(size=(2, 4))
    first = Part(1.0, tuple(Component(f"q{i}", u) for i, u in enumerate(a)))
    second = Part(1.0, tuple(Component(f"q{i}", u) for i, u in enumerate(b)), -1.0)
    variance = a @ a + b @ b - 2 * (a @ b)
    assert combine([first, second]).combined_standard_uncertainty == pytest.approx(math.sqrt(variance))


@pytest.mark.parametrize("seed", range(8))
def test_uncertainty_and_degrees_of_freedom_are_those_of_an_independent_library(seed: int) -> None:
    rng = np.random.default_rng(seed)
    keys = [f"k{i}" for i in range(6)]
    freedom = {key: float(rng.integers(3, 40)) for key in keys}
    influences = {key: GTC.ureal(0.0, 1.0, freedom[key], label=key) for key in keys}
    parts, total = [], 0.0
    for _ in range(4):
        held = rng.choice(keys, size=rng.integers(1, 6), replace=False)
        moved = {str(key): float(rng.normal()) for key in held}
        value, coefficient = float(rng.normal()), float(rng.normal())
        parts.append(Part(value, tuple(Component(k, u, freedom[k]) for k, u in moved.items()), coefficient))
        total += coefficient * (value + sum(u * influences[k] for k, u in moved.items()))
    found = combine(parts)
    assert found.value == pytest.approx(GTC.value(total), rel=1e-12)
    assert found.combined_standard_uncertainty == pytest.approx(GTC.uncertainty(total), rel=1e-12)
    assert found.effective_degrees_of_freedom == pytest.approx(GTC.dof(total), rel=1e-9)
