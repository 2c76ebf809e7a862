"""Flow of an oval pipe that is calculated as a round one, against a numerical forward model."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import ellipe

from compute.measuring.beam import trace
from compute.measuring.conditions import oval_uncertainty
from compute.measuring.flow import flow_from_times
from compute.results.reduction import reduce_log
from tests.compute.cases import PAIR, PIPE, WATER
from tests.compute.results.test_survey import log, occasion, physical

Array = NDArray[np.float64]
Profile = Callable[[Array], Array]


def laminar(radius: Array) -> Array:
    return 1 - radius**2


def power_law(exponent: int) -> Profile:
    return lambda radius: (1 - radius) ** (1 / exponent)


PROFILES = {"laminar": laminar, **{f"1/{n}": power_law(n) for n in (6, 7, 10)}}


def flow_error(share: float, angle: float, profile: Profile) -> float:
    """Calculated flow over true flow less 1: ellipse of half axes 1 + e and 1 - e, one beam along the normal at an angle."""
    a, b = 1 + share, 1 - share
    middles = (np.arange(20_000) + 0.5) / 20_000
    round_path = float(np.mean(profile(middles)))
    x, y = a * math.cos(angle), b * math.sin(angle)
    nx, ny = -math.cos(angle) / a, -math.sin(angle) / b
    size = math.hypot(nx, ny)
    nx, ny = nx / size, ny / size
    length = -2 * (x * nx / a**2 + y * ny / b**2) / ((nx / a) ** 2 + (ny / b) ** 2)
    radius = np.hypot((x + middles * length * nx) / a, (y + middles * length * ny) / b)
    # The mean velocity over the area is that of the round pipe: the contours are stretched with the wall.
    seen = float(np.mean(profile(np.minimum(radius, 1.0)))) / round_path
    circumference = 4 * a * float(ellipe(1 - (b / a) ** 2))
    return seen * (circumference / math.pi) ** 2 / 4 * math.pi / (math.pi * a * b) - 1


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("share", [0.01, 0.03])
def test_the_uncertainty_covers_the_root_mean_square_error_over_all_angles(
    profile: str, share: float
) -> None:
    angles = (np.arange(45) + 0.5) / 45 * math.pi / 2
    errors = np.array([flow_error(share, angle, PROFILES[profile]) for angle in angles])
    found = float(np.sqrt(np.mean(errors**2)))
    assert 0.5 * oval_uncertainty(share) < found < 1.001 * oval_uncertainty(share)


def test_the_velocity_from_the_times_does_not_depend_on_the_length_of_the_path() -> None:
    # Times in a uniform flow over a path that is 2 % longer: the path velocity is the same, the sound speed 2 % off.
    setup = physical()
    path = trace(setup)
    longer = 1.02 * path.time_in_medium
    difference = 2 * path.axial_slowness * longer * 1.5
    found = flow_from_times(setup, longer + path.time_in_solids, difference)
    assert found.path_velocity == pytest.approx(1.5, rel=1e-12)
    assert found.measured_sound_speed < 0.985 * setup.medium.sound_speed


def test_an_oval_pipe_hardly_changes_the_uncertainty_of_its_result() -> None:
    oval = replace(PIPE, max_outer_diameter=0.2191 * 1.02, min_outer_diameter=0.2191 * 0.98)
    of_round, of_oval = (
        reduce_log(pipe, WATER, PAIR, 2, log(), occasion()).uncertainty for pipe in (PIPE, oval)
    )
    [row] = [row for row in of_oval.budget if row.input == "pipe.ovality"]
    # By hand: e of the bore 0.02 x 219.1/203.1 = 0.02158; 1.5 e^2 = 0.070 %.
    assert row.contribution / of_oval.value == pytest.approx(0.000698, rel=0.01)
    assert of_oval.expanded_uncertainty < 1.02 * of_round.expanded_uncertainty
