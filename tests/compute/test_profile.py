"""From the velocity along the beam to the mean over the bore."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.errors import OutOfRange
from compute.profile import (
    logarithmic_fit_profile_factor,
    mean_from_path_velocity,
    power_law_profile_factor,
    profile_factor,
    reynolds_number,
)


def test_reynolds_number_by_hand() -> None:
    # 1.2 m/s, 0.2 m, 998 kg/m3, 1.0e-3 Pa s: 1.2 x 0.2 x 998 / 1e-3 = 239 520.
    assert reynolds_number(-1.2, 0.2, 998.0, 1.0e-3) == pytest.approx(239_520)


def test_laminar_flow_has_a_factor_of_three_quarters_and_so_has_no_flow() -> None:
    assert profile_factor(0.0, 1e-4) == 0.75
    assert profile_factor(2300.0, 1e-4) == 0.75


def test_the_factor_is_continuous_where_the_regimes_meet() -> None:
    for edge in (2300.0, 4000.0):
        assert profile_factor(edge * (1 - 1e-9), 1e-4) == pytest.approx(
            profile_factor(edge * (1 + 1e-9), 1e-4), abs=1e-8
        )


@given(st.floats(4000, 1e8), st.floats(0, 0.03))
def test_a_turbulent_factor_lies_between_laminar_and_plug_flow_and_rises_with_reynolds_number(
    reynolds: float, roughness: float
) -> None:
    factor = profile_factor(reynolds, roughness)
    assert 0.75 < factor < 1
    assert profile_factor(reynolds * 1.1, roughness) >= factor


@given(st.floats(1e-6, 20), st.floats(1e2, 1e7), st.floats(0, 0.02))
def test_the_mean_velocity_is_a_fixed_point_of_its_own_factor(
    path: float, per_velocity: float, roughness: float
) -> None:
    mean, factor = mean_from_path_velocity(path, per_velocity, roughness)
    assert mean == pytest.approx(profile_factor(abs(mean) * per_velocity, roughness) * path, rel=1e-10)
    assert factor * path == mean


def test_reverse_flow_keeps_its_sign_and_size() -> None:
    forth, _ = mean_from_path_velocity(1.3, 2e5, 2e-4)
    back, _ = mean_from_path_velocity(-1.3, 2e5, 2e-4)
    assert back == -forth


def test_an_array_gives_what_each_gives_alone() -> None:
    paths = np.array([-1.0, 0.0, 1e-3, 0.02, 3.0])
    together, _ = mean_from_path_velocity(paths, 2e5, 2e-4)
    alone = [mean_from_path_velocity(float(path), 2e5, 2e-4)[0] for path in paths]
    np.testing.assert_allclose(together, alone, rtol=1e-12)


@given(st.floats(1e4, 1e7))
def test_the_older_fits_for_smooth_pipes_agree_with_the_log_law_within_three_percent(reynolds: float) -> None:
    # How far three published forms differ is part of the profile factor's doubt.
    log_law = profile_factor(reynolds, 0.0)
    assert power_law_profile_factor(reynolds) == pytest.approx(log_law, rel=0.03)
    assert logarithmic_fit_profile_factor(reynolds) == pytest.approx(log_law, rel=0.03)


def test_a_viscosity_of_zero_is_refused() -> None:
    with pytest.raises(OutOfRange):
        reynolds_number(1.0, 0.2, 998.0, 0.0)
