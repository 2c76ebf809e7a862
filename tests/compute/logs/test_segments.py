"""Only the marked segments of a log are used, and a finding reports it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from compute.base.errors import NotEnough, OutOfRange
from compute.logs.segments import Segment, merged, moment, segment_indexes
from compute.measuring.flow import times_from_mean_velocity
from compute.measuring.location import Place
from compute.results.occasion import Occasion
from compute.results.reduction import Readings, Reduction, reduce_log, screened_log
from compute.statistics.autocorrelation import noise_of_segments, repeatability
from compute.statistics.gum import coverage_factor
from tests.compute.cases import PAIR, PIPE, WATER
from tests.compute.cases import STATED as SETUP

OCCASION = Occasion(date(2026, 10, 6), Place("single-bend", 6.0, 2.5, "horizontal", "side", True), SETUP)
SECOND = 1_000_000
START = int(datetime(2026, 10, 6, 9, 30, tzinfo=UTC).timestamp()) * SECOND


def at(second: int) -> int:
    return START + second * SECOND


def two_levels() -> Readings:
    """Ten minutes at 1 m/s, then ten at 2 m/s, with noise of half a nanosecond."""
    velocity = np.repeat([1.0, 2.0], 600)
    transit, difference = times_from_mean_velocity(SETUP, velocity)
    noise = np.random.default_rng(4).normal(0, 0.5e-9, 1200)
    return Readings(np.full(1200, transit), difference + noise, times=START + SECOND * np.arange(1200))


def reduced(*segments: Segment, log: Readings | None = None) -> Reduction:
    return reduce_log(PIPE, WATER, PAIR, 2, [log or two_levels()], replace(OCCASION, segments=segments))


def test_the_mean_is_that_of_the_marked_segment() -> None:
    reduction = reduced(Segment(at(0), at(599), "before the pump started"))
    assert reduction.mean_velocity == pytest.approx(1.0, rel=2e-3)
    assert (reduction.readings_used, reduction.readings_outside) == (600, 600)


def test_a_finding_has_the_segments_used_and_the_reasons() -> None:
    [used] = [f for f in reduced(Segment(at(0), at(599), "pump off")).findings if f.code == "segments-used"]
    assert used.message
    parameters = used.message.parameters
    assert (parameters["start"], parameters["end"]) == (moment(at(0)), moment(at(599)))
    assert (parameters["used"], parameters["outside"], parameters["reasons"]) == (600, 600, ["pump off"])


def test_without_marks_every_reading_is_used_and_no_finding_names_segments() -> None:
    reduction = reduced()
    assert (reduction.readings_used, reduction.readings_outside) == (1200, 0)
    assert "segments-used" not in {f.code for f in reduction.findings}


def test_the_finding_on_an_unsteady_log_without_marks_recommends_marking_a_segment() -> None:
    [unsteady] = [f for f in reduced().findings if f.code == "flow-unsteady"]
    assert unsteady.message
    assert unsteady.message.parameters["segments_marked"] is False


def test_one_segment_is_reduced_as_a_log_of_its_readings_alone() -> None:
    whole = two_levels()
    assert whole.transit_time is not None
    assert whole.time_difference is not None
    alone = reduced(log=Readings(whole.transit_time[100:400], whole.time_difference[100:400]))
    marked = reduced(Segment(at(100), at(399)))
    assert marked.volume_flow == alone.volume_flow
    assert marked.uncertainty == alone.uncertainty


def test_a_jump_between_segments_is_not_repeatability() -> None:
    def scatter(reduction: Reduction) -> float:
        return next(
            r for r in reduction.uncertainty.budget if r.input == "repeatability"
        ).standard_uncertainty

    both = reduced(Segment(at(0), at(599)), Segment(at(600), at(1199)))
    # White noise of 0.5 ns over 1200 readings, whatever the level jumps by: 0.5 ns/sqrt(1200).
    assert scatter(both) == pytest.approx(0.5e-9 / 1200**0.5, rel=0.15)
    assert scatter(reduced()) > 5 * scatter(both)


def test_no_reading_in_the_marked_segment_is_an_error_that_names_both_spans() -> None:
    with pytest.raises(NotEnough) as caught:
        reduced(Segment(at(5000), at(6000)))
    assert caught.value.field == "segments"
    message = caught.value.message
    assert message
    assert message.key == "not-enough-data/no-reading-in-segments"
    assert message.parameters["start"] == {"at": "2026-10-06T10:53:20+00:00"}
    assert message.parameters["log_end"] == {"at": "2026-10-06T09:49:59+00:00"}


def test_marks_need_the_times_of_the_readings() -> None:
    with pytest.raises(NotEnough, match="readings-without-times"):
        reduced(Segment(at(0), at(10)), log=replace(two_levels(), times=None))


def test_impossible_readings_are_counted_separately_from_those_outside() -> None:
    log = two_levels()
    assert log.transit_time is not None
    log.transit_time[:5] = 20e-6
    reduction = reduced(Segment(at(0), at(99)), log=log)
    assert (reduction.readings_used, reduction.readings_outside) == (95, 1100)
    assert {"readings-impossible"} <= {f.code for f in reduction.findings}


def test_flows_of_a_log_come_with_their_times() -> None:
    segment = Segment(at(590), at(609))
    found, _ = screened_log("supply", (PIPE, WATER, PAIR, 2), [two_levels()], SETUP, (segment,))
    assert found.times.tolist() == [at(s) for s in range(590, 610)]
    assert found.values[10:].mean() / found.values[:10].mean() == pytest.approx(2.0, rel=0.02)


def test_flows_without_times_cannot_be_combined() -> None:
    with pytest.raises(NotEnough, match="log-without-times"):
        screened_log("supply", (PIPE, WATER, PAIR, 2), [replace(two_levels(), times=None)], SETUP)


def test_a_segment_that_ends_before_it_starts_is_rejected() -> None:
    with pytest.raises(OutOfRange, match="segment-reversed"):
        Segment(at(10), at(9))


def test_both_ends_of_a_segment_belong_to_it() -> None:
    times = np.array([at(0), at(1), at(2), at(3)])
    assert segment_indexes(times, [Segment(at(1), at(2))]).tolist() == [-1, 0, 0, -1]


def test_a_time_beyond_the_calendar_is_rejected() -> None:
    with pytest.raises(OutOfRange, match="calendar"):
        moment(10**18)


bounds = st.tuples(st.integers(0, 60), st.integers(0, 20)).map(lambda b: Segment(b[0], b[0] + b[1]))


@given(segments=st.lists(bounds, min_size=1, max_size=6))
def test_no_reading_counts_twice_however_segments_overlap(segments: list[Segment]) -> None:
    times = np.arange(90)
    place = segment_indexes(times, merged(segments))
    wanted = [any(s.start <= t <= s.end for s in segments) for t in range(90)]
    assert (place >= 0).tolist() == wanted


@given(seed=st.integers(0, 100), jump=st.floats(-50, 50))
def test_the_noise_of_segments_is_independent_of_their_levels(seed: int, jump: float) -> None:
    a, b = np.random.default_rng(seed).normal(size=(2, 60))
    moved = noise_of_segments([a, b + jump])
    assert moved.uncertainty == pytest.approx(noise_of_segments([a, b]).uncertainty, rel=1e-9)


def test_a_long_segment_has_the_noise_of_a_log() -> None:
    # Undoing the bias of the trend changes the time by 2 (1 + 2 x window)/n, here some 20/50 000.
    values = np.random.default_rng(5).normal(size=50_000)
    assert noise_of_segments([values]).uncertainty == pytest.approx(
        repeatability(values).noise_uncertainty, rel=1e-3
    )


def test_segments_too_short_for_a_repeatability_are_rejected() -> None:
    with pytest.raises(NotEnough, match="segments-short"):
        noise_of_segments([np.ones(7), np.ones(3)])


@pytest.mark.parametrize(
    ("rho", "count", "size"), [(0.0, 5, 200), (0.7, 5, 200), (0.9, 5, 200), (0.7, 20, 50)]
)
def test_the_uncertainty_of_a_mean_over_segments_has_its_coverage_probability(
    rho: float, count: int, size: int
) -> None:
    # 95 % intervals of 200 sets of autoregressive stretches around 0; binomial scatter of the share is 1.5 %.
    covered = 0
    for seed in range(200):
        shocks = np.random.default_rng(seed).normal(size=(count, size + 200))
        stretches = list(lfilter([(1 - rho**2) ** 0.5], [1, -rho], shocks)[:, 200:])
        noise = noise_of_segments(stretches)
        half = coverage_factor(0.95, noise.degrees_of_freedom) * noise.uncertainty
        covered += abs(float(np.mean(stretches))) <= half
    assert 0.9 <= covered / 200 <= 0.995


@pytest.mark.parametrize(("correlation", "count"), [(0.0, 60), (0.5, 60), (0.9, 60), (0.9, 200)])
def test_the_uncertainty_of_a_short_log_has_its_coverage_probability(correlation: float, count: int) -> None:
    """300 logs of a known mean, first-order autoregressive; 95 % is asked for, and 92 % lies two and a half deviations below."""
    rng, held = np.random.default_rng(11), 0
    for _ in range(300):
        log = lfilter([1.0], [1.0, -correlation], rng.normal(size=count + 300))[300:]
        found = repeatability(log)
        held += (
            abs(found.mean) <= coverage_factor(0.95, found.degrees_of_freedom) * found.standard_uncertainty
        )
    assert held >= 0.92 * 300


def test_a_missing_value_does_not_affect_other_cells() -> None:
    log = two_levels()
    signal = np.where(np.arange(1200) % 3 == 0, np.nan, 30.0)
    speed = np.where(np.arange(1200) % 3 == 0, np.nan, 1550.0)
    with_gaps = reduced(log=replace(log, signal_to_noise=signal, sound_speed=speed))
    assert with_gaps.volume_flow == reduced(log=log).volume_flow
    assert not any(finding.code == "signal-weak" for finding in with_gaps.findings)
