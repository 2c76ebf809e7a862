"""The smallest velocity a clock resolves, against a published examination problem."""

from __future__ import annotations

from math import radians

import pytest

from compute.measuring.beam import Layer, Medium, Pipe, Setup, Transducers
from compute.measuring.spacing import calculate_spacing

CLOCK_PERIOD = 1 / 5e6


def exam_setup(bore: float) -> Setup:
    """One traverse at 45 deg; a film of wall and a wedge with the medium's own speed leave the beam unbent."""
    film = 1e-9
    pipe = Pipe(bore + 2 * film, Layer(film, 1500.0), roughness=0.0)
    return Setup(pipe, Medium(1500.0, 1000.0, 1e-3), Transducers(1e6, 1500.0, radians(45)), traverses=1)


def test_a_5_mhz_clock_on_half_a_metre_at_45_degrees_resolves_0_45_metres_a_second() -> None:
    # A published exam problem, from memory: diameter 0.5 m, path at 45 deg, 1500 m/s, 5 MHz clock; answer 0.45 m/s.
    # By hand: time difference = 2 D v cot(45 deg)/c^2, so v = 200 ns x 1500^2/(2 x 0.5) = 0.45 m/s.
    per_velocity = calculate_spacing(exam_setup(0.5)).time_difference_per_velocity
    assert pytest.approx(0.45, rel=1e-6) == CLOCK_PERIOD / per_velocity


def test_twice_the_diameter_resolves_half_the_velocity() -> None:
    # The same formula: the smallest velocity goes with 1/D.
    small, large = (calculate_spacing(exam_setup(bore)).time_difference_per_velocity for bore in (0.5, 1.0))
    assert large / small == pytest.approx(2, rel=1e-6)
