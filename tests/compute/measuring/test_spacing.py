"""Spacing: values calculated by hand, and the recommended number of traverses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.measuring.beam import Layer, Medium, Pipe
from compute.measuring.spacing import calculate_spacing
from tests.compute.cases import STEEL, recommend, steel_setup


def test_the_time_difference_for_one_metre_per_second_agrees_with_a_hand_calculation() -> None:
    # Bore 0.2031 m, p = sin 42 deg / 2720 = 2.46004e-4 s/m, sin = 1550.6 p = 0.381454, cos = 0.924389;
    # time in water 2 x 0.2031 / (1550.6 x 0.924389) = 283.392 us; 2 x that x p = 139.431 ns.
    assert calculate_spacing(steel_setup()).time_difference_per_velocity == pytest.approx(
        139.431e-9, rel=1e-5
    )


@given(st.integers(1, 15), st.floats(1000, 2000))
def test_one_more_traverse_adds_one_crossing_to_the_spacing(traverses: int, speed: float) -> None:
    medium = Medium(speed, 1000.0, 1e-3)
    fewer, more = (
        calculate_spacing(replace(steel_setup(n), medium=medium)) for n in (traverses, traverses + 1)
    )
    crossing = fewer.bore * np.tan(fewer.path.angle_in_medium)
    assert more.spacing - fewer.spacing == pytest.approx(crossing, rel=1e-10)


def test_a_slow_expected_flow_needs_four_traverses_and_the_reason_is_given() -> None:
    # 0.1 m/s: two traverses give 13.9 ns, by the figure above.
    recommended = recommend(steel_setup(), 0.1)
    assert recommended.traverses == 4
    [reason] = recommended.reasons
    assert reason.key == "traverses-unsuitable/time-difference-small"
    assert reason.parameters["time_difference"]["si"] == pytest.approx(13.9e-9, rel=5e-3)
    assert recommend(steel_setup(), -0.1) == recommended


def test_a_slow_flow_in_a_pipe_too_wide_for_four_traverses_uses_two() -> None:
    # Bore 0.684 m: a beam of 4 x 0.684 / 0.9244 = 2.96 m is beyond what is recommended, one of 1.48 m is not.
    wide = replace(steel_setup(), pipe=Pipe(0.700, Layer(0.008, *STEEL), 45e-6))
    assert recommend(wide, 0.01).traverses == 2


def test_a_pipe_too_narrow_for_any_same_side_pair_is_measured_across() -> None:
    narrow = replace(steel_setup(), pipe=Pipe(0.0127, Layer(0.0009, *STEEL), 45e-6))
    recommended = recommend(narrow, None)
    assert recommended.traverses == 1
    assert "traverses-unsuitable/spacing-small" in {reason.key for reason in recommended.reasons}


def test_a_coarse_meter_wants_a_longer_beam() -> None:
    # 1.2 m/s over two traverses: 167 ns, 100 times a resolution of 1.6 ns but not of 1.7.
    assert recommend(steel_setup(), 1.2, timing_resolution=1.6e-9).traverses == 2
    assert recommend(steel_setup(), 1.2, timing_resolution=1.7e-9).traverses == 4


def test_a_short_run_of_pipe_calls_for_fewer_traverses() -> None:
    recommended = recommend(steel_setup(), None, room=0.12)
    assert recommended.traverses == 1
    assert "traverses-unsuitable/spacing-long" in {reason.key for reason in recommended.reasons}


def test_a_higher_frequency_bears_a_shorter_beam() -> None:
    fast = replace(steel_setup(), transducers=replace(steel_setup().transducers, frequency=5e6))
    assert recommend(fast, None).traverses == 1
