"""From the velocity along the beam to the mean over the bore."""

from __future__ import annotations

from math import log10

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from compute.base.errors import OutOfRange
from compute.measuring.profile import (
    darcy_friction_factor,
    mean_from_path_velocity,
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


def test_an_array_gives_the_values_of_each_element() -> None:
    paths = np.array([-1.0, 0.0, 1e-3, 0.02, 3.0])
    together, _ = mean_from_path_velocity(paths, 2e5, 2e-4)
    alone = [mean_from_path_velocity(float(path), 2e5, 2e-4)[0] for path in paths]
    np.testing.assert_allclose(together, alone, rtol=1e-12)


@given(st.floats(1e4, 1e7))
def test_the_older_fits_for_smooth_pipes_agree_within_three_percent(reynolds: float) -> None:
    ours = profile_factor(reynolds, 0.0)
    n = 1.66 * log10(reynolds)
    assert 2 * n / (2 * n + 1) == pytest.approx(ours, rel=0.03)
    assert 1 / (1.119 - 0.011 * log10(reynolds)) == pytest.approx(ours, rel=0.03)


@given(st.floats(1, 1e9), st.floats(0, 0.4))
def test_the_fixed_point_is_the_one_a_bracketing_root_finder_finds(
    path_reynolds: float, roughness: float
) -> None:
    # Independent method: Brent on Re - k(Re) P over every Re that could be, 0.7 P to P.
    def gap(reynolds: float) -> float:
        return float(reynolds - profile_factor(reynolds, roughness) * path_reynolds)

    found = brentq(gap, 0.7 * path_reynolds, path_reynolds, xtol=1e-300, rtol=1e-14)
    mean, _ = mean_from_path_velocity(path_reynolds, 1.0, roughness)
    assert mean == pytest.approx(found, rel=1e-12)


@given(st.floats(1, 1e7), st.floats(1e-6, 1), st.floats(0, 0.4))
def test_a_faster_beam_means_a_faster_mean_across_all_regimes(
    path_reynolds: float, step: float, roughness: float
) -> None:
    slower, _ = mean_from_path_velocity(path_reynolds, 1.0, roughness)
    faster, _ = mean_from_path_velocity(path_reynolds * (1 + step), 1.0, roughness)
    assert faster > slower


def test_a_reading_gives_the_same_bits_whatever_its_neighbours_are() -> None:
    # Laminar, between and turbulent together; a result must not hang on how a log is cut into blocks.
    paths = np.geomspace(1e-4, 3.0, 500)
    together, _ = mean_from_path_velocity(paths, 2e5, 2e-4)
    alone = [mean_from_path_velocity(float(path), 2e5, 2e-4)[0] for path in paths]
    np.testing.assert_array_equal(together, alone)


@pytest.mark.parametrize("viscosity", [0.0, -1e-3, float("nan"), float("inf")])
def test_an_impossible_viscosity_is_rejected(viscosity: float) -> None:
    with pytest.raises(OutOfRange):
        reynolds_number(1.0, 0.2, 998.0, viscosity)


@pytest.mark.parametrize(("reynolds", "roughness"), [(2000.0, 0.0), (float("nan"), 0.0), (1e5, -1e-4)])
def test_a_friction_factor_outside_colebrook_white_is_rejected(reynolds: float, roughness: float) -> None:
    with pytest.raises(OutOfRange):
        darcy_friction_factor(reynolds, roughness)
