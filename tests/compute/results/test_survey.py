"""A survey from end to end in the physics alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from compute.base.errors import NotEnough, OutOfRange, TotalReflection, UnknownName
from compute.measuring.beam import Setup
from compute.measuring.entries import LiningEntry, MaterialEntry, PipeEntry, resolve_medium, resolve_pipe
from compute.measuring.flow import flow_from_times, times_from_mean_velocity
from compute.measuring.location import Place
from compute.measuring.spacing import calculate_spacing
from compute.results.occasion import InstrumentDay, Occasion
from compute.results.reduction import Readings, reduce_log
from compute.results.survey import calculate_setup, no_beam
from tests.compute.cases import PAIR, PIPE, WATER

PLACE = Place("single-bend", 6.0, 2.5, "horizontal", "side", True)


def physical(pipe: PipeEntry = PIPE) -> Setup:
    return Setup(resolve_pipe(pipe, 331.15).pipe, resolve_medium(WATER).medium, PAIR.transducers, 2)


def required_spacing(pipe: PipeEntry = PIPE) -> float:
    return float(calculate_spacing(physical(pipe)).spacing)


def occasion(**changes: object) -> Occasion:
    day = date(2026, 10, 6)
    instruments = (InstrumentDay("meter M", date(2026, 1, 1), date(2027, 1, 1)),)
    return replace(
        Occasion(day, PLACE, physical(), instruments, required_spacing(), (0.008, 5e-5)), **changes
    )  # type: ignore[arg-type]


def log(velocity: float = 1.2, count: int = 600, pipe: PipeEntry = PIPE) -> list[Readings]:
    rng = np.random.default_rng(11)
    transit, difference = times_from_mean_velocity(physical(pipe), velocity)
    noise = rng.normal(0, 0.5e-9, count)
    return [Readings(np.full(count, transit), difference + noise - noise.mean())]


def test_the_known_flow_is_reproduced_within_a_twentieth_of_a_percent() -> None:
    reduction = reduce_log(PIPE, WATER, PAIR, 2, log(), occasion())
    assert reduction.mean_velocity == pytest.approx(1.2, rel=5e-4)
    assert reduction.measured_sound_speed == pytest.approx(reduction.expected_sound_speed, rel=1e-9)


def test_blocks_give_the_same_result_as_one_log() -> None:
    [whole] = log()
    assert whole.transit_time is not None
    assert whole.time_difference is not None
    halves = [
        Readings(whole.transit_time[part], whole.time_difference[part])
        for part in (slice(0, 250), slice(250, 600))
    ]
    one, other = (reduce_log(PIPE, WATER, PAIR, 2, blocks, occasion()) for blocks in ([whole], halves))
    assert other.volume_flow == pytest.approx(one.volume_flow, rel=1e-14)
    assert other.uncertainty.expanded_uncertainty == pytest.approx(
        one.uncertainty.expanded_uncertainty, rel=1e-9
    )


def test_a_log_of_velocities_is_corrected_by_the_settings_of_the_meter() -> None:
    entered = physical(replace(PIPE, wall_thickness=0.0063))
    transit, difference = times_from_mean_velocity(physical(), 1.2)
    shown = flow_from_times(entered, transit, difference)
    logged = Readings(
        flow_velocity=np.full(100, float(shown.mean_velocity)),
        sound_speed=np.full(100, float(shown.measured_sound_speed)),
    )
    # Without a correction for the place, whose disturbance has no published sign.
    elsewhere = replace(PLACE, disturbance="pump")
    reduction = reduce_log(PIPE, WATER, PAIR, 2, [logged], occasion(programmed=entered, place=elsewhere))
    assert reduction.mean_velocity == pytest.approx(1.2, rel=1e-9)


def test_a_log_without_times_or_sound_speed_names_the_missing_checks() -> None:
    reduction = reduce_log(PIPE, WATER, PAIR, 2, [Readings(flow_velocity=np.full(100, 1.2))], occasion())
    assert "sound-speed-not-logged" in {finding.code for finding in reduction.findings}


def test_an_impossible_logged_sound_speed_excludes_its_reading() -> None:
    logged = Readings(flow_velocity=np.full(100, 1.2), sound_speed=np.full(100, 1550.0))
    assert logged.sound_speed is not None
    logged.sound_speed[:2] = 0.0, 9000.0
    reduction = reduce_log(PIPE, WATER, PAIR, 2, [logged], occasion())
    assert reduction.readings_used == 98


def test_a_negative_wedge_delay_is_rejected() -> None:
    pair = replace(PAIR, transducers=replace(PAIR.transducers, wedge_delay=-1e-6))
    with pytest.raises(OutOfRange) as caught:
        calculate_setup(PIPE, WATER, pair, traverses=2)
    assert caught.value.field == "transducers.wedge_delay"


def test_a_good_survey_has_only_information() -> None:
    findings = reduce_log(PIPE, WATER, PAIR, 2, log(), occasion()).findings
    assert {finding.severity for finding in findings} <= {"info"}


def test_a_wrong_wall_shows_in_the_sound_speed() -> None:
    reduction = reduce_log(
        replace(PIPE, wall_thickness=0.0050), WATER, PAIR, 2, log(), occasion(measured_wall=None)
    )
    assert "sound-speed-inconsistent" in {finding.code for finding in reduction.findings}


def test_impossible_readings_are_excluded_and_counted() -> None:
    [whole] = log()
    assert whole.transit_time is not None
    whole.transit_time[:3] = 20e-6
    reduction = reduce_log(PIPE, WATER, PAIR, 2, [whole], occasion())
    assert reduction.readings_used == 597
    assert "readings-impossible" in {finding.code for finding in reduction.findings}


def test_a_log_without_a_possible_reading_is_rejected() -> None:
    impossible = Readings(np.full(10, 20e-6), np.full(10, 1e-9))
    with pytest.raises(NotEnough):
        reduce_log(PIPE, WATER, PAIR, 2, [impossible], occasion())


def test_the_selected_number_of_traverses_is_reported_if_none_was_entered() -> None:
    calculated = calculate_setup(PIPE, WATER, PAIR, traverses=None, expected_velocity=1.2)
    assert calculated.spacing.traverses == 2
    assert "traverses-chosen" in {finding.code for finding in calculated.findings}


def test_no_beam_is_an_error_with_both_speeds() -> None:
    with pytest.raises(TotalReflection) as caught:
        calculate_setup(replace(PIPE, wave_mode="longitudinal"), WATER, PAIR, traverses=2)
    finding = no_beam(caught.value)
    assert (finding.severity, finding.field) == ("error", "pipe.material")
    assert finding.parameters
    # 5960 m/s at 20 degC, 0.6 m/s less for each of 38 K.
    assert finding.parameters["sound_speed"]["si"] == pytest.approx(5937.2)
    assert finding.parameters["axial_speed"]["si"] < 5960.0


def test_a_lining_counts_in_the_bore_and_its_roughness_is_the_one_that_is_wetted() -> None:
    lined = replace(PIPE, lining=LiningEntry(MaterialEntry("cement-mortar"), 0.004))
    resolved = resolve_pipe(lined)
    assert resolved.pipe.bore == pytest.approx(0.2191 - 0.016 - 0.008)
    assert resolved.pipe.roughness == pytest.approx(0.1e-3)


def test_an_unknown_material_is_named_by_its_field() -> None:
    with pytest.raises(UnknownName) as caught:
        resolve_pipe(replace(PIPE, material=MaterialEntry("stele")))
    assert caught.value.field == "pipe.material"


def test_a_finding_gives_the_effect_of_the_other_wave_in_a_plastic_wall() -> None:
    plastic = PipeEntry(0.160, 0.0077, MaterialEntry("pvc-u"))
    [finding] = [
        f
        for f in calculate_setup(plastic, WATER, PAIR, traverses=1).findings
        if f.code == "wave-mode-ambiguous"
    ]
    as_shear = calculate_setup(replace(plastic, wave_mode="shear"), WATER, PAIR, traverses=1).spacing.spacing
    assert finding.parameters
    assert finding.parameters["other_spacing"]["si"] == pytest.approx(float(as_shear))
    codes = {f.code for f in calculate_setup(PIPE, WATER, PAIR, traverses=1).findings}
    assert "wave-mode-ambiguous" not in codes


def test_the_temperature_moves_everything_it_touches() -> None:
    found = reduce_log(PIPE, replace(WATER, temperature_source="estimated"), PAIR, 2, log(), occasion())
    flow = found.volume_flow
    [row] = [row for row in found.uncertainty.budget if row.input == "medium.temperature"]
    assert row.standard_uncertainty == 5.0
    # At the same times the wedge alone moves the flow by -2.5 m/s/K of 2720 m/s; the medium and the pipe by far less.
    assert row.sensitivity / flow == pytest.approx(-2.5 / 2720, rel=0.2)


def test_a_result_reports_a_consistent_sound_speed_or_the_possible_causes() -> None:
    fitting = reduce_log(PIPE, WATER, PAIR, 2, log(), occasion()).findings
    assert "sound-speed-consistent" in {finding.code for finding in fitting}
    wrong = reduce_log(
        replace(PIPE, wall_thickness=0.0050), WATER, PAIR, 2, log(), occasion(measured_wall=None)
    ).findings
    uncertain = [finding for finding in wrong if finding.code == "suspect-entry"]
    assert uncertain[0].field == "pipe.wall_thickness"
    assert uncertain[0].message
    assert uncertain[0].message.key == "suspect-entry/wall-thicker"
    assert uncertain[0].message.parameters["implied"]["si"] == pytest.approx(0.008, abs=5e-4)


def test_a_wall_measurement_that_contradicts_the_entered_wall_does_not_reduce_its_uncertainty() -> None:
    wrong = replace(PIPE, wall_thickness=0.0063)
    reduction = reduce_log(wrong, WATER, PAIR, 2, log(), occasion())
    [row] = [row for row in reduction.uncertainty.budget if row.input == "pipe.wall_thickness"]
    # The mill tolerance of 12.5 % as a rectangle, not the 0.05 mm of the gauge that says 8.0 mm.
    assert row.standard_uncertainty == pytest.approx(0.125 * 0.0063 / 3**0.5)
    assert "wall-differs-from-measurement" in {finding.code for finding in reduction.findings}


def test_a_result_has_the_installation_in_its_budget_whether_the_straight_length_is_known_or_not() -> None:
    def contribution(place: Place) -> float:
        budget = reduce_log(PIPE, WATER, PAIR, 2, log(), occasion(place=place)).uncertainty.budget
        [row] = [row for row in budget if row.input == "installation"]
        return row.standard_uncertainty

    assert 0 < contribution(replace(PLACE, upstream_straight_length=20.0)) < contribution(PLACE)
    # Half-width 10.8 %, rectangular.
    assert contribution(Place()) == pytest.approx(0.108 / 3**0.5)


def test_a_flow_behind_one_bend_is_corrected_and_a_finding_says_so() -> None:
    near = replace(PLACE, upstream_straight_length=1.0)
    found = reduce_log(PIPE, WATER, PAIR, 2, log(), occasion(place=near))
    free = reduce_log(PIPE, WATER, PAIR, 2, log(), occasion(place=replace(near, disturbance="pump")))
    # By hand: 1.0 m are 4.92 of 10 diameters; 10.8 % (2/10.8)^0.492 = 4.71 %, of which half.
    assert found.volume_flow == pytest.approx(free.volume_flow * 1.02355, rel=2e-4)
    assert "corrected-for-bend" in {one.code for one in found.findings}
    assert found.profile_factor * found.path_velocity == pytest.approx(found.mean_velocity, rel=1e-4)


def test_laminar_flow_that_is_still_developing_is_corrected_and_a_finding_says_so() -> None:
    # 0.004 m/s of water at 58 degC in 203 mm: Re about 1,700; 2 m are 9.85 diameters, length/(diameter x Re) 0.0058.
    slow = log(0.004)
    slow = [replace(slow[0], time_difference=np.full(600, slow[0].time_difference.mean()))]  # type: ignore[union-attr]
    place = Place("pump", 2.0, 2.5)
    found = reduce_log(PIPE, WATER, PAIR, 2, slow, occasion(place=place))
    assert 1500 < found.reynolds < 2000
    [said] = [one for one in found.findings if one.code == "laminar-flow-developing"]
    assert said.parameters
    assert said.parameters["correction"] == pytest.approx(0.058, abs=0.006)
    assert found.mean_velocity == pytest.approx(0.004 * (1 + said.parameters["correction"]), rel=1e-3)


def test_a_flow_within_its_uncertainty_of_zero_is_not_reverse_flow() -> None:
    codes = {one.code for one in reduce_log(PIPE, WATER, PAIR, 2, log(-0.0005), occasion()).findings}
    assert "flow-within-uncertainty-of-zero" in codes
    assert "reverse-flow" not in codes
    assert "reverse-flow" in {
        one.code for one in reduce_log(PIPE, WATER, PAIR, 2, log(-0.5), occasion()).findings
    }
