"""Values of a benchmark, and alternating measurement of two functions."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from statistics import median

Clock = Callable[[], float]
wall: Clock = time.perf_counter
# Of this process alone: what else a shared machine does counts little.
cpu: Clock = time.process_time


@dataclass(frozen=True, kw_only=True)
class Figure:
    """Value and its target: a ratio to a floor of the same run, or a value with a unit."""

    what: str
    value: float
    target: float | None = None
    at_least: bool = False
    unit: str = "x"
    size: int | None = None
    seconds: float | None = None
    floor_seconds: float | None = None

    @property
    def holds(self) -> bool | None:
        """Whether the target is met; None without a target."""
        if self.target is None:
            return None
        return self.value >= self.target if self.at_least else self.value <= self.target


Figures = Iterator[Figure]


def ratio(
    what: str,
    ours: Callable[[], object],
    floor: Callable[[], object],
    *,
    repeats: int,
    clock: Clock = wall,
    target: float | None = None,
    at_least: bool = False,
    size: int | None = None,
) -> Figure:
    """Return the median of the ratio to the floor, measured in turns under the same noise, after one warm-up."""
    ours(), floor()
    taken = [(seconds(ours, clock), seconds(floor, clock)) for _ in range(repeats)]
    mine, least = median(one for one, _ in taken), median(other for _, other in taken)
    return Figure(
        what=what, value=mine / least, target=target, at_least=at_least, size=size, seconds=mine, floor_seconds=least,
    )  # fmt: skip


def many(do: Callable[[], object], times: int) -> Callable[[], None]:
    """Return a function that repeats a call, for calls too short to be timed once."""

    def repeated() -> None:
        for _ in range(times):
            do()

    return repeated


def seconds(do: Callable[[], object], clock: Clock = wall) -> float:
    began = clock()
    do()
    return clock() - began


def median_seconds(do: Callable[[], object], repeats: int, clock: Clock = wall) -> float:
    """Return the median of some runs, after one warm-up."""
    do()
    return median(seconds(do, clock) for _ in range(repeats))
