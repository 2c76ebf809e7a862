"""What the readings of a log make of a result: outliers, repeatability, direction, steadiness."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from compute.base.messages import Finding
from compute.logs.segments import Segment
from compute.measuring.flow import times_from_mean_velocity
from compute.measuring.location import Place
from compute.results.checks import flow_switching, outliers_found, velocity_sane
from compute.results.occasion import Occasion
from compute.results.reduction import Readings, Reduction, reduce_log, screened_log
from tests.compute.cases import PAIR, PIPE, STATED, WATER

OCCASION = Occasion(date(2026, 10, 6), Place("single-bend", 60.0, 20.0, "horizontal", "side", True), STATED)
SECOND = 1_000_000


def log(count: int = 600, velocity: float = 1.2, noise: float = 0.5e-9) -> Readings:
    transit, difference = times_from_mean_velocity(STATED, velocity)
    scatter = np.random.default_rng(count).normal(0.0, noise, count)
    return Readings(
        np.full(count, float(transit)), float(difference) + scatter, times=np.arange(count) * SECOND
    )


def reduced(readings: Readings, **changes: Any) -> Reduction:
    return reduce_log(PIPE, WATER, PAIR, 2, [readings], replace(OCCASION, **changes))


def codes(reduction: Reduction) -> set[str]:
    return {one.code for one in reduction.findings}


def named(reduction: Reduction, code: str) -> Finding:
    return next(one for one in reduction.findings if one.code == code)


def spiked(at: int = 300) -> Readings:
    readings = log()
    assert readings.time_difference is not None
    readings.time_difference[at] += 50e-6
    return readings


def test_a_spike_does_not_move_the_flow() -> None:
    clean, dirty = reduced(log()), reduced(spiked())
    assert dirty.volume_flow == pytest.approx(clean.volume_flow, rel=1e-4)
    assert dirty.uncertainty.expanded_uncertainty == pytest.approx(
        clean.uncertainty.expanded_uncertainty, rel=1e-3
    )
    assert dirty.readings_used == 599


def test_ten_drop_outs_do_not_move_the_flow_and_are_a_finding() -> None:
    readings = log()
    assert readings.time_difference is not None
    readings.time_difference[np.arange(30, 600, 60)] = 0.0
    found = reduced(readings)
    assert found.volume_flow == pytest.approx(reduced(log()).volume_flow, rel=1e-4)
    excluded = named(found, "outliers-excluded")
    assert excluded.message
    assert (excluded.severity, excluded.message.parameters["count"]) == ("warning", 10)


def test_the_finding_gives_the_flow_with_and_without_the_excluded_readings() -> None:
    message = named(reduced(spiked()), "outliers-excluded").message
    included = reduced(spiked(), include_outliers=True)
    assert message
    assert message.parameters["flow_with"]["si"] == pytest.approx(included.volume_flow)
    assert message.parameters["flow_without"]["si"] == pytest.approx(reduced(log()).volume_flow, rel=1e-4)


def test_included_outliers_are_used_and_named() -> None:
    included = reduced(spiked(), include_outliers=True)
    assert included.readings_used == 600
    assert included.volume_flow > 1.4 * reduced(log()).volume_flow
    assert "outliers-included" in codes(included)
    assert included.outliers.runs == [[300, 300]]


def test_outliers_without_effect_are_information() -> None:
    [small] = outliers_found((1, 600), 1.0001, 1.0, 0.01, included=False)
    assert small.severity == "info"
    assert small.message
    assert small.message.parameters["flow_with"] is None
    assert outliers_found((0, 600), 1.0, 1.0, 0.01, included=False) == []


def test_excluded_readings_are_rows_of_the_log_whatever_else_is_left_out() -> None:
    readings = spiked(300)
    assert readings.transit_time is not None
    readings.transit_time[[120, 200]] = 0.0
    segments = (Segment(100 * SECOND, 500 * SECOND),)
    whole, parts = reduced(readings, segments=segments), reduced(spiked(300))
    assert whole.outliers.runs == parts.outliers.runs == [[300, 300]]
    halves = [
        Readings(
            *(
                None if column is None else column[part]
                for column in (readings.transit_time, readings.time_difference)
            ),
            times=None if readings.times is None else readings.times[part],
        )
        for part in (slice(0, 250), slice(250, 600))
    ]
    found = reduce_log(PIPE, WATER, PAIR, 2, halves, replace(OCCASION, segments=segments))
    assert found.outliers.runs == [[300, 300]]


def test_runs_join_neighbouring_rows() -> None:
    readings = log()
    assert readings.time_difference is not None
    readings.time_difference[[7, 100, 101, 102]] = 0.0
    assert reduced(readings).outliers.runs == [[7, 7], [100, 102]]


def test_outliers_come_with_times_and_flows_for_a_chart() -> None:
    flows, left_out = screened_log("supply", (PIPE, WATER, PAIR, 2), [spiked()], STATED)
    assert len(flows.values) == 599
    assert left_out.times is not None
    assert left_out.times.tolist() == [300 * SECOND]
    assert left_out.volume_flow[0] > 10 * flows.values.mean()


def test_a_transit_time_far_off_is_an_outlier_too() -> None:
    readings = log()
    assert readings.transit_time is not None
    readings.transit_time[40] *= 1.1
    assert reduced(readings).outliers.runs == [[40, 40]]


def test_a_single_reading_has_a_default_repeatability() -> None:
    found = reduced(log(1))
    [row] = [one for one in found.uncertainty.budget if one.input == "repeatability"]
    _, difference = times_from_mean_velocity(STATED, 1.2)
    assert row.standard_uncertainty == pytest.approx(np.hypot(0.5e-9, 0.03 * float(difference)), rel=0.05)
    assert "repeatability-assumed" in codes(found)
    assert found.correlation_time is None


def test_a_log_too_short_for_its_correlation_says_how_long_it_has_to_be() -> None:
    readings = log(60, noise=0.0)
    rng, slow = np.random.default_rng(3), np.zeros(60)
    for i in range(1, 60):
        slow[i] = 0.97 * slow[i - 1] + rng.normal()
    assert readings.time_difference is not None
    short = named(
        reduced(
            replace(readings, time_difference=readings.time_difference + slow * 1e-9), reading_interval=2.0
        ),
        "log-short",
    )
    assert short.message
    shown = short.message.parameters
    assert shown["duration"]["si"] == 120.0
    assert shown["needed_duration"]["si"] == 2.0 * shown["needed"]
    assert shown["needed"] == pytest.approx(20 * shown["correlation"], abs=1)
    assert shown["needed"] > 60


def test_a_long_log_of_white_noise_is_not_too_short() -> None:
    found = reduced(log(600))
    assert "log-short" not in codes(found)
    assert found.effective_readings == pytest.approx(600 / (found.correlation_time or 0))


def test_zero_flow_within_its_uncertainty_is_no_reverse_flow() -> None:
    assert "reverse-flow" not in codes(reduced(log(velocity=-0.0005)))
    assert "reverse-flow" in codes(reduced(log(velocity=-0.5)))
    assert "reverse-flow" in {one.code for one in velocity_sane(-0.02, 1e4, 0.01)}


@pytest.mark.parametrize("velocity", [13_719.0, -31.0])
def test_a_velocity_that_no_pipe_has_is_an_error(velocity: float) -> None:
    [error] = [one for one in velocity_sane(velocity, 1e6) if one.severity == "error"]
    assert error.code == "velocity-impossible"
    assert all(one.code != "velocity-impossible" for one in velocity_sane(29.0, 1e6))


def pump(on: int, off: int, count: int = 600) -> np.ndarray:
    running = (np.arange(count) % (on + off)) < on
    return np.where(running, 0.05, 0.0) + np.random.default_rng(on).normal(0, 5e-4, count)


@pytest.mark.parametrize(("on", "off"), [(30, 30), (60, 20), (12, 40), (100, 100)])
def test_a_pump_that_switches_is_not_steady(on: int, off: int) -> None:
    [found] = flow_switching(pump(on, off))
    assert found.message
    shown = found.message.parameters
    assert shown["low"]["si"] == pytest.approx(0.0, abs=1e-3)
    assert shown["high"]["si"] == pytest.approx(0.05, abs=1e-3)
    assert shown["low_fraction"] == pytest.approx(off / (on + off), abs=0.04)


def test_noise_a_drift_a_sine_and_one_step_are_no_switching() -> None:
    rng, along = np.random.default_rng(9), np.linspace(0, 1, 600)
    steady = 0.05 + rng.normal(0, 0.02, 600)
    drift, sine = 0.05 * (1 + along), 0.05 * (1 + np.sin(40 * along))
    step = np.where(along > 0.5, 0.05, 0.02) + rng.normal(0, 1e-4, 600)
    assert [flow_switching(one) for one in (steady, drift, sine, step)] == [[], [], [], []]


def test_levels_that_differ_by_little_are_steady() -> None:
    assert flow_switching(0.05 + 0.05 * pump(30, 30)) == []


def test_a_log_of_a_switching_pump_is_a_warning() -> None:
    readings = log()
    assert readings.time_difference is not None
    readings.time_difference[(np.arange(600) // 30) % 2 == 1] *= 0.01
    found = reduced(readings)
    assert named(found, "flow-switching").severity == "warning"
    assert "flow-unsteady" not in codes(found)
    assert found.readings_used == 600
