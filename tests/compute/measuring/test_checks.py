"""Sanity checks: when they speak, and when they keep quiet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from math import radians
from typing import Any

import pytest

from compute.base.messages import Finding
from compute.library.pipe_sizes import pipe_sizes
from compute.measuring import pipe_checks, setup_checks
from compute.measuring.beam import trace
from compute.measuring.location import HAZARDS, Place, check_place, safety_notes
from compute.results import checks as checks_result
from compute.results.sound_speed import SoundSpeedTest
from tests.compute.cases import steel_setup, transducers

INCH = 0.0254


def codes(findings: list[Finding]) -> list[tuple[str, str]]:
    return [(finding.code, finding.severity) for finding in findings]


def given(finding: Finding) -> Mapping[str, Any]:
    """The parameters of a finding."""
    assert finding.message
    return finding.message.parameters


@pytest.mark.parametrize(
    ("outer", "material", "named"),
    [
        (8 * INCH, "carbon-steel", 0.219075),
        (2.5 * INCH, "carbon-steel", 0.073025),
        (0.200, "carbon-steel", 0.219075),
        (0.080, "ductile-iron", 0.098),
    ],
)
def test_a_nominal_size_entered_as_outer_diameter_is_named_with_the_true_one(
    outer: float, material: str, named: float
) -> None:
    [finding] = pipe_checks.nominal_size_as_outer_diameter(outer, material)
    assert (finding.code, finding.severity) == ("nominal-size-as-outer-diameter", "warning")
    assert pytest.approx(named) in [one["si"] for one in given(finding)["actual"]]


@pytest.mark.parametrize(
    ("outer", "material"),
    [
        (0.110, "hdpe"),
        (0.200, "hdpe"),
        (14 * INCH, "carbon-steel"),
        (0.2191, "carbon-steel"),
        (0.054, "copper"),
        (0.1234, "carbon-steel"),
    ],
)
def test_a_true_outer_diameter_that_is_a_round_number_is_left_alone(outer: float, material: str) -> None:
    assert pipe_checks.nominal_size_as_outer_diameter(outer, material) == []


def test_a_diameter_that_is_both_a_true_one_and_a_commoner_name_is_noted() -> None:
    # 4.000 in is the outer diameter of NPS 3 1/2; NPS 4, far more common, measures 4.500 in.
    [finding] = pipe_checks.nominal_size_as_outer_diameter(4 * INCH, "carbon-steel")
    assert (finding.code, finding.severity) == ("nominal-size-or-outer-diameter", "info")
    assert given(finding)["actual"] == [{"si": pytest.approx(4.5 * INCH), "kind": "length"}]
    assert given(finding)["true_sizes"] == ["NPS 3 1/2"]


def test_a_pipe_under_pressure_calls_for_a_safety_note() -> None:
    assert "pressure" in {note.code for note in safety_notes(300.0, "carbon-steel", (), 6e5)}
    assert "pressure" not in {note.code for note in safety_notes(300.0, "carbon-steel", (), 1.1e5)}


def test_a_wall_of_no_table_is_noted_with_the_nearest_and_one_of_the_tables_is_not() -> None:
    [finding] = pipe_checks.dimensions_in_tables(0.2191, 0.0068, "carbon-steel")
    assert finding.code == "wall-not-in-tables"
    assert given(finding)["nearest"]["si"] == pytest.approx(0.0071, abs=3e-4)
    assert pipe_checks.dimensions_in_tables(0.2191, 0.0063, "carbon-steel") == []


def test_a_wall_in_inches_typed_as_millimetres_is_very_thick() -> None:
    assert ("wall-very-thick", "warning") in codes(
        pipe_checks.dimensions_in_tables(0.0603, 0.0154, "carbon-steel")
    )


def test_no_pipe_of_the_tables_is_doubted_for_its_own_dimensions() -> None:
    # NPS 1/2 Sch 40 (21.3 mm, wall 2.77 mm) is thick beside its diameter, and a common pipe.
    questioned = [
        (size.standard, size.size, size.schedule)
        for size in pipe_sizes()
        if size.wall_thickness and pipe_checks.dimensions_in_tables(size.outer_diameter, size.wall_thickness)
    ]
    assert questioned == []


def test_a_diameter_of_no_table_is_noted() -> None:
    assert codes(pipe_checks.dimensions_in_tables(0.2500, 0.006, "carbon-steel")) == [
        ("outer-diameter-not-in-tables", "info")
    ]


def test_a_diameter_of_another_material_is_named_as_such() -> None:
    [finding] = pipe_checks.dimensions_in_tables(0.110, 0.006, "carbon-steel")
    assert given(finding)["other_sizes"] == ["ISO 4427 OD 110"]


def test_a_wall_that_differs_from_its_measurement_by_more_than_the_mill_tolerance_is_a_warning() -> None:
    # 6.3 mm less 12.5 % is 5.51 mm.
    assert codes(pipe_checks.wall_against_measurement(0.0063, 0.0055)) == [
        ("wall-differs-from-measurement", "warning")
    ]
    assert pipe_checks.wall_against_measurement(0.0063, 0.0056) == []
    assert codes(pipe_checks.wall_against_measurement(0.0063, None)) == [("wall-not-measured", "info")]


def test_transducers_beyond_their_temperatures_are_a_stop() -> None:
    assert codes(setup_checks.transducer_temperature(400.0, 253.0, 393.0)) == [
        ("transducer-temperature", "error")
    ]
    assert codes(setup_checks.transducer_temperature(240.0, 253.0, 393.0)) == [
        ("transducer-temperature", "error")
    ]
    assert setup_checks.transducer_temperature(331.0, 253.0, 393.0) == []


def test_faces_cannot_overlap_on_one_side_but_may_on_opposite_sides() -> None:
    assert codes(setup_checks.spacing_fits(-0.004, "same", None)) == [("spacing-too-small", "error")]
    assert setup_checks.spacing_fits(-0.004, "opposite", None) == []
    assert codes(setup_checks.spacing_fits(2.0, "opposite", 1.5)) == [("spacing-too-long", "warning")]


@pytest.mark.parametrize(
    ("velocity", "reynolds", "expected"),
    [
        (1.2, 2e5, []),
        (-1.2, 2e5, ["reverse-flow"]),
        (0.02, 3e3, ["velocity-low", "flow-transitional"]),
        (0.2, 1500.0, ["flow-laminar"]),
        (14.0, 2e6, ["velocity-high"]),
    ],
)
def test_velocity_and_regime(velocity: float, reynolds: float, expected: list[str]) -> None:
    assert [finding.code for finding in checks_result.velocity_sane(velocity, reynolds)] == expected


def test_a_velocity_within_its_uncertainty_is_neither_forward_nor_reverse_flow() -> None:
    for velocity in (-0.001, 0.0, 0.001):
        found = checks_result.velocity_sane(velocity, 100.0, 0.004)
        assert found[0].code == "flow-within-uncertainty-of-zero"
        assert "reverse-flow" not in [one.code for one in found]
    assert checks_result.velocity_sane(-0.006, 600.0, 0.004)[0].code == "reverse-flow"


def sound_speed(measured: float | None, relative_uncertainty: float = 0.003) -> SoundSpeedTest:
    return SoundSpeedTest(measured, 1482.0, relative_uncertainty, 1e-6, "pipe.wall_thickness")


@pytest.mark.parametrize(
    ("measured", "expected"),
    [
        (1482.0, ("sound-speed-consistent", "info")),
        (1500.0, ("sound-speed-inconsistent", "warning")),
        (1300.0, ("sound-speed-inconsistent", "error")),
    ],
)
def test_a_sound_speed_that_is_not_the_mediums_is_a_warning_and_far_off_an_error(
    measured: float, expected: tuple[str, str]
) -> None:
    assert codes(checks_result.sound_speed_fits(sound_speed(measured))) == [expected]


def test_the_limit_is_the_98_percent_interval_of_the_standard_uncertainty() -> None:
    # 1500/1482 - 1 = 1.21 %; 2.326 x 0.5 % = 1.16 %, 2.326 x 0.6 % = 1.40 %.
    assert not sound_speed(1500.0, 0.005).consistent
    assert sound_speed(1500.0, 0.006).consistent
    [finding] = checks_result.sound_speed_fits(sound_speed(1500.0, 0.006))
    assert given(finding)["limit"] == pytest.approx(0.01396, abs=1e-5)
    assert given(finding)["main_input"] == {"field": "pipe.wall_thickness"}


def test_a_time_too_short_for_a_sound_speed_is_not_consistent_and_has_no_deviation_to_report() -> None:
    assert not sound_speed(None).consistent
    assert checks_result.sound_speed_fits(sound_speed(None)) == []


def test_a_spacing_outside_the_rail_is_reported_with_its_limit() -> None:
    [long] = setup_checks.spacing_on_rail(0.45, 0.05, 0.42)
    assert (long.code, given(long)["limit"]["si"], given(long)["short"]) == (
        "spacing-not-possible",
        0.42,
        False,
    )
    [short] = setup_checks.spacing_on_rail(0.04, 0.05, None)
    assert (given(short)["limit"]["si"], given(short)["short"]) == (0.05, True)
    assert setup_checks.spacing_on_rail(0.42, 0.05, 0.42) == []
    assert setup_checks.spacing_on_rail(-0.01, None, None) == []


def near_critical(angle_deg: float) -> list[Finding]:
    setup = replace(steel_setup(), transducers=transducers(angle_deg))
    return setup_checks.near_critical_angle(setup, trace(setup))


def test_a_wedge_angle_near_the_critical_angle_of_the_wall_is_reported_with_the_change_of_the_spacing() -> (
    None
):
    [finding] = near_critical(57.1)
    assert (finding.code, finding.severity) == ("near-critical-angle", "warning")
    # Shear wave in steel behind a wedge of 2720 m/s: arcsin(2720/3235) = 57.225 deg.
    assert given(finding)["critical_angle"]["si"] == pytest.approx(radians(57.2251), abs=1e-5)
    assert given(finding)["layer"] == {"term": "wall"}
    stepped = replace(steel_setup(), transducers=transducers(57.15))
    advance = trace(replace(steel_setup(), transducers=transducers(57.1))).axial_advance
    assert given(finding)["change"]["si"] == pytest.approx(trace(stepped).axial_advance - advance, rel=1e-9)


def test_a_wedge_angle_whose_step_leaves_no_beam_is_reported_without_a_change() -> None:
    [finding] = near_critical(57.2)
    assert given(finding)["change"] is None


def test_a_wedge_angle_whose_step_changes_the_kind_of_wave_is_reported() -> None:
    # Longitudinal wave in steel behind a wedge of 2720 m/s: critical at arcsin(2720/5960) = 27.154 deg; above it the wave is a shear wave.
    for angle in (27.14, 27.17):
        [finding] = near_critical(angle)
        assert given(finding)["critical_angle"]["si"] == pytest.approx(radians(27.154), abs=1e-4)
        below, above = (
            trace(replace(steel_setup(), transducers=transducers(one))).axial_advance
            for one in (angle - 0.05, angle + 0.05)
        )
        assert given(finding)["change"]["si"] > 0.5 * abs(above - below)
    assert near_critical(28.0) == []


@pytest.mark.parametrize("angle_deg", [38.0, 42.0, 50.0, 55.0])
def test_a_usual_wedge_angle_is_not_reported(angle_deg: float) -> None:
    assert near_critical(angle_deg) == []


def test_a_mounted_spacing_is_compared_with_the_calculated_one() -> None:
    assert setup_checks.mounted_spacing(0.1600, 0.1605) == []
    assert codes(setup_checks.mounted_spacing(0.1590, 0.1606)) == [("spacing-wrong", "warning")]
    assert codes(setup_checks.mounted_spacing(0.1200, 0.1606)) == [("spacing-wrong", "error")]
    assert setup_checks.mounted_spacing(None, 0.1606) == []


def test_the_due_date_itself_still_counts() -> None:
    created, due = date(2025, 3, 1), date(2026, 3, 1)
    assert setup_checks.calibration_valid("meter M", created, due, due) == []
    assert codes(setup_checks.calibration_valid("meter M", created, due, date(2026, 3, 2))) == [
        ("calibration-expired", "warning")
    ]
    assert codes(setup_checks.calibration_valid("meter M", None, None, due)) == [
        ("calibration-missing", "warning")
    ]


def test_the_signal_is_compared_with_the_minimum_of_the_meter() -> None:
    assert codes(checks_result.signal_strong(15.0, 20.0)) == [("signal-weak", "warning")]
    assert checks_result.signal_strong(25.0, 20.0) == []
    assert checks_result.signal_strong(None, 20.0) == []


def test_rows_rejected_readings_impossible_and_readings_few() -> None:
    assert codes(checks_result.readings_sound(3895, 5, 0)) == [("rows-rejected", "info")]
    assert codes(checks_result.readings_sound(100, 50, 0)) == [("rows-rejected", "warning")]
    assert codes(checks_result.readings_sound(40, 0, 3)) == [
        ("readings-impossible", "warning"),
        ("readings-few", "warning"),
    ]


def test_a_flow_that_changed_much_is_a_warning_and_no_flow_at_all_is_not() -> None:
    assert codes(checks_result.flow_steady(0.010, 0.013)) == [("flow-unsteady", "warning")]
    assert checks_result.flow_steady(0.0, 0.0) == []


def test_a_short_straight_length_is_a_warning_with_the_recommended_length() -> None:
    place = Place("tee", 2.0, 2.0)
    [finding] = check_place(place, 0.2, 2)
    # JEMIS 032 (from memory): 50 diameters after a tee, 10 before the next disturbance.
    assert finding.code == "straight-length-short"
    assert given(finding)["needed"]["si"] == pytest.approx(50 * 0.2)
    assert finding.field == "measuring_point.upstream_straight_length"


def test_an_unknown_location_is_noted_and_a_good_location_is_not() -> None:
    assert codes(check_place(Place(), 0.2, 2)) == [("straight-length-unknown", "info")]
    assert check_place(Place("single-bend", 6.0, 2.5, "horizontal", "side", True), 0.2, 2) == []


def test_an_unknown_straight_length_is_noted_with_its_uncertainty() -> None:
    [one] = check_place(Place(), 0.2, 2)
    # Half-width 10.8 %, rectangular.
    assert given(one)["uncertainty"] == pytest.approx(0.108 / 3**0.5)


def test_gas_deposits_and_an_empty_pipe_are_thought_of() -> None:
    place = Place("single-bend", 6.0, 2.5, "horizontal", "top-or-bottom", False)
    assert [finding.code for finding in check_place(place, 0.2, 2)] == [
        "top-or-bottom-mounting",
        "partly-filled-pipe",
    ]
    assert [f.code for f in check_place(Place("single-bend", 6.0, 2.5, "downward"), 0.2, 2)] == [
        "partly-filled-pipe"
    ]


@pytest.mark.parametrize(("celsius", "contact"), [(45, "hours"), (58, "a-minute"), (90, "seconds")])
def test_a_hot_pipe_has_a_safety_note_with_the_time_of_contact_that_burns(
    celsius: float, contact: str
) -> None:
    found = {note.code: note.message for note in safety_notes(celsius + 273.15, "carbon-steel", ())}
    hot = found["hot-surface"]
    assert hot
    assert hot.parameters["contact"] == {"term": contact}
    assert hot.parameters["temperature"]["si"] > hot.parameters["threshold"]["si"]


def test_every_hazard_is_a_safety_note_and_the_last_note_is_about_the_permit() -> None:
    found = [note.code for note in safety_notes(250.0, "asbestos-cement", HAZARDS)]
    assert found == ["cold-surface", "asbestos-cement", *HAZARDS, "general"]
