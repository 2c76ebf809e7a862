"""Calibration errors in a result: corrected if applied, with their uncertainty in any case."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from compute.calibration.error_correction import Zero
from compute.calibration.points import ErrorCurve, Point, error_curve
from compute.logs.segments import Segment
from compute.measuring.flow import times_from_mean_velocity
from compute.measuring.location import Place
from compute.results.instrument_errors import KnownError, MeasuredWall
from compute.results.occasion import Occasion
from compute.results.reduction import Readings, Reduction, reduce_log, screened_log
from compute.statistics.gum import GumResult
from tests.compute.cases import PAIR, PIPE, WATER
from tests.compute.cases import STATED as SETUP

OCCASION = Occasion(date(2026, 10, 6), Place("single-bend", 30.0, 10.0, "horizontal", "side", True), SETUP)


def reduced(
    *known: KnownError, velocity: float = 1.5, measured_wall: MeasuredWall | None = None
) -> Reduction:
    import numpy as np

    transit, difference = times_from_mean_velocity(SETUP, velocity)
    log = [Readings(np.full(100, float(transit)), np.full(100, float(difference)))]
    return reduce_log(
        PIPE, WATER, PAIR, 2, log, replace(OCCASION, known_errors=known, measured_wall=measured_wall)
    )


def meter_curve() -> ErrorCurve:
    """+1 % at 1 m/s and +2 % at 2 m/s, both known to 0.4 % (k = 2)."""
    points = [Point(1.0, 1.01, 0.004, 2.0), Point(2.0, 2.04, 0.008, 2.0)]
    return error_curve(points, "relative", "speed")


def share(result: GumResult, name: str) -> float:
    return next(abs(row.contribution) for row in result.budget if row.input == name)


def codes(reduction: Reduction) -> set[str]:
    return {finding.code for finding in reduction.findings}


def test_a_meter_that_reads_high_is_corrected_if_a_policy_requires_it() -> None:
    # By hand: at v m/s the error is 0.01 v; 1.5 indicated = v (1 + 0.01 v), so v = (sqrt(1 + 0.06) - 1) / 0.02 = 1.478151.
    bare, applied = reduced(), reduced(KnownError("meter M-1", "velocity", meter_curve(), applied=True))
    assert bare.mean_velocity == pytest.approx(1.5, rel=1e-9)
    assert applied.mean_velocity == pytest.approx(1.4781507, rel=1e-6)
    assert applied.volume_flow / bare.volume_flow == pytest.approx(1.4781507 / 1.5, rel=1e-6)
    assert "calibration-error-corrected" in codes(applied)


def test_its_uncertainty_enters_the_budget_at_the_working_point() -> None:
    applied = reduced(KnownError("meter M-1", "velocity", meter_curve(), applied=True))
    # 0.4 % at k = 2 is 0.2 %.
    assert share(applied.uncertainty, "meter.calibration") == pytest.approx(
        0.002 * applied.volume_flow, rel=1e-6
    )


def test_an_uncorrected_error_widens_the_uncertainty_with_a_finding() -> None:
    bare, left = reduced(), reduced(KnownError("meter M-1", "velocity", meter_curve()))
    assert left.volume_flow == bare.volume_flow
    # The error of 1.478 % of the true velocity, 0.02185 m/s of 1.5 indicated, and 0.2 % of 1.478 m/s, in quadrature.
    expected = (0.0218493**2 + 0.0029563**2) ** 0.5 / 1.5
    assert share(left.uncertainty, "meter.calibration") == pytest.approx(
        expected * left.volume_flow, rel=1e-4
    )
    message = next(finding for finding in left.findings if finding.code == "calibration-error-not-corrected")
    assert message.severity == "warning"


def test_an_insignificant_calibration_error_is_information() -> None:
    points = [Point(1.0, 1.001, 0.004, 2.0), Point(2.0, 2.002, 0.008, 2.0)]
    left = reduced(KnownError("meter M-1", "velocity", error_curve(points, "relative", "speed")))
    assert next(f for f in left.findings if f.code == "calibration-error-not-corrected").severity == "info"


def test_outside_the_calibrated_range_there_is_a_finding() -> None:
    applied = reduced(KnownError("meter M-1", "velocity", meter_curve(), applied=True), velocity=3.0)
    assert "outside-calibrated-range" in codes(applied)
    assert "outside-calibrated-range" not in codes(reduced(KnownError("m", "velocity", meter_curve())))


def test_the_zero_of_a_pair_comes_off_every_time_difference() -> None:
    zero = Zero(2e-9, 0.5e-9)
    bare, applied = reduced(), reduced(KnownError("pair P-1", "zero", zero=zero, applied=True))
    assert applied.time_difference == pytest.approx(bare.time_difference - 2e-9, rel=1e-9)
    slope = bare.volume_flow / bare.time_difference
    assert bare.volume_flow - applied.volume_flow == pytest.approx(slope * 2e-9, rel=0.02)
    assert share(applied.uncertainty, "meter.zero") == pytest.approx(slope * 0.5e-9, rel=0.02)


def test_a_thickness_gauge_that_reads_high_is_corrected_to_a_thinner_wall() -> None:
    points = [Point(0.005, 0.0051, 2e-5, 2.0), Point(0.010, 0.0101, 2e-5, 2.0)]
    gauge = KnownError("gauge G-1", "wall", error_curve(points, "absolute", "length"), applied=True)
    bare, applied = reduced(measured_wall=(0.008, 5e-5)), reduced(gauge, measured_wall=(0.008, 5e-5))
    # 0.1 mm off the wall: the bore of 203.1 mm grows by 0.2 mm, and the area by 0.197 %.
    assert applied.volume_flow > bare.volume_flow
    assert share(applied.uncertainty, "pipe.wall_thickness") > share(bare.uncertainty, "pipe.wall_thickness")


def test_a_thickness_gauge_has_no_effect_on_a_wall_that_was_not_measured() -> None:
    points = [Point(0.005, 0.0051, 2e-5, 2.0), Point(0.010, 0.0101, 2e-5, 2.0)]
    gauge = KnownError("gauge G-1", "wall", error_curve(points, "absolute", "length"), applied=True)
    assert (
        reduced(gauge, measured_wall=(0.0095, 5e-5)).volume_flow
        == reduced(measured_wall=(0.0095, 5e-5)).volume_flow
    )


def test_a_thermometer_corrects_the_temperature_and_its_uncertainty() -> None:
    points = [Point(300.0, 302.0, 0.2, 2.0), Point(350.0, 352.0, 0.2, 2.0)]
    known = KnownError(
        "thermometer T-1", "temperature", error_curve(points, "absolute", "temperature"), applied=True
    )
    bare, applied = reduced(), reduced(known)
    assert applied.expected_sound_speed != bare.expected_sound_speed
    assert "calibration-error-corrected" in codes(applied)


def test_unknown_errors_change_nothing() -> None:
    assert reduced().volume_flow == reduced(KnownError("meter M-1", "velocity")).volume_flow
    assert "meter.calibration" not in {row.input for row in reduced().uncertainty.budget}


def test_combined_flows_are_corrected_in_the_same_way() -> None:
    import numpy as np

    transit, difference = times_from_mean_velocity(SETUP, 1.5)
    times = np.arange(100, dtype=np.int64) * 1_000_000
    log = [Readings(np.full(100, float(transit)), np.full(100, float(difference)), times=times)]
    known = (KnownError("meter M-1", "velocity", meter_curve(), applied=True),)
    segments: tuple[Segment, ...] = ()
    flows, _ = screened_log("a", (PIPE, WATER, PAIR, 2), log, SETUP, segments, known)
    assert flows.values[0] == pytest.approx(reduced(*known).volume_flow, rel=1e-12)


def freedom(result: GumResult, name: str) -> float:
    return next(row.degrees_of_freedom for row in result.budget if row.input == name)


def test_a_wall_of_two_readings_has_one_degree_of_freedom_in_the_budget() -> None:
    reduction = reduced(measured_wall=(0.008, 5e-5, 1.0))
    assert freedom(reduction.uncertainty, "pipe.wall_thickness") == 1.0


def test_the_gauge_of_a_wall_measurement_brings_its_own_degrees_of_freedom() -> None:
    # k = 2.65 is Student's factor for 5 degrees of freedom (GUM table G.2).
    points = [Point(0.005, 0.0051, 1.325e-4, 2.65), Point(0.010, 0.0101, 1.325e-4, 2.65)]
    gauge = KnownError("gauge G-1", "wall", error_curve(points, "absolute", "length"), applied=True)
    reduction = reduced(gauge, measured_wall=(0.008, 5e-5, 1.0))
    # Two equal uncertainties of 1 and 5 degrees of freedom, GUM G.4.1: 4/(1/1 + 1/5) = 3.33.
    assert freedom(reduction.uncertainty, "pipe.wall_thickness") == pytest.approx(10 / 3, rel=0.01)


def test_a_certificate_with_few_degrees_of_freedom_has_them_in_the_budget() -> None:
    points = [Point(1.0, 1.01, 0.004, 2.65), Point(2.0, 2.04, 0.008, 2.65)]
    meter = KnownError("meter M-1", "velocity", error_curve(points, "relative", "speed"), applied=True)
    assert freedom(reduced(meter).uncertainty, "meter.calibration") == pytest.approx(5, rel=0.01)
    pair = KnownError("pair P-1", "zero", zero=Zero(2e-9, 0.5e-9, 5.0), applied=True)
    assert freedom(reduced(pair).uncertainty, "meter.zero") == 5.0
