"""The flow equation against a plane wave carried along by the flow, in closed form.

The wedges send and receive one axial slowness p. In a medium moving at v along the axis a wave of axial slowness p has
the total slowness (1 - v p)/c, so its slowness along the radius is q(v) = sqrt(((1 - v p)/c)^2 - p^2), and between two
points an advance X and a crossing Y apart its phase takes p X + q(v) Y: downstream q(v), upstream q(-v).
Derived here from the wave equation in a moving medium; it shares no step with the program's formulas.
"""

from __future__ import annotations

from dataclasses import replace
from math import sin, sqrt, tan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.measuring.beam import Medium, Setup, trace
from compute.measuring.flow import flow_from_times
from tests.compute.cases import plastic_setup, steel_setup


def plane_wave_times(setup: Setup, velocity: float) -> tuple[float, float]:
    """Upstream and downstream time through the medium."""
    wedge, sound = setup.transducers, float(setup.medium.sound_speed)
    p = sin(wedge.wedge_angle) / wedge.wedge_sound_speed
    crossing = setup.traverses * setup.pipe.bore
    advance = crossing * p * sound / sqrt(1 - (p * sound) ** 2)
    upstream, downstream = (
        p * advance + crossing * sqrt(((1 - v * p) / sound) ** 2 - p**2) for v in (-velocity, velocity)
    )
    return upstream, downstream


SETUPS = st.sampled_from([steel_setup(1), steel_setup(2), steel_setup(4), plastic_setup(1)])


@given(setup=SETUPS, velocity=st.floats(0.5, 10.0), sound=st.floats(1000.0, 1900.0))
def test_the_flow_equation_gives_back_the_velocity_that_carried_the_wave(
    setup: Setup, velocity: float, sound: float
) -> None:
    setup = replace(setup, medium=Medium(sound, 1000.0, 1e-3))
    upstream, downstream = plane_wave_times(setup, velocity)
    solids = trace(setup).time_in_solids
    flow = flow_from_times(setup, solids + (upstream + downstream) / 2, upstream - downstream)
    # Left out: terms of (v/c)^2, whose factor is below 0.1 up to 30 deg in the medium; 1e-10 is rounding of the difference.
    allowed = 0.1 * (velocity / sound) ** 2 + 1e-10
    assert flow.path_velocity == pytest.approx(velocity, rel=allowed)
    assert flow.measured_sound_speed == pytest.approx(sound, rel=allowed)


def test_the_neglected_term_of_the_flow_equation_has_the_size_of_its_series() -> None:
    # Series of the closed form: velocity high by (v p)^2 tan^2 (1 / (2 cos^2) + 1/2).
    setup, velocity = steel_setup(2), 10.0
    path = trace(setup)
    angle = float(path.angle_in_medium)
    expected = (velocity * path.axial_slowness) ** 2 * tan(angle) ** 2 * (1 + 0.5 * tan(angle) ** 2)
    upstream, downstream = plane_wave_times(setup, velocity)
    flow = flow_from_times(setup, path.time_in_solids + (upstream + downstream) / 2, upstream - downstream)
    assert flow.path_velocity / velocity - 1 == pytest.approx(expected, rel=1e-3)
