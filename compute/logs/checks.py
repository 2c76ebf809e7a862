"""Sanity checks of a log as it streams by: its times, and whether its numbers can be in the units they are said to be.

Nothing is changed or left out; what is odd becomes a finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from compute.base.findings import Finding, Severity
from compute.base.unit_table import Unit
from compute.logs.unit_checks import UnitCheck

Times = NDArray[np.int64]
Columns = Mapping[str, NDArray[np.float64]]

SECOND = 1_000_000
# Figures of trade custom without a source.
GAP_INTERVALS = 2.5
STEP_BACK_INTERVALS = 10
MIN_STEP_BACK = 60 * SECOND
# Offsets of zones are multiples of this.
OFFSET_STEP = 15 * 60 * SECOND
MAX_OFFSET = 14 * 3600 * SECOND
EXAMPLES = 5
INTERVALS_FOR_MEDIAN = 65_536


@dataclass(slots=True)
class _Tally:
    """How often something was met, how large in all, and the first times and sizes [us]."""

    count: int = 0
    total: int = 0
    examples: list[tuple[int, int]] = field(default_factory=list)

    def add(self, at: Times, sizes: Times) -> None:
        self.count += len(at)
        self.total += int(sizes.sum())
        room = EXAMPLES - len(self.examples)
        self.examples += [(int(a), int(s)) for a, s in zip(at[:room], sizes[:room], strict=True)]

    @property
    def times(self) -> str:
        listed = ", ".join(_clock(at) for at, _ in self.examples)
        return listed + (" and so on" if self.count > len(self.examples) else "")

    @property
    def steps(self) -> str:
        listed = ", ".join(f"{_span(size)} at {_clock(at)}" for at, size in self.examples)
        return listed + (" and so on" if self.count > len(self.examples) else "")


class LogCheck:
    """Fed the readings of a log in the file's order, tells what is odd about them.

    Parameters
    ----------
    units : mapping of column to Unit  conversion of each column fed to SI; none for those in SI already
    """

    def __init__(self, units: Mapping[str, Unit] | None = None) -> None:
        self._units = UnitCheck(units or {})
        self._interval: float | None = None
        self._tail: Times = np.empty(0, dtype=np.int64)
        self._last: tuple[int, dict[str, float]] | None = None
        self._gaps, self._ahead, self._back = _Tally(), _Tally(), _Tally()
        self._out_of_order, self._same_time, self._same_row = _Tally(), _Tally(), _Tally()

    def feed(self, times: Times, columns: Columns) -> None:
        """The next readings: (n,) times [us] since 1970 UTC, and (n,) columns."""
        if not len(times):
            return
        self._repeats(times, columns)
        self._order(np.concatenate((self._tail, times)), last=False)
        self._units.feed(times, columns)
        self._last = int(times[-1]), {name: float(values[-1]) for name, values in columns.items()}

    def findings(self) -> list[Finding]:
        """What was found in all that was fed; a log may be fed on afterwards."""
        self._order(self._tail, last=True)
        return [
            *self._times_findings(),
            *self._repeat_findings(),
            *self._units.findings(),
        ]

    def _order(self, times: Times, last: bool) -> None:
        """Judge the steps between readings; those of the last two wait for what comes next."""
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
        """Count what is odd about the steps; hands back the times without the strays."""
        interval = self._interval or 0.0
        stray = _strays(times)
        self._out_of_order.add(times[stray], np.zeros(int(stray.sum()), dtype=np.int64))
        kept = times[~stray]
        before, steps = kept[:-1], np.diff(kept)
        if not last:  # the step to the last reading is judged when its neighbour is known
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

    def _times_findings(self) -> list[Finding]:
        findings = []
        interval = _span(self._interval or 0)
        if self._gaps.count:
            detail = (
                f"{_times(self._gaps.count, 'gap')} in the log, {_span(self._gaps.total)} in all, where readings come every {interval}: "
                f"{self._gaps.steps}. The mean does not know the flow of those times."
            )
            findings.append(_finding("log-gaps", "info", detail, self._gaps.count))
        if self._ahead.count:
            detail = (
                f"The times step ahead by what a change of time zone or of summer time would: {self._ahead.steps}. If the logger's clock "
                "was set during the log, its times before or after are off."
            )
            findings.append(_finding("log-clock-ahead", "warning", detail, self._ahead.count))
        if self._back.count:
            detail = (
                f"The times step back: {self._back.steps}. Either the logger's clock was set, or the file holds a stretch twice or two logs "
                "in the wrong order. All rows were kept in the file's order."
            )
            findings.append(_finding("log-clock-back", "warning", detail, self._back.count))
        if self._out_of_order.count:
            detail = f"{_times(self._out_of_order.count, 'row')} out of order, at {self._out_of_order.times}. They were kept where they stand."
            findings.append(_finding("log-out-of-order", "info", detail, self._out_of_order.count))
        return findings

    def _repeat_findings(self) -> list[Finding]:
        findings = []
        if self._same_row.count:
            detail = (
                f"{_times(self._same_row.count, 'row')} the same as the one before in time and values, at {self._same_row.times}. They were "
                "kept, and make the scatter look smaller than it is."
            )
            findings.append(_finding("log-rows-repeated", "warning", detail, self._same_row.count))
        if self._same_time.count:
            detail = (
                f"{_times(self._same_time.count, 'row')} with the time of the one before and other values, at {self._same_time.times}. "
                "Either the logger writes faster than its times tell apart, or its clock stood still."
            )
            findings.append(_finding("log-times-repeated", "info", detail, self._same_time.count))
        return findings


def _strays(times: Times) -> NDArray[np.bool_]:
    """Readings that alone lie outside the two beside them, which are in order themselves."""
    stray = np.zeros(len(times), dtype=bool)
    before, at, after = times[:-2], times[1:-1], times[2:]
    stray[1:-1] = (after > before) & ((at > after) | (at < before))
    stray[1:] &= ~stray[:-1]  # of two that changed places one is enough
    return stray


def _finding(code: str, severity: Severity, detail: str, count: int) -> Finding:
    return Finding(code, severity, detail, "log.time", float(count))


def _times(count: int, what: str) -> str:
    return f"One {what}" if count == 1 else f"{count:,} {what}s"


def _clock(at: int) -> str:
    return f"{datetime.fromtimestamp(0, UTC) + timedelta(microseconds=at):%Y-%m-%d %H:%M:%S} UTC"


def _span(microseconds: float) -> str:
    seconds = microseconds / SECOND
    for size, name in ((86_400, "d"), (3600, "h"), (60, "min")):
        if seconds >= 2 * size or (seconds >= size and seconds % size == 0):
            return f"{seconds / size:.4g} {name}"
    return f"{seconds:.3g} s"
