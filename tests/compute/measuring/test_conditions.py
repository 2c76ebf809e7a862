"""Expanded dimensions, a warm wedge, an oval pipe."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import pytest

from compute.base.errors import NotEnough, OutOfRange
from compute.measuring.conditions import (
    Conditions,
    default_wedge_coefficient,
    expanded_pipe,
    oval_findings,
    oval_share,
    warm_wedge,
    wedge_gradient_uncertainty,
)
from compute.measuring.flow import flow_from_times
from tests.compute.cases import steel_setup, transducers


def test_a_steel_pipe_of_200_mm_grows_a_tenth_of_a_millimetre_for_40_kelvin() -> None:
    # 12e-6 /K x 40 K = 4.8e-4; of 219.1 mm 0.105 mm.
    pipe, findings = expanded_pipe(steel_setup().pipe, 12e-6, Conditions(333.15, 293.15))
    assert pipe.outer_diameter == pytest.approx(0.2191 + 0.000105, abs=1e-6)
    assert pipe.bore == pytest.approx(steel_setup().pipe.bore * 1.00048)
    assert [finding.code for finding in findings] == ["dimensions-expanded"]


def test_dimensions_without_a_temperature_are_used_unchanged() -> None:
    pipe, findings = expanded_pipe(steel_setup().pipe, 12e-6, Conditions(333.15))
    assert pipe == steel_setup().pipe
    assert findings == []


def test_thermal_expansion_requires_an_expansion_coefficient() -> None:
    with pytest.raises(NotEnough):
        expanded_pipe(steel_setup().pipe, None, Conditions(333.15, 293.15))


def test_a_warm_wedge_is_slower_and_reported() -> None:
    # -2.5 m/s a kelvin over 38 K: 2720 - 95 = 2625 m/s.
    warm, findings = warm_wedge(transducers(), -2.5, 293.15, 331.15)
    assert warm.wedge_sound_speed == pytest.approx(2625.0)
    assert [finding.code for finding in findings] == ["wedge-temperature-assumed"]
    assert warm_wedge(transducers(), None, None, None) == (transducers(), [])


def test_a_wedge_without_a_coefficient_has_that_of_its_plastic_and_a_finding_states_the_effect() -> None:
    # 2720 m/s is the sound speed of PMMA, -2.5 m/s a kelvin: 38 K make 2625 m/s, 3.5 % less, and so is the flow.
    warm, [finding] = warm_wedge(transducers(), None, None, 331.15)
    assert warm.wedge_sound_speed == pytest.approx(2625.0)
    assert (finding.code, finding.severity) == ("wedge-coefficient-default", "warning")
    assert finding.parameters is not None
    assert finding.parameters["plastic"] == "PMMA (acrylic)"
    assert finding.parameters["flow_change"] == pytest.approx(-95 / 2720)
    at_times = [
        flow_from_times(replace(steel_setup(), transducers=pair), 3.1e-4, 1.7e-7).volume_flow
        for pair in (transducers(), warm)
    ]
    # The part of the time that is in the solids changes a little as well.
    assert at_times[1] / at_times[0] - 1 == pytest.approx(-95 / 2720, abs=2.5e-3)


@pytest.mark.parametrize(
    ("speed", "per_kelvin", "uncertainty"),
    [(2730.0, -2.5, 0.5), (2580.0, -2.2, 0.44), (2424.0, -1.8, 0.36), (2240.0, -2.0, 0.8)],
)
def test_the_default_coefficient_follows_the_sound_speed_of_the_wedge(
    speed: float, per_kelvin: float, uncertainty: float
) -> None:
    found = default_wedge_coefficient(speed)
    assert found.per_kelvin == per_kelvin
    assert found.standard_uncertainty == pytest.approx(uncertainty)


def test_a_wedge_at_the_reference_temperature_is_unchanged() -> None:
    assert warm_wedge(transducers(), None, None, 293.15) == (transducers(), [])


def test_the_gradient_of_a_hot_wedge_is_a_tenth_of_its_difference_from_ambient() -> None:
    assert wedge_gradient_uncertainty(293.15) == 0
    assert wedge_gradient_uncertainty(453.15) == pytest.approx(16.0)


def test_an_impossible_wedge_is_rejected() -> None:
    with pytest.raises(NotEnough):
        warm_wedge(transducers(), -2.5, None, 331.15)
    with pytest.raises(OutOfRange):
        warm_wedge(transducers(), -2500.0, 293.15, 331.15)


def test_an_out_of_round_pipe_keeps_its_area_but_not_its_path() -> None:
    conditions = Conditions(largest_diameter=0.2213, smallest_diameter=0.2169)
    [finding] = oval_findings(conditions)
    assert finding.code == "pipe-out-of-round"
    share = oval_share(conditions)
    mean = (0.2213 + 0.2169) / 2
    assert pi / 4 * 0.2213 * 0.2169 == pytest.approx(pi / 4 * mean**2 * (1 - share**2), rel=1e-12)
    assert share == pytest.approx(0.01, rel=0.01)


def test_a_round_pipe_has_no_finding_and_diameters_in_the_wrong_order_are_rejected() -> None:
    assert oval_findings(Conditions(largest_diameter=0.2192, smallest_diameter=0.2190)) == []
    with pytest.raises(OutOfRange):
        oval_findings(Conditions(largest_diameter=0.2, smallest_diameter=0.3))
