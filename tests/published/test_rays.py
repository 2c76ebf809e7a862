"""Refraction, spacing and the flow equation against rays found another way."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize

from compute.measuring.beam import Layer, Setup, trace
from compute.measuring.flow import flow_from_times
from tests.compute.cases import plastic_setup, steel_setup

LINED = steel_setup(linings=(Layer(0.004, 3700.0, 2200.0),))


def legs(setup: Setup) -> tuple[np.ndarray, np.ndarray]:
    """Thickness and sound speed of what the beam crosses, both ways through the solids taken together."""
    path = trace(setup)
    solids = (setup.pipe.wall, *setup.pipe.linings)
    speeds = [
        layer.shear_sound_speed if mode == "shear" else layer.longitudinal_sound_speed
        for layer, mode in zip(solids, path.wave_modes, strict=True)
    ]
    thickness = [2 * layer.thickness for layer in solids] + [setup.traverses * setup.pipe.bore]
    return np.array(thickness), np.array([*speeds, float(setup.medium.sound_speed)])


@pytest.mark.parametrize(
    "setup", [steel_setup(1), steel_setup(2), plastic_setup(1), LINED], ids=["1", "2", "plastic", "lined"]
)
def test_the_calculated_path_takes_the_least_time_of_all_paths(setup: Setup) -> None:
    # Fermat: with both ends fixed, minimise the time over where the path crosses each boundary.
    path = trace(setup)
    thickness, speed = legs(setup)
    total = float(path.axial_advance)

    def time(shares: np.ndarray) -> float:
        advances = np.append(shares, total - shares.sum())
        return float(np.sum(np.hypot(advances, thickness) / speed)) * 1e6

    start = total * thickness[:-1] / thickness.sum()
    best = minimize(
        time, start, method="Nelder-Mead", options={"xatol": 1e-12, "fatol": 1e-13, "maxiter": 20_000}
    )
    ours = path.transit_time - 2 * setup.transducers.wedge_delay
    assert best.fun * 1e-6 == pytest.approx(float(ours), rel=1e-10)
    found = np.arctan2(np.append(best.x, total - best.x.sum()), thickness)
    # A time flat at its least fixes the angles to the square root of its precision.
    np.testing.assert_allclose(found, [*path.angles_in_solids, float(path.angle_in_medium)], atol=2e-4)


def advected_time(setup: Setup, velocity: float) -> float:
    """Time of the ray from face to face through a medium that moves along the axis at `velocity`, exactly.

    In the moving medium a wave of axial slowness p has total slowness (1 - v p)/c, and the ray is carried along.
    """
    thickness, speed = legs(setup)
    sound, crossing = speed[-1], thickness[-1]
    total = float(trace(setup).axial_advance)

    def leg(p: float) -> tuple[float, float]:
        slowness = (1 - velocity * p) / sound
        across = sqrt(slowness**2 - p**2)
        time = crossing / (sound * across / slowness)
        solids = thickness[:-1] * p * speed[:-1] / np.sqrt(1 - (p * speed[:-1]) ** 2)
        times = thickness[:-1] / (speed[:-1] * np.sqrt(1 - (p * speed[:-1]) ** 2))
        return float(time + times.sum()), float(time * (sound * p / slowness + velocity) + solids.sum())

    p = brentq(lambda p: leg(p)[1] - total, 1e-6, 0.999 / speed.max(), xtol=1e-18, rtol=1e-15)
    return leg(p)[0]


@settings(max_examples=40)
@given(
    velocity=st.floats(0.1, 6.0),
    which=st.sampled_from([steel_setup(1), steel_setup(2), plastic_setup(1), LINED]),
)
def test_the_flow_equation_gives_the_velocity_of_exactly_advected_rays(velocity: float, which: Setup) -> None:
    # Uniform flow: the velocity along the beam is the velocity. What is left out is of order (v/c)^2, 2e-5 at 6 m/s.
    up, down = advected_time(which, -velocity), advected_time(which, velocity)
    delays = 2 * which.transducers.wedge_delay
    flow = flow_from_times(which, (up + down) / 2 + delays, up - down)
    assert flow.path_velocity == pytest.approx(velocity, rel=1e-4)
    assert flow.measured_sound_speed == pytest.approx(float(which.medium.sound_speed), rel=5e-5)


def test_the_flow_is_bore_area_times_mean_velocity() -> None:
    setup = replace(steel_setup())
    flow = flow_from_times(setup, trace(setup).transit_time, 150e-9)
    assert flow.volume_flow == pytest.approx(pi / 4 * 0.2031**2 * flow.mean_velocity, rel=1e-12)
