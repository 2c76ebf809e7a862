"""A true pipe is measured by the forward model, entered wrongly in one way, and the diagnosis has to find that way.

The expected figures are the true ones, from which the transit time was made.
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin, sqrt

import pytest

from compute.base.errors import OutOfRange, UnknownName
from compute.measuring.entries import LiningEntry, MaterialEntry, MediumEntry, PipeEntry
from compute.results.diagnosis import (
    Diagnosis,
    PossibleCause,
    case_of_sound_speed,
    diagnose,
    sound_speed_test_of_case,
)
from compute.results.entry_error_kinds import candidates_by_kind
from compute.results.entry_errors import (
    CandidateError,
    Case,
    calculated_spacing,
    roots,
    spacing_differs,
    transit_time_of,
)
from compute.results.uncertainty import InputUncertainty
from tests.compute.cases import transducers

PIPE = PipeEntry(0.2191, 0.008, MaterialEntry("carbon-steel"), roughness=45e-6)
WATER = MediumEntry("water", 331.15, "measured", 6e5)
TRUE = Case(PIPE, WATER, transducers(), 2, 0.0)
MORTAR = LiningEntry(MaterialEntry("cement-mortar"), 0.006)
# The sound speed of mortar is known to some percent only; that of a plastic to one.
LINING = LiningEntry(MaterialEntry("", 2600.0, 1200.0, 1e-5), 0.008)
# Pipe taped and wall gauged: what is left to suspect is elsewhere.
MEASURED_DIMENSIONS = {
    "pipe.outer_diameter": InputUncertainty(3e-4),
    "pipe.wall_thickness": InputUncertainty(1e-4),
}


def entered(true: Case, wrong: Case) -> Case:
    """What was entered, with the time the true set-up takes."""
    return replace(wrong, transit_time=transit_time_of(true))


def with_pipe(case: Case = TRUE, **changes: object) -> Case:
    return replace(case, pipe=replace(case.pipe, **changes))  # type: ignore[arg-type]


def candidate_errors(case: Case) -> list[CandidateError]:
    return [candidate for kind in candidates_by_kind(case).values() for candidate in kind]


def first(true: Case, wrong: Case, stated: dict[str, InputUncertainty] | None = None) -> PossibleCause:
    return diagnose(entered(true, wrong), stated).possible_causes[0]


def by_field(diagnosis: Diagnosis, field: str) -> PossibleCause:
    return next(one for one in diagnosis.possible_causes if one.candidate.field == field)


def test_a_right_entry_fits_and_needs_no_explanation() -> None:
    diagnosis = diagnose(entered(TRUE, TRUE))
    assert diagnosis.consistent
    assert diagnosis.possible_causes == ()
    assert diagnosis.findings == ()
    assert diagnosis.measured_sound_speed == pytest.approx(diagnosis.expected_sound_speed, rel=1e-9)


def test_a_nominal_size_entered_as_outer_diameter_is_found() -> None:
    found = first(TRUE, with_pipe(outer_diameter=0.200))
    assert found.candidate.field == "pipe.outer_diameter"
    assert found.candidate.implied_value.value == pytest.approx(0.2191)
    assert found.probability > 0.9


def test_a_diameter_of_another_size_is_found() -> None:
    found = first(with_pipe(outer_diameter=0.273), TRUE)
    assert (found.candidate.field, found.candidate.implied_value.value) == (
        "pipe.outer_diameter",
        pytest.approx(0.273),
    )


def test_a_mistaped_diameter_is_solved_with_the_nearest_standard() -> None:
    found = by_field(diagnose(entered(with_pipe(outer_diameter=0.2240), TRUE)), "pipe.outer_diameter")
    assert found.candidate.implied_value.value == pytest.approx(0.2240, rel=1e-6)
    assert found.candidate.nearest_standard is not None
    assert found.candidate.nearest_standard.outer_diameter == pytest.approx(0.2191, abs=1e-4)


@pytest.mark.parametrize("wall", [0.0048, 0.0127])
def test_a_corroded_wall_and_another_schedule_are_found(wall: float) -> None:
    found = first(with_pipe(wall_thickness=wall), TRUE)
    assert found.candidate.field == "pipe.wall_thickness"
    assert found.candidate.implied_value.value == pytest.approx(wall, rel=0.03)


def test_a_solved_wall_names_the_nearest_schedule() -> None:
    diagnosis = diagnose(entered(with_pipe(wall_thickness=0.0125), TRUE))
    found = next(one for one in diagnosis.possible_causes if one.candidate.kind == "wall")
    assert found.candidate.implied_value.value == pytest.approx(0.0125, rel=1e-6)
    assert found.candidate.nearest_standard is not None
    assert found.candidate.nearest_standard.wall_thickness in (pytest.approx(0.0125), pytest.approx(0.0127))


def test_a_lining_that_was_not_entered_is_solved_once_pipe_and_wall_are_measured() -> None:
    diagnosis = diagnose(entered(with_pipe(lining=MORTAR), TRUE), MEASURED_DIMENSIONS)
    assert diagnosis.possible_causes[0].candidate.field == "pipe.lining"
    mortar = next(
        one for one in diagnosis.possible_causes if one.candidate.implied_value.material == "cement-mortar"
    )
    assert mortar.candidate.implied_value.value == pytest.approx(0.006, rel=1e-6)


def test_a_lining_that_is_not_there_is_found() -> None:
    found = first(TRUE, with_pipe(lining=LINING))
    assert (found.candidate.field, found.candidate.implied_value.value) == ("pipe.lining", None)


def test_a_lining_of_another_thickness_is_solved() -> None:
    thick = with_pipe(lining=replace(LINING, thickness=0.014))
    found = by_field(diagnose(entered(thick, with_pipe(lining=LINING))), "pipe.lining.thickness")
    assert found.candidate.implied_value.value == pytest.approx(0.014, rel=1e-6)


def test_another_material_of_a_thick_wall_is_among_the_first() -> None:
    # On a small thick pipe the wall's own time counts: 25 mm of LDPE (1950 m/s) for PVC-U (2380 m/s).
    thick = with_pipe(replace(TRUE, traverses=1), outer_diameter=0.11, wall_thickness=0.025)
    soft, hard = (with_pipe(thick, material=MaterialEntry(name)) for name in ("ldpe", "pvc-u"))
    diagnosis = diagnose(
        entered(soft, hard), {**MEASURED_DIMENSIONS, "transducers.wedge_delay": InputUncertainty(1e-8)}
    )
    materials = [
        one.candidate.implied_value.value
        for one in diagnosis.possible_causes
        if one.candidate.field == "pipe.material"
    ]
    assert "ldpe" in materials[:3]


def test_the_other_wave_in_the_wall_is_found() -> None:
    plastic = PipeEntry(0.160, 0.0077, MaterialEntry("pvc-u"))
    true = replace(TRUE, pipe=plastic, medium=MediumEntry("water", 293.15), traverses=1)
    found = first(true, with_pipe(true, wave_mode="shear"))
    assert (found.candidate.field, found.candidate.implied_value.value) == ("pipe.wave_mode", "longitudinal")


def test_another_medium_is_found() -> None:
    true = replace(TRUE, medium=MediumEntry("ethanol", 293.15))
    found = first(true, replace(TRUE, medium=MediumEntry("water", 293.15)))
    assert (found.candidate.field, found.candidate.implied_value.value) == ("medium", "ethanol")


def test_another_concentration_is_solved() -> None:
    glycol = MediumEntry("propylene-glycol-water", 293.15, mass_fraction=0.1)
    true = replace(TRUE, medium=replace(glycol, mass_fraction=0.4))
    diagnosis = diagnose(entered(true, replace(TRUE, medium=glycol)), MEASURED_DIMENSIONS)
    assert by_field(diagnosis, "medium.mass_fraction").candidate.implied_value.value == pytest.approx(
        0.4, rel=1e-6
    )


def test_another_temperature_comes_first_once_pipe_wall_and_wedge_are_measured() -> None:
    cold = replace(WATER, temperature=303.15)
    wedge = {
        "transducers.wedge_angle": InputUncertainty(radians(0.1)),
        "transducers.wedge_sound_speed": InputUncertainty(5.0),
        "transducers.wedge_delay": InputUncertainty(1e-8),
    }
    unlined = with_pipe(outer_diameter=0.0603, wall_thickness=0.0039)
    found = first(unlined, replace(unlined, medium=cold), MEASURED_DIMENSIONS | wedge)
    assert found.candidate.field == "medium.temperature"
    assert found.candidate.implied_value.value == pytest.approx(331.15, abs=1e-3)


def test_water_gives_both_temperatures_on_either_side_of_its_fastest() -> None:
    # Water is fastest near 74 degC (IAPWS-95), so a sound speed below that belongs to two temperatures.
    hot = replace(TRUE, medium=replace(WATER, temperature=323.15))
    case = entered(hot, replace(TRUE, medium=replace(WATER, temperature=293.15)))
    found = [
        candidate.implied_value.value
        for candidate in candidate_errors(case)
        if candidate.field == "medium.temperature"
    ]
    assert len(found) == 2
    assert found[0] == pytest.approx(323.15, abs=1e-3)
    assert isinstance(found[1], float)
    assert found[1] > 347.15


@pytest.mark.parametrize("count", [1, 3, 4, 8])
def test_a_wrong_number_of_traverses_is_found(count: int) -> None:
    found = first(TRUE, replace(TRUE, traverses=count))
    assert (found.candidate.field, found.candidate.implied_value.value) == ("traverses", 2)


def test_a_wall_in_inches_is_found() -> None:
    small = with_pipe(outer_diameter=0.0603, wall_thickness=0.0039)
    found = first(with_pipe(small, wall_thickness=0.0039), with_pipe(small, wall_thickness=0.0039 / 25.4))
    assert found.candidate.field == "pipe.wall_thickness"
    assert found.candidate.implied_value.value == pytest.approx(0.0039, rel=0.02)


def test_a_diameter_in_inches_is_found() -> None:
    small = with_pipe(wall_thickness=0.0012, outer_diameter=0.2191)
    found = first(small, with_pipe(small, outer_diameter=0.2191 / 25.4))
    assert found.candidate.kind in {"inches", "other-size"}
    assert found.candidate.implied_value.value == pytest.approx(0.2191, rel=1e-3)


def test_another_wedge_delay_is_solved() -> None:
    wrong = replace(TRUE, transducers=replace(TRUE.transducers, wedge_delay=5e-6))
    candidate = next(one for one in candidate_errors(entered(TRUE, wrong)) if one.kind == "wedge-delay")
    assert candidate.implied_value.value == pytest.approx(9.8e-6, rel=1e-9)


def test_a_misread_spacing_is_solved() -> None:
    off = 0.020
    diagnosis = diagnose(entered(replace(TRUE, spacing_off=off), TRUE), MEASURED_DIMENSIONS)
    found = by_field(diagnosis, "spacing").candidate
    assert isinstance(found.implied_value.value, float)
    assert isinstance(found.entered.value, float)
    assert found.implied_value.value - found.entered.value == pytest.approx(off, rel=1e-9)


def test_a_mounted_spacing_that_differs_from_the_calculated_one_is_considered_first() -> None:
    # Mounted as calculated, but read 20 mm long: without the error the entries agree.
    read = replace(TRUE, mounted_spacing=calculated_spacing(TRUE) + 0.020)
    assert spacing_differs(read) == pytest.approx(0.020)
    found = diagnose(entered(TRUE, read)).possible_causes[0]
    assert found.candidate.field == "spacing"
    assert found.candidate.implied_value.value == pytest.approx(calculated_spacing(TRUE), rel=1e-9)
    assert found.message.parameters["spacing_entered"] is True


@pytest.mark.parametrize(
    ("name", "right", "field"),
    [
        ("wedge_angle", radians(33), "transducers.wedge_angle"),
        ("wedge_sound_speed", 2250.0, "transducers.wedge_sound_speed"),
    ],
)
def test_another_wedge_is_solved(name: str, right: float, field: str) -> None:
    true = replace(TRUE, transducers=replace(TRUE.transducers, **{name: right}))  # type: ignore[arg-type]
    diagnosis = diagnose(entered(true, TRUE), MEASURED_DIMENSIONS)
    assert by_field(diagnosis, field).candidate.implied_value.value == pytest.approx(right, rel=1e-9)
    pair = by_field(diagnosis, "transducers").candidate
    speed, angle = float(true.transducers.wedge_sound_speed), float(true.transducers.wedge_angle)
    assert pair.implied_value.value == pytest.approx(speed / sin(angle), rel=1e-9)


def test_more_than_one_wrong_entry_is_a_possible_cause_without_a_value() -> None:
    true = with_pipe(replace(TRUE, medium=replace(WATER, temperature=303.15)), wall_thickness=0.0060)
    diagnosis = diagnose(entered(true, TRUE))
    found = by_field(diagnosis, "several")
    assert found.candidate.implied_value.value is None
    assert found.effect_on_flow is None
    assert found.probability > 0.02
    assert diagnosis.possible_causes[0].probability < 0.6


def test_each_field_is_one_possible_cause() -> None:
    fields = [
        one.candidate.field
        for one in diagnose(entered(with_pipe(wall_thickness=0.0048), TRUE)).possible_causes
    ]
    assert len(fields) == len(set(fields))


def test_an_outer_diameter_of_no_standard_is_the_first_suspect() -> None:
    # 224.0 mm is not a standard size of steel pipe, 219.1 mm is one (EN 10220); 2.2 % of the diameter is 2.4 % of the bore.
    found = first(TRUE, with_pipe(outer_diameter=0.2240))
    assert found.candidate.field == "pipe.outer_diameter"
    assert found.candidate.implied_value.value == pytest.approx(0.2191, rel=2e-3)
    assert found.probability > 0.5


def test_the_sound_speed_of_a_medium_entered_by_value_is_a_possible_cause() -> None:
    stated = MediumEntry(sound_speed=1482.0, density=998.0, dynamic_viscosity=1e-3)
    true = replace(TRUE, medium=replace(stated, sound_speed=1550.0))
    diagnosis = diagnose(entered(true, replace(TRUE, medium=stated)), MEASURED_DIMENSIONS)
    assert by_field(diagnosis, "medium.sound_speed").candidate.implied_value.value == pytest.approx(
        1550.0, rel=1e-6
    )


def test_probabilities_and_other_cause_probability_sum_to_one() -> None:
    diagnosis = diagnose(entered(with_pipe(wall_thickness=0.0048), TRUE))
    total = sum(one.probability for one in diagnosis.possible_causes) + diagnosis.other_cause_probability
    assert total == pytest.approx(1.0, abs=0.01)
    ranked = [one.probability for one in diagnosis.possible_causes]
    assert ranked == sorted(ranked, reverse=True)


def test_a_measured_wall_is_a_less_probable_cause() -> None:
    case = entered(with_pipe(wall_thickness=0.0048), TRUE)
    unsure, sure = (
        sum(
            one.probability for one in diagnose(case, stated).possible_causes if "wall" in one.candidate.field
        )
        for stated in (None, {"pipe.wall_thickness": InputUncertainty(5e-5)})
    )
    assert sure < unsure / 3


def test_the_corrected_flow_follows_the_bore_squared() -> None:
    # At fixed times the flow goes with bore^2/time in the medium; the wall is the same, so its time is.
    found = first(TRUE, with_pipe(outer_diameter=0.200))
    assert found.effect_on_flow == pytest.approx((203.1 / 184.0) ** 2 - 1, abs=2e-3)


def test_the_sound_speed_the_meter_showed_gives_its_time_by_hand() -> None:
    c, p, bore = 1400.0, sin(radians(42)) / 2720, 0.2031
    # Steel at 58 degC: 3235 m/s less 38 K times 0.5 m/s/K.
    steel = 2 * 0.008 / (3216 * sqrt(1 - (p * 3216) ** 2))
    time = 2 * bore / (c * sqrt(1 - (p * c) ** 2)) + steel + 2 * 9.8e-6
    assert case_of_sound_speed(TRUE, c).transit_time == pytest.approx(time, rel=1e-12)


def test_an_impossible_sound_speed_is_rejected() -> None:
    with pytest.raises(OutOfRange) as rejected:
        case_of_sound_speed(TRUE, 5000.0)
    assert rejected.value.field == "measured_sound_speed"


def test_a_time_too_short_for_any_sound_speed_still_gets_an_explanation() -> None:
    diagnosis = diagnose(entered(TRUE, replace(TRUE, traverses=6)))
    assert not diagnosis.consistent
    assert diagnosis.measured_sound_speed is None
    assert diagnosis.possible_causes[0].candidate.implied_value.value == 2


def test_an_input_without_effect_on_the_time_is_rejected() -> None:
    with pytest.raises(UnknownName) as rejected:
        diagnose(entered(TRUE, TRUE), {"pipe.roughness": InputUncertainty(1e-6)})
    assert rejected.value.field == "inputs.pipe.roughness"


def test_large_entered_uncertainties_make_a_small_mismatch_consistent() -> None:
    case = entered(with_pipe(outer_diameter=0.2240), TRUE)
    assert not diagnose(case).consistent
    assert diagnose(case, {"pipe.outer_diameter": InputUncertainty(0.004)}).consistent


def test_an_entered_uncertainty_of_a_library_medium_widens_the_limit() -> None:
    case = entered(TRUE, replace(TRUE, medium=replace(WATER, temperature=313.15)))
    assert not diagnose(case).consistent
    assert diagnose(case, {"medium.sound_speed": InputUncertainty(0.02, relative=True)}).consistent


def test_the_uncertainty_of_a_delay_counts_for_both_wedges() -> None:
    # All other doubts made 0: what is left is twice the delay's.
    nothing = InputUncertainty(0.0)
    stated = dict.fromkeys(
        ("pipe.outer_diameter", "pipe.wall_thickness", "transducers.wedge_angle", "transducers.wedge_sound_speed",
         "pipe.wall_sound_speed", "spacing", "medium.sound_speed", "readings.transit_time"), nothing,
    )  # fmt: skip
    by_value = replace(TRUE, medium=MediumEntry(sound_speed=1500.0, density=998.0, dynamic_viscosity=1e-3))
    by_value = replace(by_value, transit_time=transit_time_of(by_value))
    test = sound_speed_test_of_case(by_value, stated | {"transducers.wedge_delay": InputUncertainty(1e-7)})
    assert test.time_uncertainty == pytest.approx(2e-7, rel=1e-6)


def test_roots_are_found_on_both_sides_of_a_turning_point() -> None:
    # cos x = 0.5 at pi/3 and 5 pi/3.
    found = roots(cos, 0.5, [0.0, 2.0, 4.0, 6.0])
    assert found == [pytest.approx(1.0471975512), pytest.approx(5.2359877560)]


def test_an_unexplained_time_is_left_to_other_causes() -> None:
    diagnosis = diagnose(replace(TRUE, transit_time=1.0))
    assert diagnosis.possible_causes == ()
    assert diagnosis.other_cause_probability == 1.0


def test_impossible_corrections_are_left_out() -> None:
    case = entered(with_pipe(wall_thickness=0.0048), TRUE)
    assert all(candidate.case.pipe.bore > 0 for candidate in candidate_errors(case))
    assert not [candidate for candidate in candidate_errors(case) if candidate.kind == "lining"]


def test_water_entered_as_ethanol_is_more_probable_than_an_extreme_wall() -> None:
    ethanol = replace(TRUE, medium=MediumEntry("ethanol", 293.15, "measured", 6e5))
    water = replace(TRUE, medium=replace(WATER, temperature=293.15))
    found = first(water, ethanol)
    assert (found.candidate.field, found.candidate.implied_value.value) == ("medium", "water")


def test_a_lining_near_its_critical_angle_has_one_sided_sensitivities() -> None:
    # Axial speed 2720/sin 42 deg = 4065.0 m/s: a wave of 4064.9 m/s passes, one that is 0.01 % faster does not.
    near = LiningEntry(MaterialEntry("", 4064.9, 2000.0, 1e-5), 0.004)
    case = with_pipe(lining=near)
    test = sound_speed_test_of_case(replace(case, transit_time=transit_time_of(case)))
    assert test.consistent
    assert 0 < test.time_uncertainty < 1e-3
