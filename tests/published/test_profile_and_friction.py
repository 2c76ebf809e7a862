"""Profile factors by integrating published profiles; friction against a second solver."""

from __future__ import annotations

import pytest
from fluids.friction import Colebrook
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from compute.measuring.profile import darcy_friction_factor, profile_factor


def factor_by_quadrature(profile: object) -> float:
    """Mean over the area divided by the mean along a diameter, of a profile over r/R."""
    area, _ = quad(lambda r: 2 * r * profile(r), 0, 1, epsabs=1e-13, limit=400)  # type: ignore[operator]
    diameter, _ = quad(profile, 0, 1, epsabs=1e-13, limit=400)  # type: ignore[arg-type]
    return float(area / diameter)


def test_the_laminar_factor_is_that_of_the_parabola() -> None:
    # Hagen-Poiseuille: u ~ 1 - (r/R)^2.
    assert factor_by_quadrature(lambda r: 1 - r * r) == pytest.approx(profile_factor(1000.0, 0.0), rel=1e-12)


@given(st.floats(4000, 1e8), st.floats(0, 0.05))
def test_friction_meets_a_second_solver_of_colebrook_white(reynolds: float, roughness: float) -> None:
    # fluids.friction.Colebrook solves 2.51 and 3.7 in their usual form by the Lambert W function.
    assert darcy_friction_factor(reynolds, roughness) == pytest.approx(
        Colebrook(reynolds, roughness), rel=1e-9
    )


def test_friction_meets_the_smooth_pipe_value_of_the_handbooks() -> None:
    # Moody chart, smooth pipe, Re = 1e5: f = 0.0180 (from memory, to the chart's three digits).
    assert darcy_friction_factor(1e5, 0.0) == pytest.approx(0.0180, abs=5e-5)
