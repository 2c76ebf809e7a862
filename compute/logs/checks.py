"""Sanity checks of a log, block by block: its times, and whether its numbers are possible in their units.

Readings are not changed or excluded; each irregularity becomes a finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from compute.base.checks import Checks
from compute.base.messages import Finding, finding, quantity
from compute.base.unit_table import Unit
from compute.logs.segments import moment
from compute.logs.unit_checks import UnitCheck

Times = NDArray[np.int64]
Columns = Mapping[str, NDArray[np.float64]]

SECOND = 1_000_000
# Values of common practice, without a source.
GAP_INTERVALS = 2.5
STEP_BACK_INTERVALS = 10
MIN_STEP_BACK = 60 * SECOND
# Time zone offsets are multiples of this.
OFFSET_STEP = 15 * 60 * SECOND
MAX_OFFSET = 14 * 3600 * SECOND
EXAMPLES = 5
INTERVALS_FOR_MEDIAN = 65_536


@dataclass(slots=True)
class _Tally:
    """Count of an irregularity, its total size, and the first times and sizes [us]."""

    count: int = 0
    total: int = 0
    examples: list[tuple[int, int]] = field(default_factory=list)

    def add(self, at: Times, sizes: Times) -> None:
        self.count += len(at)
        self.total += int(sizes.sum())
        room = EXAMPLES - len(self.examples)
        self.examples += [(int(a), int(s)) for a, s in zip(at[:room], sizes[:room], strict=True)]

    @property
    def examples_listed(self) -> dict[str, Any]:
        """Return parameters of the messages: the count and the first times."""
        return {
            "count": self.count,
            "times": [moment(at) for at, _ in self.examples],
            "more": self.count > len(self.examples),
        }

    @property
    def sizes(self) -> list[Any]:
        return [_duration(size) for _, size in self.examples]


class BlockCheck(Protocol):
    """A check fed with a log block by block, in the order of the file."""

    def feed(self, times: Times, columns: Columns) -> None:
        """The next readings: (n,) times [us] since 1970 UTC, and (n,) columns; n > 0."""

    def findings(self) -> list[Finding]:
        """The findings on all readings fed so far."""


LOG_CHECKS: Checks[Mapping[str, Unit], BlockCheck] = Checks("log")


class LogCheck:
    """Check the readings of a log, block by block in the order of the file.

    Parameters
    ----------
    units : mapping of column to Unit  conversion of each column fed to SI; none for those in SI already
    """

    def __init__(self, units: Mapping[str, Unit] | None = None) -> None:
        self._checks = LOG_CHECKS.outcomes(units or {})

    def feed(self, times: Times, columns: Columns) -> None:
        """The next readings: (n,) times [us] since 1970 UTC, and (n,) columns."""
        if len(times):
            for check in self._checks:
                check.feed(times, columns)

    def findings(self) -> list[Finding]:
        """The findings on all readings fed so far."""
        return [one for check in self._checks for one in check.findings()]


@LOG_CHECKS.register
class _TimesCheck:
    """Gaps, changes of the clock, and times out of order."""

    def __init__(self, _units: Mapping[str, Unit]) -> None:
        self._interval: float | None = None
        self._tail: Times = np.empty(0, dtype=np.int64)
        self._gaps, self._ahead, self._back, self._out_of_order = _Tally(), _Tally(), _Tally(), _Tally()

    def feed(self, times: Times, columns: Columns) -> None:
        self._order(np.concatenate((self._tail, times)), last=False)

    def findings(self) -> list[Finding]:
        self._order(self._tail, last=True)
        return self._times_findings()

    def _order(self, times: Times, last: bool) -> None:
        """Check the steps between readings; those of the last two wait for the next block."""
        if len(times) < 3 and not last:
            self._tail = times
            return
        steps = np.diff(times)
        if self._interval is None:
            ahead = steps[steps > 0]
            self._interval = float(np.median(ahead[:INTERVALS_FOR_MEDIAN])) if len(ahead) else None
        if self._interval is None or not len(steps):
            self._tail = times[-1:]
            return
        if steps.min() >= 0 and steps.max() <= GAP_INTERVALS * self._interval:
            self._tail = times[-2:]
            return
        kept = self._judge(times, last)
        self._tail = kept[-1:] if last else kept[-2:]

    def _judge(self, times: Times, last: bool) -> Times:
        """Count the irregular steps and return the times without the stray ones."""
        interval = self._interval or 0.0
        stray = _strays(times)
        self._out_of_order.add(times[stray], np.zeros(int(stray.sum()), dtype=np.int64))
        kept = times[~stray]
        before, steps = kept[:-1], np.diff(kept)
        if not last:  # the step to the last reading is judged with the next block
            before, steps = before[:-1], steps[:-1]
        least = max(MIN_STEP_BACK, STEP_BACK_INTERVALS * interval)
        back, small = steps <= -least, (steps < 0) & (steps > -least)
        self._back.add(before[back], -steps[back])
        self._out_of_order.add(kept[1:][: len(steps)][small], -steps[small])
        gap = steps > GAP_INTERVALS * interval
        off = np.abs(steps - interval - np.rint((steps - interval) / OFFSET_STEP) * OFFSET_STEP)
        clock = gap & (steps >= OFFSET_STEP) & (steps <= MAX_OFFSET) & (off <= max(interval, SECOND))
        self._ahead.add(before[clock], steps[clock])
        self._gaps.add(before[gap & ~clock], steps[gap & ~clock])
        return kept

    def _times_findings(self) -> list[Finding]:
        findings = []
        if self._gaps.count:
            findings.append(
                finding(
                    "log-gaps",
                    "info",
                    "log.time",
                    total=_duration(self._gaps.total),
                    interval=_duration(self._interval or 0),
                    **self._gaps.examples_listed,
                )
            )
        if self._ahead.count:
            listed = self._ahead.examples_listed
            findings.append(
                finding("log-clock-ahead", "warning", "log.time", steps=self._ahead.sizes, **listed)
            )
        if self._back.count:
            listed = self._back.examples_listed
            findings.append(
                finding("log-clock-back", "warning", "log.time", steps=self._back.sizes, **listed)
            )
        if self._out_of_order.count:
            findings.append(
                finding("log-out-of-order", "info", "log.time", **self._out_of_order.examples_listed)
            )
        return findings


@LOG_CHECKS.register
class _RepeatsCheck:
    """Rows and times that occur twice in a row."""

    def __init__(self, _units: Mapping[str, Unit]) -> None:
        self._last: tuple[int, dict[str, float]] | None = None
        self._same_time, self._same_row = _Tally(), _Tally()

    def feed(self, times: Times, columns: Columns) -> None:
        self._repeats(times, columns)
        self._last = int(times[-1]), {name: float(values[-1]) for name, values in columns.items()}

    def findings(self) -> list[Finding]:
        findings = []
        if self._same_row.count:
            findings.append(
                finding("log-rows-repeated", "warning", "log.time", **self._same_row.examples_listed)
            )
        if self._same_time.count:
            findings.append(
                finding("log-times-repeated", "info", "log.time", **self._same_time.examples_listed)
            )
        return findings

    def _repeats(self, times: Times, columns: Columns) -> None:
        same = np.diff(times, prepend=self._last[0] if self._last else times[0] - 1) == 0
        if not same.any():
            return
        at = np.flatnonzero(same)
        equal = np.ones(len(at), dtype=bool)
        for name, values in columns.items():
            before = np.where(at > 0, values[at - 1], self._last[1][name] if self._last else np.nan)
            equal &= (values[at] == before) | (np.isnan(values[at]) & np.isnan(before))
        zeros = np.zeros(len(at), dtype=np.int64)
        self._same_row.add(times[at[equal]], zeros[equal])
        self._same_time.add(times[at[~equal]], zeros[~equal])


LOG_CHECKS.register(UnitCheck)


def _strays(times: Times) -> NDArray[np.bool_]:
    """Return single readings that lie outside their two neighbours, which are in order."""
    stray = np.zeros(len(times), dtype=bool)
    before, at, after = times[:-2], times[1:-1], times[2:]
    stray[1:-1] = (after > before) & ((at > after) | (at < before))
    stray[1:] &= ~stray[:-1]  # of two swapped readings one is enough
    return stray


def _duration(microseconds: float) -> Any:
    return quantity(microseconds / SECOND, "duration")
