"""Developing laminar flow against a numerical solution of the boundary-layer equations and published values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import solve_banded

from compute.measuring.installation import laminar_development


def developing(nodes: int = 200, steps: int = 1200) -> np.ndarray:
    """Return length/(diameter x Re), centreline velocity and mean along a diameter, behind a uniform inlet.

    Control volumes across the radius, implicit in the length: u du/dx + v du/dr = -dp/dx + (1/r) d(r du/dr)/dr with a mean of 1, the
    pressure from continuity. Lengths of the march are in radius x (Reynolds number of the radius), 4 x as large.
    """
    radius = np.tanh(2.2 * np.linspace(0, 1, nodes + 1)) / np.tanh(2.2)
    step, faces = np.diff(radius), (radius[1:] + radius[:-1]) / 2
    edges = np.concatenate(([0.0], faces, [1.0]))
    area = np.diff(edges**2) / 2
    velocity = np.append(np.ones(nodes), 0.0)
    velocity *= 0.5 / (velocity @ area)
    diffusion, place, found = faces / step, 0.0, []
    for further in np.geomspace(1e-7, 0.4, steps):
        length, guess = further - place, velocity
        for _ in range(4):
            outward = -np.cumsum((guess - velocity) * area)[:-1] / length
            own = guess[:-1] * area[:-1] / length + outward / 2 + diffusion
            own[1:] += diffusion[:-1] - outward[:-1] / 2
            banded = np.zeros((3, nodes))
            banded[0, 1:], banded[1], banded[2, :-1] = (
                outward[:-1] / 2 - diffusion[:-1],
                own,
                -outward[:-1] / 2 - diffusion[:-1],
            )
            both = solve_banded(
                (1, 1), banded, np.stack([velocity[:-1] ** 2 * area[:-1] / length, area[:-1]], axis=1)
            )
            flow = area[:-1] @ both
            guess = np.append(both[:, 0] + (0.5 - flow[0]) / flow[1] * both[:, 1], 0.0)
        velocity, place = guess, further
        found.append((place / 4, velocity[0], np.trapezoid(velocity, radius)))
    return np.array(found)


SOLVED = developing()


def test_the_solution_is_within_1_percent_of_developed_at_the_published_entrance_length() -> None:
    # Hornbeck 1964 as in Shah and London 1978, Laminar Flow Forced Convection in Ducts (from memory): 99 % of the developed centreline
    # velocity, twice the mean, at 0.056 diameters x Re.
    assert np.interp(0.056, SOLVED[:, 0], SOLVED[:, 1]) == pytest.approx(1.98, rel=0.002)


@pytest.mark.parametrize("place", [1e-5, 3e-5, 1e-4])
def test_near_the_inlet_the_core_is_accelerated_by_the_boundary_layer_of_a_plate(place: float) -> None:
    # Blasius: displacement thickness 1.7208 sqrt(nu x/U), so that the core's velocity is 1/(1 - displacement/R)^2 of the mean; in
    # Shah and London 1978 (from memory) as 1 + 6.87 sqrt(x/(D Re)). Second-order terms: 5 % of the acceleration.
    core = np.interp(place, SOLVED[:, 0], SOLVED[:, 1]) - 1
    assert core == pytest.approx(6.87 * place**0.5, rel=0.05)


def test_the_mean_along_a_diameter_is_that_of_the_solution_within_0_15_percent() -> None:
    for place in np.geomspace(5e-4, 0.09, 30):
        solved = np.interp(place, SOLVED[:, 0], SOLVED[:, 2])
        assert 1 + laminar_development(place * 1500, 1500.0) / 3 == pytest.approx(solved, rel=1.5e-3)


def test_a_short_entrance_makes_a_meter_read_11_percent_low() -> None:
    # At length/(diameter x Re) = 0.005 the meter multiplies the mean along a diameter by the 3/4 of the parabola.
    assert 0.75 * np.interp(0.005, SOLVED[:, 0], SOLVED[:, 2]) == pytest.approx(0.89, abs=0.006)
    assert 0.75 * (1 + laminar_development(0.005 * 800, 800.0) / 3) == pytest.approx(0.89, abs=0.006)
