"""The ray through wedge, wall, lining and medium."""

from __future__ import annotations

from dataclasses import replace
from math import asin, cos, degrees, radians, sin, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange, TotalReflection
from compute.measuring.beam import Layer, Medium, choose_wave_mode, trace
from tests.compute.cases import PVC, STEEL, plastic_setup, steel_setup, transducers


def test_a_steel_wall_behind_an_ordinary_wedge_carries_shear_and_a_plastic_one_longitudinal() -> None:
    assert trace(steel_setup()).wave_modes == ("shear",)
    assert trace(plastic_setup()).wave_modes == ("longitudinal",)


def test_the_path_is_the_sum_of_its_legs_calculated_by_hand() -> None:
    # Plain trigonometry, leg by leg: wedge 42 deg at 2720 m/s, steel shear 3235 m/s, water 1550.6 m/s.
    p = sin(radians(42)) / 2720
    wall, water = asin(p * 3235), asin(p * 1550.6)
    bore = 0.2191 - 2 * 0.008
    path = trace(steel_setup(traverses=2))
    assert path.axial_advance == pytest.approx(2 * bore * tan(water) + 2 * 0.008 * tan(wall), rel=1e-12)
    in_water = 2 * bore / (1550.6 * cos(water))
    assert path.time_in_medium == pytest.approx(in_water, rel=1e-12)
    in_solids = 2 * 0.008 / (3235 * cos(wall)) + 2 * 9.8e-6
    assert path.transit_time == pytest.approx(in_water + in_solids, rel=1e-12)


def test_the_axial_slowness_is_the_same_in_every_layer() -> None:
    setup = steel_setup(linings=(Layer(0.004, 3700.0, 2200.0),))
    path = trace(setup)
    # The lining of 3700 m/s carries the longitudinal wave: 3700 x 2.46e-4 is below 1.
    speeds = (3235.0, 3700.0)
    for angle, speed in zip(path.angles_in_solids, speeds, strict=True):
        assert sin(angle) / speed == pytest.approx(path.axial_slowness, rel=1e-12, abs=0)
    assert sin(path.angle_in_medium) / 1550.6 == pytest.approx(path.axial_slowness, rel=1e-12, abs=0)


def test_a_selected_wave_is_used_or_rejected_but_never_replaced() -> None:
    pair = transducers()
    assert choose_wave_mode(Layer(0.01, *PVC, wave_mode="shear"), pair)[0] == "shear"
    with pytest.raises(TotalReflection):
        choose_wave_mode(Layer(0.01, *STEEL, wave_mode="longitudinal"), pair)


def test_a_missing_shear_speed_is_an_error_only_if_it_is_needed() -> None:
    pair = transducers()
    assert choose_wave_mode(Layer(0.01, 1550.0), pair)[0] == "longitudinal"
    with pytest.raises(NotEnough, match="not-enough-data/shear-sound-speed"):
        choose_wave_mode(Layer(0.01, 5960.0), pair)


def test_a_medium_faster_than_the_beam_lets_no_ray_in() -> None:
    fast = Medium(4200.0, 1000.0, 1e-3)
    with pytest.raises(TotalReflection) as caught:
        trace(replace(steel_setup(), medium=fast))
    assert caught.value.field == "medium.sound_speed"


@pytest.mark.parametrize(
    ("wall", "outer", "field"),
    [
        (0.11, 0.2191, "pipe.wall_thickness"),
        (0.0, 0.2191, "pipe.wall_thickness"),
        (0.008, -1.0, "pipe.outer_diameter"),
    ],
)
def test_an_impossible_pipe_is_rejected_with_its_field(wall: float, outer: float, field: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        trace(steel_setup(wall=wall, outer=outer))
    assert caught.value.field == field


@pytest.mark.parametrize("angle", [0.0, 90.0, -5.0])
def test_an_impossible_wedge_angle_is_rejected(angle: float) -> None:
    with pytest.raises(OutOfRange) as caught:
        trace(replace(steel_setup(), transducers=transducers(angle)))
    assert caught.value.field == "transducers.wedge_angle"


@given(st.floats(1000, 2000), st.integers(1, 8))
def test_an_array_of_sound_speeds_gives_the_values_of_each_element(speed: float, traverses: int) -> None:
    speeds = np.array([speed, speed * 1.01])
    together = trace(replace(steel_setup(traverses), medium=Medium(speeds, 1000.0, 1e-3)))
    alone = trace(replace(steel_setup(traverses), medium=Medium(speeds[1], 1000.0, 1e-3)))
    assert np.asarray(together.transit_time)[1] == alone.transit_time
    assert np.asarray(together.axial_advance)[1] == alone.axial_advance


def test_the_critical_angle_of_a_layer_is_the_wedge_angle_below_which_its_wave_propagates() -> None:
    forced = steel_setup(
        linings=(Layer(0.004, 3700.0, 2200.0), Layer(0.002, 5000.0, wave_mode="longitudinal"))
    )
    with pytest.raises(TotalReflection) as caught:
        trace(forced)
    assert caught.value.field == "pipe.lining.material"
    # arcsin(2720/5000) = 32.957 deg, by hand; whatever lies between keeps the slowness.
    assert degrees(caught.value.critical_angle) == pytest.approx(32.957, abs=1e-3)
    assert trace(replace(forced, transducers=transducers(32.9))).wave_modes[-1] == "longitudinal"


def test_the_critical_angle_of_the_medium_is_the_wedge_angle_below_which_a_ray_enters_it() -> None:
    fast = replace(steel_setup(), medium=Medium(4200.0, 1000.0, 1e-3))
    with pytest.raises(TotalReflection) as caught:
        trace(fast)
    # arcsin(2720/4200) = 40.362 deg, by hand.
    assert degrees(caught.value.critical_angle) == pytest.approx(40.362, abs=1e-3)
    assert trace(replace(fast, transducers=transducers(40.3))).angle_in_medium < radians(90)


def test_a_lining_that_fills_the_bore_is_named_and_not_the_wall() -> None:
    with pytest.raises(OutOfRange) as caught:
        trace(steel_setup(linings=(Layer(0.12, 3700.0, 2200.0),)))
    assert caught.value.field == "pipe.lining.thickness"


@pytest.mark.parametrize("traverses", [0, 17, 2.5, float("nan")])
def test_the_beam_crosses_the_bore_a_whole_number_of_times(traverses: float) -> None:
    with pytest.raises(OutOfRange) as caught:
        trace(replace(steel_setup(), traverses=traverses))  # type: ignore[arg-type]
    assert caught.value.field == "traverses"


@pytest.mark.parametrize("name", ["face_offset", "wedge_delay"])
def test_a_transducer_length_or_delay_that_is_not_a_number_is_rejected(name: str) -> None:
    with pytest.raises(NumberInvalid) as caught:
        trace(replace(steel_setup(), transducers=replace(transducers(), **{name: float("nan")})))
    assert caught.value.field == f"transducers.{name}"
