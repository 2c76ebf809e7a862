"""Flow from times: limits, series, and logged values of a meter."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.base.errors import NumberInvalid, OutOfRange
from compute.measuring.beam import Medium, Real, Setup, trace
from compute.measuring.flow import bore_area, flow_from_times, times_from_logged, times_from_mean_velocity
from tests.compute.cases import plastic_setup, steel_setup, transducers


def flat_setup() -> Setup:
    """A beam flatter than 45 deg in the medium: a steep wedge and a fast, thick medium."""
    return replace(plastic_setup(), transducers=transducers(62.0, 2400.0), medium=Medium(2100.0, 1260.0, 1.4))


def test_a_beam_flatter_than_45_degrees_still_gives_back_its_sound_speed_and_velocity() -> None:
    setup = flat_setup()
    assert trace(setup).angle_in_medium > np.pi / 4
    flow = flow_from_times(setup, *times_from_mean_velocity(setup, 1.0))
    assert flow.measured_sound_speed == pytest.approx(2100.0, rel=1e-12)
    assert flow.mean_velocity == pytest.approx(1.0, rel=1e-9)


@given(st.floats(-2e-6, 2e-6), st.floats(1e-12, 1e-7))
def test_a_larger_time_difference_means_a_larger_flow(difference: float, step: float) -> None:
    setup = steel_setup()
    transit = trace(setup).transit_time
    less, more = (flow_from_times(setup, transit, d).volume_flow for d in (difference, difference + step))
    assert more > less


def test_a_time_difference_of_zero_is_zero_flow_with_the_laminar_factor() -> None:
    setup = steel_setup()
    flow = flow_from_times(setup, trace(setup).transit_time, 0.0)
    assert (flow.volume_flow, flow.reynolds, flow.profile_factor) == (0.0, 0.0, 0.75)


def test_media_and_readings_in_series_give_the_values_of_each_pair() -> None:
    media = Medium(np.array([1480.0, 1550.0]), np.array([998.0, 984.0]), np.array([1.0e-3, 4.8e-4]))
    together = replace(steel_setup(), medium=media)
    velocity = np.array([0.01, -2.0])
    flow = flow_from_times(together, *times_from_mean_velocity(together, velocity))
    for i, medium in enumerate((Medium(1480.0, 998.0, 1.0e-3), Medium(1550.0, 984.0, 4.8e-4))):
        one = replace(steel_setup(), medium=medium)
        alone = flow_from_times(one, *times_from_mean_velocity(one, float(velocity[i])))
        assert np.asarray(flow.volume_flow)[i] == pytest.approx(alone.volume_flow, rel=1e-13)
        assert np.asarray(flow.measured_sound_speed)[i] == pytest.approx(medium.sound_speed, rel=1e-13)


@pytest.mark.parametrize(
    ("transit", "difference", "name"), [(nan, 1e-8, "transit_time"), (3e-4, nan, "time_difference")]
)
def test_a_time_that_is_not_a_number_is_rejected_with_its_field(
    transit: float, difference: float, name: str
) -> None:
    with pytest.raises(NumberInvalid) as caught:
        flow_from_times(steel_setup(), np.array([3e-4, transit]), np.array([1e-8, difference]))
    assert caught.value.field == f"readings.{name}"


def test_a_logged_flow_leads_to_the_times_its_velocity_leads_to() -> None:
    setup = steel_setup()
    by_flow = times_from_logged(setup, volume_flow=1.2 * bore_area(setup))
    assert by_flow == pytest.approx(times_from_logged(setup, flow_velocity=1.2), rel=1e-13)


@pytest.mark.parametrize("speed", [0.0, -1500.0, nan, 4100.0, np.array([1500.0, 0.0])])
def test_an_impossible_logged_sound_speed_is_rejected_with_its_field(speed: Real) -> None:
    # The beam's axial speed is 2720 / sin 42 deg = 4065 m/s.
    with pytest.raises(OutOfRange) as caught:
        times_from_logged(steel_setup(), flow_velocity=1.0, sound_speed=speed)
    assert caught.value.field == "readings.sound_speed"


def test_without_a_logged_sound_speed_the_transit_time_follows_from_the_settings_of_the_meter() -> None:
    setup = steel_setup()
    transit, _ = times_from_logged(setup, flow_velocity=1.0)
    assert transit == trace(setup).transit_time
