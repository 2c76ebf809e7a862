"""What recomputing a log costs against bare numpy: `python -m tests.benchmarks.recompute [MOST_READINGS]`.

Floors, measured in the same run on arrays in memory, in pieces of 65,536:

- `formula`: `compute.flow.flow_from_times`, every figure of a flow
- `by_hand`: path velocity and the Colebrook fixed point as one would write them down, flow only

The path: blocks decoded on a second thread, columns to SI, every reading a flow, statistics of the log, diagnosis, budget.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from compute.acoustics import Setup, trace
from compute.ahead import ahead
from compute.entries import (
    MaterialEntry,
    MediumEntry,
    PipeEntry,
    TransducerEntry,
    resolve_medium,
    resolve_pipe,
)
from compute.flow import flow_from_times, times_from_mean_velocity
from compute.place import Place
from compute.reduction import Occasion, Readings, Reduction, reduce_log
from surveys.readings.codec import BLOCK_ROWS, decode_block, encode_block
from tests.compute.cases import transducers

PIPE = PipeEntry(0.2191, 0.008, MaterialEntry("carbon-steel"))
WATER = MediumEntry("water", 331.15, "measured", 6e5)
PAIR = TransducerEntry(transducers(), 253.15, 393.15)
PLACE = Place("single-bend", 6.0, 2.5, "horizontal", "side", True)
SETUP = Setup(resolve_pipe(PIPE).pipe, resolve_medium(WATER).medium, PAIR.transducers, 2)
OCCASION = Occasion(date(2026, 10, 6), PLACE, SETUP)
SHORT_SURVEY = 80
REPEATS = 9
SECOND = 1_000_000


@dataclass(frozen=True)
class Log:
    """A log as stored, in microseconds and nanoseconds as a meter writes them; and the same in SI."""

    blocks: list[bytes]
    transit_time: np.ndarray
    time_difference: np.ndarray


def made_log(count: int) -> Log:
    """A flow that wanders by a few per cent, correlated over some ten readings, with the scatter of a meter."""
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
    """A block in SI."""
    _, columns = decode_block(content)
    return Readings(columns["transit_time"] * 1e-6, columns["time_difference"] * 1e-9)


def recomputed(log: Log) -> Reduction:
    """The whole path."""
    return reduce_log(PIPE, WATER, PAIR, 2, ahead(readings, log.blocks), OCCASION)


def formula(log: Log) -> None:
    """Floor: every figure of every reading's flow, in pieces."""
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
            x = -2 * np.log10(rough + smooth * (x + 1.25 / 8**0.5))
        _ = velocity * x / (x + 1.25 / 8**0.5) * area


def _pieces(log: Log) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    for start in range(0, len(log.transit_time), BLOCK_ROWS):
        piece = slice(start, start + BLOCK_ROWS)
        yield log.transit_time[piece], log.time_difference[piece]


def seconds_of(do: Callable[[], object], repeats: int) -> float:
    """The least of some runs, after one that warms up: what else the machine does only adds."""
    do()
    taken = []
    for _ in range(repeats):
        started = time.perf_counter()
        do()
        taken.append(time.perf_counter() - started)
    return min(taken)


def figures_of(count: int) -> dict[str, float]:
    """Cost and ratios at one length of log."""
    log = made_log(count)
    repeats = REPEATS if count <= 1_000_000 else 3
    whole, plain, bare = (
        seconds_of(lambda do=do: do(log), repeats)
        for do in (recomputed, formula, by_hand)  # type: ignore[misc]
    )
    return {
        "readings": count,
        "nanoseconds_a_reading": round(whole / count * 1e9, 1),
        "formula_nanoseconds": round(plain / count * 1e9, 1),
        "by_hand_nanoseconds": round(bare / count * 1e9, 1),
        "ratio_to_formula": round(whole / plain, 2),
        "ratio_to_by_hand": round(whole / bare, 2),
    }


def short_surveys() -> dict[str, float]:
    """Surveys of few readings, where everything but the readings costs: how many a second."""
    log = made_log(SHORT_SURVEY)
    taken = seconds_of(lambda: recomputed(log), 5 * REPEATS)
    return {
        "readings": SHORT_SURVEY,
        "milliseconds": round(taken * 1e3, 2),
        "surveys_a_second": round(1 / taken),
    }


def main(most: int) -> None:
    """Print the figures as JSON."""
    counts = [count for count in (10_000, 100_000, 1_000_000, 10_000_000) if count <= most] or [most]
    print(json.dumps({"logs": [figures_of(count) for count in counts], "short": short_surveys()}, indent=1))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
