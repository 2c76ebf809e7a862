"""Suitability of many pairs at once, in agreement with each pair alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compute.base.errors import ComputeError
from compute.measuring.beam import Layer, Medium, Pipe, Setup, Transducers
from compute.measuring.spacing import calculate_spacing, recommend_traverses
from compute.measuring.suitability import ORDER, suit
from compute.planning.distance import distance_between

WATER = Medium(1497.0, 998.0, 1.0e-3)
PAIRS = st.builds(
    Transducers,
    frequency=st.sampled_from([0.5e6, 1e6, 2e6, 4e6]),
    wedge_sound_speed=st.floats(2200, 2900),
    wedge_angle=st.floats(0.2, 1.3),
    face_offset=st.floats(0, 0.03),
    wedge_delay=st.floats(0, 1e-5),
)
WALLS = st.builds(
    Layer, st.floats(0.002, 0.02), st.floats(1500, 6000), st.none() | st.floats(700, 1499),
    st.sampled_from([None, "shear", "longitudinal"]),
)  # fmt: skip


@settings(max_examples=40)
@given(
    st.lists(PAIRS, min_size=1, max_size=5), WALLS, st.lists(WALLS, max_size=1), st.floats(0.1, 1.2),
    st.none() | st.floats(0.001, 5), st.none() | st.floats(0.05, 3),
)  # fmt: skip
def test_each_pair_is_set_up_as_it_would_be_alone(
    pairs: list[Transducers], wall: Layer, linings: list[Layer], diameter: float, velocity: float | None,
    room: float | None,
) -> None:  # fmt: skip
    pipe = Pipe(diameter, wall, 1e-5, tuple(linings))
    found = suit(pipe, WATER, pairs, expected_velocity=velocity, timing_resolution=0.2e-9, room=room)
    for at, pair in enumerate(pairs):
        try:
            alone = [calculate_spacing(Setup(pipe, WATER, pair, count)) for count in ORDER]
        except ComputeError:
            assert found.blocked_by[at] != 0
            assert np.isnan(found.spacing[:, at]).all()
            continue
        assert found.blocked_by[at] == 0
        assert found.spacing[:, at] == pytest.approx([float(one.spacing) for one in alone], rel=1e-12)
        wanted = recommend_traverses(
            Setup(pipe, WATER, pair, 1), expected_velocity=velocity, timing_resolution=0.2e-9, room=room
        )
        assert ORDER[found.chosen[at]] == wanted.traverses


def test_a_quarter_of_the_earth_is_ten_thousand_kilometres() -> None:
    # Hand calculation: pi/2 x 6371.0088 km = 10 007.557 km, from the equator to the pole.
    assert distance_between((0.0, 20.0), (90.0, 0.0)) == pytest.approx(10_007_557, abs=1)
    assert distance_between((55.7, 12.6), (55.7, 12.6)) == 0
