"""The program's turbulent factor against profiles integrated numerically, at the friction of a second solver."""

from __future__ import annotations

from math import log, sqrt

import pytest
from fluids.friction import Colebrook
from scipy.integrate import quad

from compute.measuring.profile import profile_factor


def means(profile: object) -> tuple[float, float]:
    """Mean over the area and mean along a diameter, of a profile over r/R."""
    area, _ = quad(lambda r: 2 * r * profile(r), 0, 1, epsabs=1e-13, limit=400)  # type: ignore[operator]
    along, _ = quad(profile, 0, 1, epsabs=1e-13, limit=400)  # type: ignore[arg-type]
    return float(area), float(along)


def test_along_a_diameter_the_logarithmic_law_exceeds_its_area_mean_by_1_25_friction_velocities() -> None:
    # u/u* = ln(y u*/nu)/0.4 + C: over the area ln(y/R) has the mean -3/2, along a diameter -1; (1/2)/0.4 = 1.25.
    area, along = means(lambda r: log(1 - r) / 0.4)
    assert along - area == pytest.approx(1.25, rel=1e-9)


@pytest.mark.parametrize("reynolds", [4e3, 1e5, 1e7])
@pytest.mark.parametrize("roughness", [0.0, 2e-4, 2e-2])
def test_the_turbulent_factor_is_that_of_the_logarithmic_law_at_colebrook_s_friction(
    reynolds: float, roughness: float
) -> None:
    # In friction velocities the mean over the area is sqrt(8/f); that fixes the constant of the law.
    area, along = means(lambda r: log(1 - r) / 0.4)
    mean = sqrt(8 / Colebrook(reynolds, roughness))
    assert profile_factor(reynolds, roughness) == pytest.approx(mean / (mean - area + along), rel=1e-9)


@pytest.mark.parametrize(
    ("reynolds", "n"), [(4e3, 6.0), (2.3e4, 6.6), (1.1e5, 7.0), (1.1e6, 8.8), (3.2e6, 10.0)]
)
def test_the_turbulent_factor_is_within_1_5_percent_of_the_profiles_nikuradse_measured(
    reynolds: float, n: float
) -> None:
    # Exponents u ~ (y/R)^(1/n) in smooth pipes: Nikuradse 1932 as tabled in Schlichting, Boundary-Layer Theory (from
    # memory). 1.5 %: how far one power of the wall distance can stand for a measured profile.
    area, along = means(lambda r: (1 - r) ** (1 / n))
    assert profile_factor(reynolds, 0.0) == pytest.approx(area / along, rel=0.015)
