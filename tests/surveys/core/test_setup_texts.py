"""Findings, safety notes and errors of pipe, medium, set-up and location in words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from compute.base.errors import ComputeError
from compute.base.units import parse_quantity
from compute.measuring import setup_checks
from compute.measuring.beam import choose_wave_mode, trace
from compute.measuring.conditions import Conditions, oval_findings
from compute.measuring.entries import MediumEntry, resolve_medium
from compute.measuring.location import Place, check_place, safety_notes
from compute.measuring.wall import WALL_CHECKS, wall_from_readings
from compute.results.survey import calculate_setup
from surveys.core.messages import Reader, error_text, findings_read, render
from surveys.core.messages.catalogue import CATALOGUE
from surveys.core.stored_quantities import findings_json
from tests.compute.cases import PAIR, PIPE, WATER, steel_setup, transducers

METRIC, US = Reader(), Reader("us")


def words(findings: object, reader: Reader = METRIC) -> list[str]:
    return [one["text"].replace("\xa0", " ") for one in findings_read(findings_json(findings), reader)]  # type: ignore[arg-type]


def test_a_wrong_spacing_is_given_with_the_required_one_and_the_direction() -> None:
    found = setup_checks.mounted_spacing(0.1590, 0.1606)
    assert words(found) == [
        "Transducer spacing is wrong. Mounted at 159.0 mm; required for this pipe 160.6 mm (1.60 mm too close). The signal is weaker. "
        "Check the recorded spacing. Remount at 160.6 mm and repeat the log."
    ]
    found = setup_checks.mounted_spacing(0.1590, 0.1606, -0.0042)
    assert "The calculation uses the mounted spacing: the flow changes by −0.42 %." in words(found)[0]
    assert "Mounted at 6.260 in; required for this pipe 6.323 in (0.063 in too close)." in words(found, US)[0]


def test_a_short_straight_length_is_given_in_diameters_with_the_recommended_length() -> None:
    found = check_place(Place("two-bends-out-of-plane", 3.0, 3.0, "horizontal", "side", True), 0.2055, 2)
    assert words(found) == [
        "Upstream straight length too short. 3.00 m (14.6 D) available; 25 D (5.14 m) recommended after two bends out of plane. The flow "
        "profile is disturbed. Choose another location, or measure on two diameters at 90° and increase the uncertainty."
    ]


def test_an_oval_pipe_and_an_uneven_wall_are_given_by_their_limits() -> None:
    assert words(oval_findings(Conditions(largest_diameter=0.221, smallest_diameter=0.217)))[0].startswith(
        "Pipe is out of round. The outer diameter is 217.0 mm to 221.0 mm. The flow of this pipe has an "
        "additional standard uncertainty of 0.01 %. The measured sound speed can differ by 0.9 %, because the path length is not known."
    )
    wall = wall_from_readings(
        [0.0051, 0.0080, 0.0071], gauge_uncertainty=1e-4, gauge_velocity_setting=None,
        wall_sound_speed=None, wall_sound_speed_uncertainty=0.0,
    )  # fmt: skip
    assert words(WALL_CHECKS.findings(wall)) == [
        "Wall thickness varies around the pipe. The readings are 5.10 mm to 8.00 mm, from wear or manufacture. Measure at more "
        "positions, including the transducer positions. Report the minimum of 5.10 mm to the owner of the pipe."
    ]


def test_limits_of_temperature_are_given_in_either_units() -> None:
    found = setup_checks.transducer_temperature(403.15, 253.15, 393.15)
    text = "Medium too hot for the transducers. The medium is at {}; the limit of these transducers is {}. Choose another transducer pair."
    assert words(found) == [text.format("130.0 °C", "120.0 °C")]
    assert words(found, US) == [text.format("266.0 °F", "248.0 °F")]


def test_the_recommended_number_of_traverses_is_given_with_the_reason_against_the_preferred_one() -> None:
    found = calculate_setup(PIPE, WATER, PAIR, traverses=None, expected_velocity=0.1).findings
    [chosen] = [one for one in found if one.code == "traverses-chosen"]
    assert words([chosen])[0].startswith(
        "Number of traverses recommended. 2 traverses unsuitable. The time difference is only "
    )
    assert words([chosen])[0].endswith(
        "The most suitable number is used. 4 traverses (W) are used: both transducers are on one side."
    )


def test_safety_notes_are_given_in_the_readers_unit() -> None:
    hot, pressure, _ = safety_notes(344.15, "carbon-steel", (), 601_325.0)
    assert hot.message
    assert pressure.message
    assert render(hot.message).detail.replace("\xa0", " ") == (
        "The pipe may be at 71 °C. From 60 °C, bare metal burns skin within about 5 s of contact."
    )
    assert "at 160 °F. From 140 °F," in render(hot.message, US).detail.replace("\xa0", " ")
    assert "about 5.0 bar." in render(pressure.message).detail.replace("\xa0", " ")
    assert "about 73 psi." in render(pressure.message, US).detail.replace("\xa0", " ")


def test_a_beam_that_no_wave_carries_is_given_with_the_wedge_angle() -> None:
    with pytest.raises(ComputeError) as caught:
        choose_wave_mode(steel_setup().pipe.wall, transducers(80.0))
    assert error_text(caught.value).replace("\xa0", " ").startswith("No shear wave propagates in the wall: ")


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        (
            MediumEntry("watre", 300.0, "measured"),
            "The library has no medium “watre”. Similar names: water",
        ),
        (
            MediumEntry("water", 900.0, "measured"),
            "Temperature of the medium 626.9 °C is outside the property data of Water. Enter a value from 0 °C to ",
        ),
        (
            MediumEntry("seawater", 300.0, "measured"),
            "The salinity of Seawater is missing. Enter the salinity.",
        ),
    ],
)
def test_an_error_of_the_medium_names_the_range_or_similar_names(entry: MediumEntry, text: str) -> None:
    with pytest.raises(ComputeError) as caught:
        resolve_medium(entry)
    assert error_text(caught.value).replace("\xa0", " ").startswith(text)


def test_every_disturbance_of_the_table_has_a_word() -> None:
    from compute.measuring.location import UNKNOWN, straight_lengths
    from surveys.core.messages.terms import TERMS

    assert straight_lengths().keys() - {UNKNOWN} <= TERMS.keys()
    assert "straight-length-short" in CATALOGUE


@pytest.mark.parametrize(
    ("entered", "kind", "text"),
    [
        (219.1, "length", "“219.1” has no unit. Enter a number with one of these units: mm, cm, m, "),
        ("58 mm", "temperature", "“mm” is a unit of length. Enter a number with one of these units: degC, degF, K."),
        ("5 furlong", "length", "“furlong” is not a known unit."),
        ("5 bar(g)", "pressure", "“bar(g)” is a unit of gauge pressure. Enter the absolute pressure in "),
        ("1,5 m", "length", "“1,5 m” can be read in two ways. Enter a decimal point, as in 1.5, and no thousands separator."),
        ("8 9/8 in", "length", "“8 9/8” is not a proper fraction. Enter a fraction below 1 with a denominator of at most 128."),
        ({"value": 1, "kind": "mm"}, "length", "The object has missing or unknown keys. Send the keys value and unit and no others."),
    ],
)  # fmt: skip
def test_an_error_of_a_quantity_states_the_valid_input(entered: object, kind: str, text: str) -> None:
    with pytest.raises(ComputeError) as caught:
        parse_quantity(entered, kind)
    assert error_text(caught.value).replace("\xa0", " ").startswith(text)


def test_a_near_critical_wedge_angle_is_given_with_the_change_of_the_spacing() -> None:
    setup = replace(steel_setup(), transducers=transducers(57.1))
    assert words(setup_checks.near_critical_angle(setup, trace(setup))) == [
        "Wedge angle is near the critical angle. In the wall the beam is at 87.0°; the wedge angle of 57.10° is near the critical angle "
        "of 57.23°. A step of 0.05° in the wedge angle changes the spacing of 495 mm by 88 mm. Check the wedge angle on the transducers, "
        "or select a transducer pair with a smaller wedge angle."
    ]


def test_a_spacing_outside_the_rail_is_given_with_its_limit() -> None:
    assert words(setup_checks.spacing_on_rail(0.45, 0.05, 0.42)) == [
        "Rail does not allow the spacing. The spacing of 450.0 mm is above the maximum of the rail, 420.0 mm. Select another number of "
        "traverses or another transducer pair."
    ]
