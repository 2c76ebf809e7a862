"""Cost of recalculating a log against bare numpy, from 10,000 readings to ten million.

Floors, measured in the same run on arrays in memory, in pieces of 65,536:

- `formula`: `compute.measuring.flow.flow_from_times`, every figure of a flow
- `by_hand`: path velocity and the Colebrook fixed point as one would write them down, flow only

The path: blocks decoded on a second thread, columns to SI, every reading a flow, statistics of the log, diagnosis, budget.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from compute.base.prefetch import prefetch
from compute.measuring.beam import trace
from compute.measuring.flow import flow_from_times, times_from_mean_velocity
from compute.measuring.location import Place
from compute.measuring.profile import EXCESS, PLUG
from compute.results.occasion import Occasion
from compute.results.reduction import Readings, Reduction, reduce_log
from surveys.logfiles.codec import BLOCK_ROWS, decode_block, encode_block
from tests.benchmarks.measuring import Figure, Figures, median_seconds, ratio
from tests.compute.cases import PAIR, PIPE, WATER
from tests.compute.cases import STATED as SETUP

PLACE = Place("single-bend", 6.0, 2.5, "horizontal", "side", True)
OCCASION = Occasion(date(2026, 10, 6), PLACE, SETUP)
SHORT_SURVEY = 80
SECOND = 1_000_000


@dataclass(frozen=True)
class Log:
    """Log as stored, in microseconds and nanoseconds as a meter writes them; and the same in SI."""

    blocks: list[bytes]
    transit_time: np.ndarray
    time_difference: np.ndarray


def example_log(count: int) -> Log:
    """Return a flow that varies by a few per cent, correlated over some ten readings, with the scatter of a meter."""
    rng = np.random.default_rng(7)
    transit, _ = times_from_mean_velocity(SETUP, 1.2)
    coarse = rng.normal(0, 0.03, count // 10 + 2)
    velocity = 1.2 * (1 + np.interp(np.arange(count) / 10, np.arange(len(coarse)), coarse))
    difference = times_from_mean_velocity(SETUP, velocity)[1] * 1e9 + rng.normal(0, 2.0, count)
    microseconds = np.round(float(transit) * 1e6 + rng.normal(0, 0.01, count), 4)
    nanoseconds = np.round(difference, 2)
    times = 1_791_279_000 * SECOND + SECOND * np.arange(count, dtype=np.int64)
    parts = [slice(start, start + BLOCK_ROWS) for start in range(0, count, BLOCK_ROWS)]
    blocks = [
        encode_block(times[p], {"transit_time": microseconds[p], "time_difference": nanoseconds[p]})
        for p in parts
    ]
    return Log(blocks, microseconds * 1e-6, nanoseconds * 1e-9)


def readings(content: bytes) -> Readings:
    """Return a block in SI without its times, as for a log without marked segments."""
    _, columns = decode_block(content, with_times=False)
    return Readings(columns["transit_time"] * 1e-6, columns["time_difference"] * 1e-9)


def recomputed(log: Log) -> Reduction:
    """Run the complete recalculation."""
    return reduce_log(PIPE, WATER, PAIR, 2, prefetch(readings, log.blocks), OCCASION)


def formula(log: Log) -> None:
    """Floor: every value of the flow of every reading, in pieces."""
    for transit, difference in _pieces(log):
        flow_from_times(SETUP, transit, difference)


def by_hand(log: Log) -> None:
    """Floor: the flow of every reading as one would write it in numpy, the fixed point iterated to 1e-12 (six steps)."""
    path, pipe, medium = trace(SETUP), SETUP.pipe, SETUP.medium
    per_velocity = pipe.bore * medium.density / medium.dynamic_viscosity
    rough, area = pipe.roughness / pipe.bore / 3.7, np.pi / 4 * pipe.bore**2
    for transit, difference in _pieces(log):
        velocity = difference / (2 * path.axial_slowness * (transit - path.time_in_solids))
        smooth = 2.51 / (np.abs(velocity) * per_velocity)
        x = np.full_like(velocity, 7.5)
        for _ in range(6):
            x = -2 * np.log10(rough + smooth * (PLUG * x + EXCESS))
        _ = velocity * x / (PLUG * x + EXCESS) * area


def _pieces(log: Log) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    for start in range(0, len(log.transit_time), BLOCK_ROWS):
        piece = slice(start, start + BLOCK_ROWS)
        yield log.transit_time[piece], log.time_difference[piece]


def of(count: int, repeats: int) -> Figures:
    """Return cost and ratios for one length of log."""
    log = example_log(count)
    whole = ratio(
        "a log recomputed, decoded to budget, to the flow formula in bare numpy",
        lambda: recomputed(log), lambda: formula(log),
        repeats=repeats, target=2.0 if count >= 1_000_000 else None, size=count,
    )  # fmt: skip
    yield whole
    yield ratio(
        "the same to a formula written by hand",
        lambda: recomputed(log), lambda: by_hand(log), repeats=repeats, size=count,
    )  # fmt: skip
    assert whole.seconds
    yield Figure(what="a reading recomputed", value=whole.seconds / count * 1e9, unit="ns", size=count)


def figures(small: bool) -> Figures:
    for count in (2_000,) if small else (10_000, 100_000, 1_000_000, 10_000_000):
        yield from of(count, 1 if small else 9 if count <= 1_000_000 else 3)
    # Few readings, where everything but the readings costs.
    log = example_log(SHORT_SURVEY)
    taken = median_seconds(lambda: recomputed(log), 1 if small else 50)
    yield Figure(what="a short survey recomputed", value=taken * 1e3, unit="ms", size=SHORT_SURVEY)
