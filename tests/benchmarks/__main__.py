"""Benchmarks as ratios to a floor measured in the same run: `python -m tests.benchmarks [READINGS]`."""

from __future__ import annotations

import io
import json
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC

import numpy as np

from compute.flow import flow_from_times
from compute.media import medium_properties
from surveys.readings.codec import decode_block
from surveys.readings.intake import take_in
from tests.benchmarks.intake import log_bytes, parse_only, take
from tests.compute.cases import steel_setup

REPEATS = 5


def median_seconds(do: Callable[[], object]) -> float:
    taken = []
    for _ in range(REPEATS):
        started = time.perf_counter()
        do()
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def log_text(count: int) -> bytes:
    rows = (
        f"2026-10-06T09:{i // 60 % 60:02}:{i % 60:02},{311 + i % 97 / 1000:.4f},{170 + i % 13}.{i % 10}"
        for i in range(count)
    )
    return ("time,transit_time [us],time_difference [ns]\n" + "\n".join(rows)).encode()


def properties(count: int) -> tuple[float, float]:
    """Water at many temperatures, three properties, against three plain Horner evaluations of degree 12 in chunks."""
    temperatures = np.linspace(280.0, 360.0, count)
    coefficients = np.linspace(1.0, 0.1, 13)

    def floor() -> None:
        for _ in range(3):
            for start in range(0, count, 8192):
                x = temperatures[start : start + 8192] / 400
                total = coefficients[-1] + 0 * x
                for c in coefficients[-2::-1]:
                    total *= x
                    total += c

    return median_seconds(lambda: medium_properties("water", temperatures, 6e5)), median_seconds(floor)


def intake(count: int) -> tuple[float, float]:
    """A logger's file to packed blocks against a bare typed parse of its bytes; more in `tests.benchmarks.intake`."""
    text = log_bytes(count)
    return median_seconds(lambda: take(text)), median_seconds(lambda: parse_only(text))


def reduction(count: int) -> tuple[float, float]:
    """Blocks decoded and turned into flow against the flow formula in bare numpy on arrays at hand."""
    taken = take_in(io.BytesIO(log_text(count)), UTC, 10**9)
    setup = steel_setup()
    transit, difference = np.full(count, 311e-6), np.full(count, 170e-9)

    def floor() -> None:
        in_medium = transit - 27e-6
        velocity = difference / (2 * 2.46e-4 * in_medium)
        _ = velocity * 0.948 * 0.0324
        _ = 0.4062 / in_medium * np.sqrt(2 / (1 + np.sqrt(1 - (4.92e-4 * 0.4062 / in_medium) ** 2)))

    def ours() -> None:
        for _, content in taken.blocks:
            _, columns = decode_block(content)
            flow_from_times(setup, columns["transit_time"] * 1e-6, columns["time_difference"] * 1e-9)

    return median_seconds(ours), median_seconds(floor)


def main(count: int) -> None:
    figures = {}
    for benchmark in (properties, intake, reduction):
        ours, floor = benchmark(count)
        figures[benchmark.__name__] = {
            "ratio": round(ours / floor, 2),
            "seconds": round(ours, 4),
            "floor_seconds": round(floor, 4),
        }
    print(json.dumps({"readings": count, **figures}, indent=1))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
