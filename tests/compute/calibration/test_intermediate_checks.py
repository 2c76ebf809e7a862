"""Checks between calibrations, and their history."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.calibration.check_trend import Checked, check_trend, runs
from compute.calibration.intermediate_checks import (
    CheckLimits,
    Measured,
    Step,
    reference_check,
    step_block_check,
    zero_flow_check,
)
from compute.calibration.meter_comparison import en_number, two_meters_check

LIMITS = CheckLimits(2.0, 3.0)
NANOSECONDS = CheckLimits(0.5e-9, 1.0e-9)
NOISE = np.random.default_rng(5).normal(0.0, 0.2e-9, 400)
NOISE = NOISE - NOISE.mean()


@pytest.mark.parametrize(
    ("zero", "outcome", "codes"),
    [
        (0.1e-9, "within", []),
        (0.7e-9, "warning", ["check-warning"]),
        (-1.2e-9, "out", ["check-out-of-limits"]),
    ],
)
def test_the_zero_of_a_meter_against_its_limits(zero: float, outcome: str, codes: list[str]) -> None:
    result = zero_flow_check(NOISE + zero, NANOSECONDS, time_difference_per_velocity=50e-9)
    assert (result.outcome, [finding.code for finding in result.findings]) == (outcome, codes)
    assert result.deviation == pytest.approx(zero)
    assert {name: value for name, value, _ in result.figures}["zero-as-velocity"] == pytest.approx(
        zero / 50e-9
    )


def test_the_uncertainty_of_a_steady_zero_is_its_scatter_over_the_root_of_the_number() -> None:
    result = zero_flow_check(NOISE, NANOSECONDS)
    assert result.standard_uncertainty == pytest.approx(0.2e-9 / sqrt(400), rel=0.25)


def test_a_zero_that_drifts_during_the_check_is_reported() -> None:
    result = zero_flow_check(NOISE + np.linspace(-0.3e-9, 0.3e-9, 400), NANOSECONDS)
    assert "zero-drifting" in [finding.code for finding in result.findings]


def test_an_uncertainty_that_reaches_the_action_limit_is_a_warning() -> None:
    few = zero_flow_check(np.array([2.0, -2.0, 1.0, -1.0, 2.0, -2.0, 1.0, -1.0]) * 1e-9, NANOSECONDS)
    assert few.deviation == pytest.approx(0.0, abs=1e-24)
    assert few.outcome == "warning"


def test_a_thickness_gauge_on_its_step_block_agrees_with_a_hand_calculation() -> None:
    # Deviations 0.01, 0.02 and 0.05 mm; the last from readings 10.04, 10.05, 10.06 mm: s = 0.01 mm over root 3; block 0.001 mm;
    # resolution 0.01 mm over root 12.
    steps = [
        Step(2e-3, 1e-6, (2.01e-3, 2.01e-3)),
        Step(5e-3, 1e-6, (5.02e-3,)),
        Step(10e-3, 1e-6, (10.04e-3, 10.05e-3, 10.06e-3)),
    ]
    result = step_block_check(steps, CheckLimits(0.1e-3, 0.2e-3), 0.01e-3)
    assert result.outcome == "within"
    assert result.deviation == pytest.approx(0.05e-3)
    assert result.standard_uncertainty == pytest.approx(1e-6 * sqrt(100 / 3 + 1 + 100 / 12), rel=1e-9)
    figures = {name: value for name, value, _ in result.figures}
    assert figures["deviation-of-step-2"] == pytest.approx(0.02e-3)


def test_a_step_block_distinguishes_a_wrong_sound_speed_from_a_wrong_zero() -> None:
    # Set 1 % fast and the probe 0.03 mm off.
    steps = [Step(t, 1e-6, (1.01 * t + 3e-5,)) for t in (2e-3, 5e-3, 10e-3, 20e-3)]
    result = step_block_check(steps, CheckLimits(0.1e-3, 0.2e-3), 1e-6)
    figures = {name: value for name, value, _ in result.figures}
    assert result.outcome == "out"
    assert figures["slope"] == pytest.approx(0.01, rel=1e-9)
    assert figures["offset"] == pytest.approx(3e-5, rel=1e-9)


def test_a_thermometer_in_melting_ice() -> None:
    result = reference_check(
        [273.25, 273.35], Measured(273.15, 0.01), CheckLimits(0.25, 0.5), 0.1, "temperature"
    )
    assert result.deviation == pytest.approx(0.15)
    assert result.kind == "temperature_difference"
    # s = 0.0707 over root 2 = 0.05; ice 0.01; 0.1 over root 12 = 0.02887: 0.0586. The 0.05 has one degree of freedom:
    # effective 1 x (0.0586/0.05)^4 = 1.887; Student at 95 % 4.55 or so: 0.15 + 0.267 is below 0.5.
    assert result.standard_uncertainty == pytest.approx(0.0586, abs=5e-5)
    freedom = (result.standard_uncertainty / 0.05) ** 4
    assert result.expanded_uncertainty == pytest.approx(
        stats.t.ppf(0.975, freedom) * result.standard_uncertainty, rel=1e-9
    )
    assert result.outcome == "within"


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0.01, 2), st.floats(0.01, 2), st.floats(0, 0.99))
def test_a_comparison_is_the_same_either_way_round_and_harder_to_pass_the_more_is_shared(
    first: float, second: float, u_first: float, u_second: float, part: float
) -> None:
    a, b, shared = Measured(first, u_first), Measured(second, u_second), part * min(u_first, u_second)
    assert en_number(a, b, shared) == pytest.approx(-en_number(b, a, shared))
    assert abs(en_number(a, b, shared)) >= abs(en_number(a, b)) - 1e-12


def test_two_meters_on_one_pipe_can_disagree_although_their_total_uncertainties_overlap() -> None:
    # 2 % apart with 1.5 % each, of which 1.4 % are the pipe's: root of 2 x (1.5^2 - 1.4^2) = 0.76 %, zeta 2.63.
    a, b = Measured(0.0100, 0.00015), Measured(0.0102, 0.00015)
    assert two_meters_check(a, b, 0.0, "volume_flow").outcome == "within"
    result = two_meters_check(a, b, 0.00014, "volume_flow")
    assert result.outcome == "warning"
    assert {name: value for name, value, _ in result.figures}["zeta-score"] == pytest.approx(-2.626, abs=5e-4)


def test_a_drift_is_significant_when_it_passes_students_t() -> None:
    days = [0.0, 30.0, 61.0, 90.0, 122.0, 151.0]
    drifting = [0.1, 0.3, 0.4, 0.7, 0.75, 1.0]
    found = check_trend([Checked(d, v) for d, v in zip(days, drifting, strict=True)], LIMITS, "number")
    expected = stats.linregress(days, drifting)
    assert found.slope == pytest.approx(expected.slope, rel=1e-9)
    assert found.slope_standard_uncertainty == pytest.approx(expected.stderr, rel=1e-9)
    assert found.significant
    assert expected.pvalue < 0.05
    # From the line at the last check to 3.0.
    at_last = expected.intercept + expected.slope * 151
    assert found.days_to_action == pytest.approx((3.0 - at_last) / expected.slope, rel=1e-9)
    assert [finding.code for finding in found.findings] == ["check-drifting"]


@given(st.lists(st.floats(-1, 1), min_size=3, max_size=12))
def test_significance_is_that_of_a_second_program(values: list[float]) -> None:
    days = np.arange(len(values)) * 7.0
    expected = stats.linregress(days, values)
    found = check_trend([Checked(float(d), v) for d, v in zip(days, values, strict=True)], LIMITS, "number")
    if expected.stderr > 1e-9 and abs(expected.pvalue - 0.05) > 1e-6:
        assert found.significant == (expected.pvalue < 0.05)


def test_a_drift_towards_zero_has_no_date_at_which_it_reaches_the_limit() -> None:
    found = check_trend([Checked(d, -1.0 + 0.01 * d) for d in (0.0, 20.0, 40.0, 60.5)], LIMITS, "number")
    assert found.significant
    assert found.days_to_action is None


def test_a_slope_next_to_zero_has_no_date_at_which_it_reaches_the_limit() -> None:
    found = check_trend([Checked(7.0 * n, n * 1e-310) for n in range(4)], LIMITS, "number")
    assert found.significant
    assert found.days_to_action is None
    assert [sentence.code for sentence in found.sentences] == ["check-drift"]


@pytest.mark.parametrize(
    ("values", "kinds"),
    [
        ([0.0, 3.5, 0.0], ["beyond-action"]),
        ([0.1, 2.5, 0.0, 2.2, -0.1], ["two-of-three-beyond-warning"]),
        ([0.1, 2.5, 0.0, -2.2, -0.1], []),
        ([0.1, 2.5, 0.0, 0.2, 2.2], []),
        ([0.5, 0.2, 0.6, 0.1, 0.4, 0.3, 0.5], ["one-side"]),
        ([0.5, 0.2, 0.6, 0.1, 0.4, 0.3, -0.5], []),
        ([-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3], ["rising"]),
        ([0.3, 0.2, 0.1, 0.0, -0.1, -0.2, -0.3], ["falling"]),
        ([-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.2], []),
    ],
)
def test_improbable_runs_are_reported(values: list[float], kinds: list[str]) -> None:
    # ISO 7870-2 / ISO 8258, from memory: beyond 3, two of three beyond 2 on one side, seven on one side, seven rising or falling.
    assert [run.kind for run in runs(values, LIMITS)] == kinds


def test_runs_turn_round_with_the_sign() -> None:
    values = [0.1, 2.5, 2.4, 0.3, 0.2, 0.4, 0.1, 3.2, -0.1]
    turned = {"rising": "falling", "falling": "rising"}
    scene, there = runs(values, LIMITS), runs([-value for value in values], LIMITS)
    assert [(turned.get(run.kind, run.kind), run.first, run.last) for run in scene] == [
        (run.kind, run.first, run.last) for run in there
    ]


def test_a_history_with_a_run_names_the_results() -> None:
    history = [Checked(float(i), value) for i, value in enumerate([0.0, 3.5, 0.1, -0.1])]
    found = check_trend(history, LIMITS, "number")
    (finding,) = found.findings
    assert finding.code == "check-non-random"
    assert finding.message is not None
    assert (finding.message.parameters["pattern"], finding.message.parameters["first"]) == (
        "beyond-action",
        2,
    )


@pytest.mark.parametrize(
    ("call", "error"),
    [
        (lambda: CheckLimits(3.0, 2.0), OutOfRange),
        (lambda: zero_flow_check(NOISE[:7], NANOSECONDS), NotEnough),
        (lambda: zero_flow_check(NOISE, NANOSECONDS, 0.0), OutOfRange),
        (lambda: step_block_check([], LIMITS, 0.0), NotEnough),
        (lambda: step_block_check([Step(1e-3, 0.0, ())], LIMITS, 0.0), NotEnough),
        (lambda: step_block_check([Step(0.0, 0.0, (1e-3,))], LIMITS, 0.0), OutOfRange),
        (lambda: step_block_check([Step(1e-3, 0.0, (1e-3,))], LIMITS, -1.0), OutOfRange),
        (lambda: reference_check([float("nan")], Measured(0.0, 0.0), LIMITS, 0.0, "number"), NumberInvalid),
        (lambda: reference_check([1.0], Measured(0.0, -1.0), LIMITS, 0.0, "number"), OutOfRange),
        (lambda: reference_check([1.0], Measured(0.0, 1.0), LIMITS, -1.0, "number"), OutOfRange),
        (lambda: en_number(Measured(1.0, 0.1), Measured(1.0, 0.2), 0.15), OutOfRange),
        (lambda: en_number(Measured(1.0, 0.1), Measured(1.0, 0.1), 0.1), OutOfRange),
        (lambda: check_trend([Checked(0.0, 1.0), Checked(1.0, 1.0)], LIMITS, "number"), NotEnough),
        (lambda: check_trend([Checked(0.0, 1.0)] * 3, LIMITS, "number"), OutOfRange),
        (lambda: runs([float("inf")], LIMITS), NumberInvalid),
    ],
)
def test_impossible_values_are_rejected(call: object, error: type[Exception]) -> None:
    with pytest.raises(error):
        call()  # type: ignore[operator]
