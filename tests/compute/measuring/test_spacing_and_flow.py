"""Spacing, times to flow and back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.base.errors import NotEnough, OutOfRange
from compute.measuring.beam import Layer, Medium, Pipe, trace
from compute.measuring.flow import flow_from_times, times_from_logged, times_from_mean_velocity
from compute.measuring.spacing import alternatives, calculate_spacing
from tests.compute.cases import STEEL, plastic_setup, recommend, steel_setup, transducers

velocities = st.floats(-8, 8).filter(lambda v: abs(v) > 1e-4)


def test_spacing_is_the_axial_advance_less_both_face_offsets() -> None:
    spacing = calculate_spacing(steel_setup())
    assert spacing.spacing == pytest.approx(spacing.path.axial_advance - 0.028, rel=1e-12)


def test_odd_traverses_are_mounted_on_opposite_sides_even_ones_on_the_same() -> None:
    assert [calculate_spacing(steel_setup(n)).sides for n in (1, 2, 3, 4)] == [
        "opposite",
        "same",
        "opposite",
        "same",
    ]


def test_alternatives_exclude_the_selected_number() -> None:
    assert [other.traverses for other in alternatives(steel_setup(2))] == [1, 3, 4]


def test_time_difference_per_velocity_is_that_of_the_flow_along_the_beam() -> None:
    setup = steel_setup()
    _, difference = times_from_mean_velocity(setup, 1.0)
    flow = flow_from_times(setup, trace(setup).transit_time, difference)
    per_velocity = calculate_spacing(setup).time_difference_per_velocity
    assert difference == pytest.approx(per_velocity * flow.path_velocity, rel=1e-12)


def test_two_traverses_are_recommended_where_they_fit() -> None:
    assert recommend(steel_setup(), None).traverses == 2


def test_four_are_recommended_on_a_small_pipe_and_one_on_a_large() -> None:
    small = replace(steel_setup(), pipe=Pipe(0.0337, Layer(0.0026, *STEEL), 45e-6))
    large = replace(steel_setup(), pipe=Pipe(1.6, Layer(0.012, *STEEL), 45e-6))
    assert recommend(small, None).traverses == 4
    assert recommend(large, None).traverses == 1


@pytest.mark.parametrize(
    "setup",
    [steel_setup(), steel_setup(1), plastic_setup(2), steel_setup(linings=(Layer(4e-3, 3700, 2200),))],
)
@given(velocity=velocities)
def test_there_and_back_gives_the_velocity(setup: object, velocity: float) -> None:
    transit_time, difference = times_from_mean_velocity(setup, velocity)  # type: ignore[arg-type]
    flow = flow_from_times(setup, transit_time, difference)  # type: ignore[arg-type]
    assert flow.mean_velocity == pytest.approx(velocity, rel=1e-9)
    assert flow.measured_sound_speed == pytest.approx(setup.medium.sound_speed, rel=1e-12)  # type: ignore[attr-defined]


@given(st.floats(0.1, 3.0))
def test_at_fixed_times_in_the_medium_flow_is_proportional_to_the_square_of_the_bore(scale: float) -> None:
    # Plug-like comparison: without roughness and with Re kept (viscosity scaled with the bore) the factor is the same.
    setup = steel_setup()
    bore = setup.pipe.bore * scale
    wider = replace(
        setup,
        pipe=Pipe(bore + 0.016, setup.pipe.wall, setup.pipe.roughness * scale),
        medium=replace(setup.medium, dynamic_viscosity=setup.medium.dynamic_viscosity * scale),
    )
    solids = trace(setup).time_in_solids
    one, other = (flow_from_times(s, solids + 300e-6 * max(scale, 1), 150e-9) for s in (setup, wider))
    assert other.volume_flow / one.volume_flow == pytest.approx(scale**2, rel=1e-9)


def test_swapping_the_time_difference_swaps_the_flow() -> None:
    setup = steel_setup()
    transit_time = trace(setup).transit_time
    forth, back = (flow_from_times(setup, transit_time, d).volume_flow for d in (120e-9, -120e-9))
    assert back == -forth


def test_an_array_of_readings_gives_the_values_of_each_reading() -> None:
    setup = steel_setup()
    transit = trace(setup).transit_time + np.array([0.0, 1e-8, -2e-8])
    difference = np.array([-5e-9, 0.0, 170e-9])
    together = flow_from_times(setup, transit, difference)
    for i in range(3):
        alone = flow_from_times(setup, float(transit[i]), float(difference[i]))
        assert together.volume_flow[i] == pytest.approx(alone.volume_flow, rel=1e-12, abs=1e-15)  # type: ignore[index]
        assert together.measured_sound_speed[i] == alone.measured_sound_speed  # type: ignore[index]


def test_a_transit_time_too_short_for_the_set_up_is_rejected_with_its_field() -> None:
    with pytest.raises(OutOfRange) as caught:
        flow_from_times(steel_setup(), 30e-6, 1e-9)
    assert caught.value.field == "readings.transit_time"


@given(velocities)
def test_logged_values_lead_back_to_the_times_of_the_meter(velocity: float) -> None:
    setup = steel_setup()
    transit, difference = times_from_mean_velocity(setup, velocity)
    again = times_from_logged(setup, flow_velocity=velocity, sound_speed=float(setup.medium.sound_speed))
    assert again[0] == pytest.approx(transit, rel=1e-12)
    assert again[1] == pytest.approx(difference, rel=1e-12)


def test_a_meter_with_a_wrong_bore_is_corrected_by_its_logged_velocity() -> None:
    true, entered = steel_setup(wall=0.008), steel_setup(wall=0.0063)
    transit, difference = times_from_mean_velocity(true, 1.2)
    shown = flow_from_times(entered, transit, difference)
    times = times_from_logged(
        entered, flow_velocity=float(shown.mean_velocity), sound_speed=float(shown.measured_sound_speed)
    )
    assert flow_from_times(true, *times).mean_velocity == pytest.approx(1.2, rel=1e-9)


def test_a_log_without_velocity_and_flow_names_the_missing_values() -> None:
    with pytest.raises(NotEnough):
        times_from_logged(steel_setup())


def test_a_negative_spacing_is_kept_for_a_finding() -> None:
    tiny = replace(
        steel_setup(2), pipe=Pipe(0.020, Layer(0.002, *STEEL), 45e-6), transducers=transducers(offset=0.02)
    )
    assert calculate_spacing(tiny).spacing < 0


def test_one_reading_and_a_medium_array_go_together() -> None:
    setup = replace(steel_setup(), medium=Medium(np.array([1500.0, 1550.0]), 1000.0, 1e-3))
    assert np.shape(calculate_spacing(setup).spacing) == (2,)
