"""Rows of a log to readings: many at once where all are in order, one by one where any is not.

Both ways take the same rows for the same readings; only the second can tell what is wrong with a row.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo

import numpy as np
from numpy.typing import NDArray

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# The form of time that is read many at once: 2026-10-06T09:30:00 and up to six decimals, without an offset.
TIME_MARKS = {4: b"-", 7: b"-", 13: b":", 16: b":"}
SHORTEST_TIME, LONGEST_TIME = 19, 26


@dataclass(frozen=True, slots=True)
class Refusal:
    """A row that could not be read: its line in the file, the column, and what was wrong."""

    line: int
    column: str
    detail: str


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the columns stand, what parts them, and the zone of times without an offset."""

    delimiter: str
    time_at: int
    numbers: tuple[tuple[str, int], ...]
    zone: tzinfo

    @property
    def width(self) -> int:
        """Columns a row must have."""
        return max(self.time_at, *(position for _, position in self.numbers)) + 1


@dataclass(slots=True)
class Rows:
    """Readings of some lines: times in microseconds since 1970 UTC, columns as the file gave them; rows refused."""

    times: NDArray[np.int64]
    columns: dict[str, NDArray[np.float64]]
    refusals: list[Refusal] = field(default_factory=list)


def read_rows(lines: Sequence[str], first_line: int, layout: Layout) -> Rows:
    """Read lines of a log; `first_line` is the number of the first in its file."""
    found = _all_at_once(lines, layout)
    return found if found is not None else _one_by_one(lines, first_line, layout)


def _all_at_once(lines: Sequence[str], layout: Layout) -> Rows | None:
    """Every line, or None if any is not plainly in order."""
    times = _plain_times(
        [line.split(layout.delimiter, layout.time_at + 1)[layout.time_at :][:1] for line in lines],
        layout.zone,
    )
    if times is None:
        return None
    positions = [position for _, position in layout.numbers]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            values = np.loadtxt(
                lines, delimiter=layout.delimiter, usecols=positions, comments=None, ndmin=2, dtype=float
            )
    except (ValueError, IndexError, UserWarning, DeprecationWarning):
        return None
    if values.shape != (len(lines), len(positions)) or not np.isfinite(values).all():
        return None
    columns = {name: np.ascontiguousarray(values[:, i]) for i, (name, _) in enumerate(layout.numbers)}
    return Rows(times, columns)


def _plain_times(cells: list[list[str]], zone: tzinfo) -> NDArray[np.int64] | None:
    """Times in the plain form within one offset of the zone, as microseconds since 1970 UTC."""
    texts = [cell[0].strip() for cell in cells if cell]
    if len(texts) < len(cells) or not texts:
        return None
    try:
        raw = np.array(texts, dtype="S")
    except UnicodeEncodeError:
        return None
    lengths = np.char.str_len(raw)
    if raw.itemsize > LONGEST_TIME or lengths.min() < SHORTEST_TIME:
        return None
    letters = raw.view("S1").reshape(len(raw), raw.itemsize)
    if not all((letters[:, at] == mark).all() for at, mark in TIME_MARKS.items()):
        return None
    if not np.isin(letters[:, 10], (b"T", b" ")).all() or np.isin(letters[:, 19:], (b"Z", b"+", b"-")).any():
        return None
    try:
        local = raw.astype("U").astype("datetime64[us]").astype(np.int64)
    except ValueError:
        return None
    return _in_utc(local, zone)


def _in_utc(local: NDArray[np.int64], zone: tzinfo) -> NDArray[np.int64] | None:
    """Local times in UTC, if the zone's offset is one and the same from a day before the first to a day after the last."""
    first, last = (
        EPOCH.replace(tzinfo=None) + timedelta(microseconds=int(end)) for end in (local.min(), local.max())
    )
    if last - first > timedelta(days=2):
        return None
    day = timedelta(days=1)
    offsets = {(first - day).replace(tzinfo=zone).utcoffset(), (last + day).replace(tzinfo=zone).utcoffset()}
    if len(offsets) > 1:
        return None
    offset = offsets.pop() or timedelta()
    return local - offset // timedelta(microseconds=1)


def _one_by_one(lines: Sequence[str], first_line: int, layout: Layout) -> Rows:
    times: list[int] = []
    values: list[list[float]] = []
    refusals: list[Refusal] = []
    for number, line in enumerate(lines, start=first_line):
        if not line.strip("\r\n"):
            continue
        reading = _reading(line.rstrip("\r\n").split(layout.delimiter), layout)
        if isinstance(reading, _Reading):
            times.append(reading.moment)
            values.append(reading.values)
        else:
            refusals.append(Refusal(number, *reading))
    table = np.array(values).reshape(len(values), len(layout.numbers))
    columns = {name: np.ascontiguousarray(table[:, i]) for i, (name, _) in enumerate(layout.numbers)}
    return Rows(np.array(times, dtype=np.int64), columns, refusals)


@dataclass(frozen=True, slots=True)
class _Reading:
    moment: int
    values: list[float]


def _reading(row: list[str], layout: Layout) -> _Reading | tuple[str, str]:
    """The reading in a row, or the column and what was wrong with it."""
    if len(row) < layout.width:
        return "", f"{len(row)} columns where {layout.width} are needed"
    text = row[layout.time_at].strip()
    try:
        time = datetime.fromisoformat(text)
        if time.tzinfo is None:
            time = time.replace(tzinfo=layout.zone)
        moment = (time - EPOCH) // timedelta(microseconds=1)
    except (ValueError, OverflowError):
        return "time", f"{text[:40]!r} is no ISO 8601 time"
    values = []
    for name, position in layout.numbers:
        value = _number(row[position])
        if value is None:
            return name, f"{row[position][:40]!r} is no number"
        values.append(value)
    return _Reading(moment, values)


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    # float() also takes underscores, inf and nan, none of which a logger means as a reading.
    return value if math.isfinite(value) and "_" not in text else None
