"""Several logs on one time grid: overlap, means, clock offsets, scatter of the combination."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.combining.combination import combine_as
from compute.combining.components import Component, Part
from compute.combining.time_alignment import (
    CombineBy,
    FlowLog,
    align_logs,
    clock_offset,
    joint_repeatability,
    overlap,
)

SECOND = 1_000_000
START = int(datetime(2026, 10, 6, 9, 30, tzinfo=UTC).timestamp()) * SECOND


def log(name: str, values: np.ndarray, *, every: float = 1.0, late: float = 0.0) -> FlowLog:
    times = START + np.rint((late + every * np.arange(len(values))) * SECOND).astype(np.int64)
    return FlowLog(name, times, np.asarray(values, dtype=float))


def swings(count: int, seed: int = 1, rho: float = 0.9) -> np.ndarray:
    """A flow that wanders about 10."""
    return 10 + lfilter([1], [1, -rho], np.random.default_rng(seed).normal(size=count))


def codes(together: CombineBy) -> list[str]:
    return [finding.code for finding in together.findings]


def test_a_log_twice_as_dense_is_averaged_over_the_steps_of_the_other() -> None:
    # By hand: values 0, 1, 2, 3 ... each half second; each second holds 0 and 1, 2 and 3 ...: means 0.5, 2.5, 4.5.
    together = align_logs([log("slow", np.zeros(3)), log("fast", np.arange(6), every=0.5)])
    assert together.step == SECOND
    # The overlap ends with the slow log's last reading, at 2 s, where the fast one still has a single reading.
    assert together.values[1].tolist() == [0.5, 2.5, 4.0]


def test_the_overlap_runs_from_the_latest_start_to_the_earliest_end() -> None:
    found = overlap([log("a", np.zeros(100)), log("b", np.zeros(100), late=30)])
    assert (found.start, found.end) == (START + 30 * SECOND, START + 99 * SECOND)


def test_logs_with_no_time_in_common_are_an_error_that_names_their_spans() -> None:
    with pytest.raises(NotEnough) as caught:
        align_logs([log("supply", np.zeros(60)), log("return", np.zeros(60), late=3600)])
    assert caught.value.message is not None
    assert caught.value.message.parameters | {"quantity": None} == {
        "quantity": None,
        "late": "return",
        "starts": {"at": "2026-10-06T10:30:00+00:00"},
        "early": "supply",
        "ends": {"at": "2026-10-06T09:30:59+00:00"},
    }


def test_a_small_overlap_is_a_warning() -> None:
    assert codes(align_logs([log("a", np.zeros(100)), log("b", np.zeros(100), late=80)])) == ["overlap-short"]


def test_steps_without_a_reading_of_every_log_are_left_out() -> None:
    whole = log("a", np.arange(100))
    keep = np.r_[0:40, 60:100]
    holed = FlowLog("b", whole.times[keep], whole.values[keep])
    together = align_logs([whole, holed])
    assert together.gaps == 20
    assert together.values[0].tolist() == together.values[1].tolist() == keep.tolist()


def test_a_longer_step_is_accepted_and_a_shorter_is_rejected() -> None:
    logs = [log("a", np.arange(100)), log("b", np.arange(50), every=2)]
    assert align_logs(logs, step=10 * SECOND).values.shape == (2, 10)
    with pytest.raises(OutOfRange, match="out-of-range: "):
        align_logs(logs, step=SECOND)


def test_more_steps_than_the_limit_are_rejected() -> None:
    # Three readings a microsecond apart, and one eleven days later.
    sparse = FlowLog("a", START + np.array([0, 1, 2, 10**12]), np.ones(4))
    with pytest.raises(OutOfRange, match="too-many-steps"):
        align_logs([sparse])


def test_readings_that_never_meet_in_a_step_are_an_error() -> None:
    early = FlowLog("a", START + SECOND * np.array([0, 1, 2, 100]), np.ones(4))
    late = FlowLog("b", START + SECOND * np.array([0, 50, 51, 52, 90]), np.ones(5))
    moved = FlowLog("b", late.times[1:], late.values[1:])
    with pytest.raises(NotEnough, match="no-common-step"):
        align_logs([early, moved])


@given(seed=st.integers(0, 50), scale=st.floats(0.1, 10))
def test_means_over_steps_keep_the_mean_of_a_log_without_gaps(seed: int, scale: float) -> None:
    values = scale * np.random.default_rng(seed).normal(size=120)
    together = align_logs([log("a", values)], step=10 * SECOND)
    assert together.values.mean() == pytest.approx(values.mean(), abs=1e-12 * scale)


@pytest.mark.parametrize("lag", [-37, -2, 5, 60])
def test_a_clock_offset_is_found_and_no_reading_is_shifted(lag: int) -> None:
    flow = swings(2100)
    one = log("supply", flow[50:2050] + np.random.default_rng(3).normal(0, 0.3, 2000))
    # What the first shows, the second shows `lag` seconds later.
    other = log("return", np.roll(flow, lag)[50:2050] + np.random.default_rng(4).normal(0, 0.3, 2000))
    together = align_logs([one, other])
    [finding] = together.findings
    assert finding.message is not None
    ahead = "return" if lag > 0 else "supply"
    found = finding.message.parameters
    assert (finding.code, found["ahead"], found["shift"]["si"]) == ("clocks-differ", ahead, abs(lag))
    assert together.values[0].tolist() == one.values.tolist()


def test_branches_that_mirror_one_another_show_their_clock_offset() -> None:
    flow = swings(2000)
    [finding] = align_logs([log("a", flow), log("b", 20 - np.roll(flow, 20))]).findings
    assert finding.message is not None
    assert finding.message.parameters["shift"]["si"] == 20.0


def test_clocks_that_agree_are_not_remarked_on() -> None:
    flow = swings(2000)
    assert codes(align_logs([log("a", flow), log("b", flow + swings(2000, 9))])) == []


@pytest.mark.parametrize("rho", [0.0, 0.9, 0.99])
def test_independent_logs_show_no_offset(rho: float) -> None:
    found = [clock_offset(swings(1000, 2 * i, rho), swings(1000, 2 * i + 1, rho)) for i in range(100)]
    assert [offset for offset in found if offset is not None] == []


def test_a_constant_flow_shows_no_clock_offset() -> None:
    assert clock_offset(np.full(500, 3.0), swings(500)) is None
    assert clock_offset(np.linspace(1, 2, 500), swings(500)) is None
    assert clock_offset(swings(20), swings(20)) is None


def test_common_variation_cancels_in_the_scatter_of_a_difference_and_adds_in_that_of_a_sum() -> None:
    flow, noise = swings(5000), np.random.default_rng(6).normal(0, 0.1, (2, 5000))
    together = align_logs([log("supply", flow + noise[0]), log("return", flow + noise[1])])
    net, total = joint_repeatability(together, [1, -1]), joint_repeatability(together, [1, 1])
    assert net is not None
    assert total is not None
    # White noise of 0.1 sqrt(2) over 5000 readings.
    assert net.contribution == pytest.approx(0.1 * math.sqrt(2 / 5000), rel=0.1)
    # Twice the swing: deviation 1/sqrt(1 - 0.81), 19 readings worth one.
    assert total.contribution == pytest.approx(2 * math.sqrt(19 / 5000 / (1 - 0.81)), rel=0.25)


def test_the_common_scatter_replaces_the_scatter_of_each_part() -> None:
    flow = swings(2000)
    together = align_logs([log("supply", flow), log("return", flow)])
    parts = [Part(10.0, (Component(f"repeatability@run:{n}", 0.4, 50, scatter=True),)) for n in "sr"]
    net = combine_as("difference", parts, scatter=joint_repeatability(together, [1, -1]))
    assert net.combined_standard_uncertainty == 0


def test_too_few_steps_in_a_row_have_no_scatter() -> None:
    assert joint_repeatability(align_logs([log("a", np.arange(7))]), [1]) is None


def test_every_log_needs_its_coefficient() -> None:
    with pytest.raises(OutOfRange, match="logs=1, coefficients=2"):
        joint_repeatability(align_logs([log("a", np.arange(20))]), [1, 1])


def test_an_invalid_log_is_rejected() -> None:
    times = START + SECOND * np.arange(3)
    with pytest.raises(NumberInvalid, match="log-value"):
        FlowLog("a", times, np.array([1.0, np.nan, 2.0]))
    with pytest.raises(NumberInvalid, match="times=3, values=2"):
        FlowLog("a", times, np.ones(2))
    with pytest.raises(NotEnough, match="log-empty"):
        FlowLog("a", times[:0], np.ones(0))
    with pytest.raises(NotEnough, match="not-enough-data/parts"):
        overlap([])
