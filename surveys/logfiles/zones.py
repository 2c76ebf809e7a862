"""Conversion of local times to UTC by a zone's offset changes, many at once.

When clocks go back, an hour is repeated. The order of the rows shows which of the two hours a row belongs to: the
first until the times step back, the second from there. When clocks go forward, an hour does not exist, and
a row in it is rejected.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from compute.base.messages import Message, day, message

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
# Times outside these years are not times of a log, and zones have no reliable data for them.
FIRST_YEAR, LAST_YEAR = 1901, 2199
EARLIEST = (datetime(FIRST_YEAR, 1, 1, tzinfo=UTC) - EPOCH) // MICROSECOND
LATEST = (datetime(LAST_YEAR + 1, 1, 1, tzinfo=UTC) - EPOCH) // MICROSECOND
# A smaller step back within the repeated hour is rows out of order, not the clock.
MIN_STEP_BACK = timedelta(minutes=5) // MICROSECOND


def moment_of(microseconds: int) -> datetime:
    """A time in microseconds since 1970 UTC as a datetime."""
    return EPOCH + timedelta(microseconds=microseconds)


@dataclass(frozen=True, slots=True)
class Change:
    """A change of a zone's offset, all in microseconds: when in UTC, and the offset before and after."""

    at: int
    before: int
    after: int


@dataclass(slots=True)
class Repeated:
    """An hour that is repeated: the change, whether rows came before it, and the last row."""

    change: Change
    entered: bool
    last_local: int
    stepped_back: bool = False
    count: int = 0
    left: bool = False


class LocalClock:
    """Conversion of the local times of a log, in the order of the file and piece by piece, to UTC."""

    def __init__(self, zone: tzinfo) -> None:
        self._zone = zone
        self._rows_before = False
        self.repeated: dict[int, Repeated] = {}

    def in_utc(self, local: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Times in UTC, and which of them do not exist in the zone (their UTC has no meaning)."""
        absent = np.zeros(len(local), dtype=bool)
        if not len(local):
            return local, absent
        changes, offset = _changes_near(self._zone, int(local.min()), int(local.max()))
        if not changes:
            utc = local - offset
        else:
            turns = np.array([change.at + max(change.before, change.after) for change in changes])
            offsets = np.array([offset, *(change.after for change in changes)])
            utc = local - offsets[np.searchsorted(turns, local, side="right")]
        for change in changes:
            low, high = sorted((change.at + change.before, change.at + change.after))
            inside = (local >= low) & (local < high)
            if not inside.any():
                continue
            if change.after > change.before:
                absent |= inside
            else:
                self._place(change, local, utc, inside)
        self._rows_before = True
        return utc, absent

    def skipped_hour(self, local: int) -> Message:
        """The reason why a local time does not exist."""
        near, _ = _changes_near(self._zone, local, local)
        change = next(c for c in near if c.at + c.before <= local < c.at + c.after)
        clock, before, after = (
            moment_of(at) for at in (local, change.at + change.before, change.at + change.after)
        )
        return message(
            "time-nonexistent",
            clock=f"{clock:%H:%M:%S}",
            on=day(clock.date()),
            zone=str(self._zone),
            changed_from=f"{before:%H:%M}",
            changed_to=f"{after:%H:%M}",
        )

    def _place(
        self, change: Change, local: NDArray[np.int64], utc: NDArray[np.int64], inside: NDArray[np.bool_]
    ) -> None:
        """Put the rows of a repeated hour into its first or second pass, by their order."""
        positions = np.flatnonzero(inside)
        times = local[positions]
        met = self.repeated.get(change.at)
        if met is None:
            entered = self._rows_before or positions[0] > 0
            met = self.repeated[change.at] = Repeated(change, entered, int(times[0]))
        steps = np.diff(times, prepend=met.last_local)
        second = np.logical_or.accumulate(steps < -MIN_STEP_BACK) | met.stepped_back
        utc[positions] = times - np.where(second, change.after, change.before)
        met.last_local, met.stepped_back = int(times[-1]), bool(second[-1])
        met.count += len(times)


def _changes_near(zone: tzinfo, first: int, last: int) -> tuple[list[Change], int]:
    """Changes that can matter to local times from first to last, and the offset before the first of them."""
    day = timedelta(days=2) // MICROSECOND
    first_year, last_year = moment_of(first - day).year, moment_of(last + day).year
    changes = [
        change
        for year in range(first_year, last_year + 1)
        for change in _changes_in(zone, year)
        if first - day <= change.at <= last + day
    ]
    return changes, changes[0].before if changes else _offset(zone, first - day)


@lru_cache(maxsize=2048)
def _changes_in(zone: tzinfo, year: int) -> tuple[Change, ...]:
    """Changes of a year by UTC, found between days and narrowed down to the second."""
    second = 1_000_000
    start = (datetime(year, 1, 1, tzinfo=UTC) - EPOCH) // MICROSECOND
    end = (datetime(year + 1, 1, 1, tzinfo=UTC) - EPOCH) // MICROSECOND
    day = 86_400 * second
    found = []
    for low in range(start, end, day):
        high = min(low + day, end)
        before, after = _offset(zone, low), _offset(zone, high)
        if before == after:
            continue
        while high - low > second:
            middle = (low + high) // 2 // second * second
            if _offset(zone, middle) == before:
                low = middle
            else:
                high = middle
        found.append(Change(high, before, after))
    return tuple(found)


def _offset(zone: tzinfo, utc: int) -> int:
    return (moment_of(utc).astimezone(zone).utcoffset() or timedelta()) // MICROSECOND
