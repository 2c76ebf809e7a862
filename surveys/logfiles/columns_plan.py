"""Positions of the columns in a file's rows, from log format and header."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from compute.base.errors import ComputeError
from compute.base.messages import field_name
from compute.base.unit_table import unit_named
from surveys.core.errors import ServiceError
from surveys.logfiles.columns import KIND_BY_COLUMN, SUFFICIENT, TIME, Column
from surveys.logfiles.format import MAX_COLUMNS, At, ColumnAt, LogFormat, start_named, zone_named
from surveys.logfiles.row_parser import number_in
from surveys.logfiles.zones import EPOCH, MICROSECOND, LocalClock

HEADER_CELL = re.compile(r"^\s*([A-Za-z_]{1,40})\s*(?:\[([^\[\]]{1,20})\])?\s*$")
UNIT_IN_BRACKETS = re.compile(r"[\[(]([^\[\]()]{1,20})[\])]\s*$")
MAX_LENGTH_SHOWN = 60


@dataclass(frozen=True, slots=True)
class Number:
    """A column to be read: the quantity, its position from 0, and whether a row can do without it."""

    column: Column
    at: int
    turned: bool
    needed: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """How the rows of one file are read.

    `header_cells` is 0 without a header. `time_at` is one position, or those of date and clock. `start` is
    what elapsed seconds count from, in microseconds since 1970 UTC.
    """

    log_format: LogFormat
    delimiter: str
    header_cells: int
    time_at: tuple[int, ...]
    numbers: tuple[Number, ...]
    unread: tuple[str, ...]
    zone: tzinfo
    start: int | None

    @property
    def width(self) -> int:
        """Columns a row must have."""
        return max(*self.time_at, *(number.at for number in self.numbers)) + 1

    @property
    def columns(self) -> tuple[Column, ...]:
        """The quantities read, in the file's order."""
        return tuple(number.column for number in self.numbers)

    @property
    def no_numbers(self) -> tuple[float, ...]:
        """Those of the texts for no value that are numbers, such as -9999."""
        found = (number_in(text, self.log_format.decimal_mark) for text in self.log_format.no_value)
        return tuple(value for value in found if value is not None)


def plan_of(
    log_format: LogFormat,
    delimiter: str,
    header: Sequence[str] | None,
    zone: tzinfo,
    starts_at: datetime | None,
) -> Plan:
    """Find every column of a log format in a header (None: there is none).

    Raises ServiceError if a column is missing or repeated, a unit is missing or unknown, or the start is missing.
    """
    cells = list(header or ())
    if len(cells) > MAX_COLUMNS:
        raise ServiceError("too-many-columns", field="file", at_most=MAX_COLUMNS)
    zone = zone_named(log_format.time.zone) or zone
    if log_format.columns:
        time_at, found = _by_log_format(log_format, cells)
    else:
        time_at, found = _by_header(log_format, cells)
    found.sort(key=lambda pair: pair[1])
    needed = _needed([column.name for column, _, _ in found])
    numbers = tuple(Number(column, at, turned, column.name in needed) for column, at, turned in found)
    read = {*time_at, *(number.at for number in numbers)}
    unread = tuple(cell.strip()[:MAX_LENGTH_SHOWN] for n, cell in enumerate(cells) if n not in read)
    start = _start(log_format, zone, starts_at)
    return Plan(log_format, delimiter, len(cells), time_at, numbers, unread, zone, start)


def _by_header(
    log_format: LogFormat, cells: list[str]
) -> tuple[tuple[int, ...], list[tuple[Column, int, bool]]]:
    """The plain way: the header's cells are our names with units."""
    times = [at for at in (log_format.time.at, log_format.time.clock) if at is not None]
    plain_time = times == [TIME]
    names: set[str] = set()
    found: list[tuple[Column, int, bool]] = []
    time_at: list[int] = [] if plain_time else [_position(at, cells, "time") for at in times]
    for position, cell in enumerate(cells):
        match = HEADER_CELL.match(cell)
        name = match[1].lower() if match else ""
        if name in names:
            raise ServiceError("duplicate-column/log", field="file", name=name)
        if plain_time and name == TIME:
            names.add(name)
            time_at.append(position)
        elif match and name in KIND_BY_COLUMN and position not in time_at:
            names.add(name)
            found.append((Column(name, _unit(name, match[2])), position, False))
    if not time_at or not any(need <= names for need in SUFFICIENT):
        raise ServiceError("columns-missing", field="file", header=_shown(cells))
    return tuple(time_at), found


def _by_log_format(
    log_format: LogFormat, cells: list[str]
) -> tuple[tuple[int, ...], list[tuple[Column, int, bool]]]:
    times = [at for at in (log_format.time.at, log_format.time.clock) if at is not None]
    time_at = tuple(_position(at, cells, "time") for at in times)
    found = []
    for column in log_format.columns:
        at = _position(column.at, cells, column.name)
        found.append((Column(column.name, column.unit or _header_unit(column, cells[at])), at, column.turned))
    positions = [*time_at, *(at for _, at, _ in found)]
    if len(set(positions)) < len(positions):
        raise ServiceError("duplicate-column/shared", field="file")
    return time_at, found


def _position(at: At, cells: list[str], name: str) -> int:
    if isinstance(at, int):
        if cells and at > len(cells):
            raise ServiceError(
                "columns-missing/position",
                field="file",
                column=field_name(f"readings.{name}"),
                position=at,
                columns=len(cells),
            )
        return at - 1
    wanted = at.strip().casefold()
    positions = [n for n, cell in enumerate(cells) if cell.strip().casefold() == wanted]
    if len(positions) > 1:
        raise ServiceError("duplicate-column/log", field="file", name=at[:MAX_LENGTH_SHOWN])
    if not positions:
        raise ServiceError(
            "columns-missing/name",
            field="file",
            name=at[:MAX_LENGTH_SHOWN],
            column=field_name(f"readings.{name}"),
            header=_shown(cells),
        )
    return positions[0]


def _shown(cells: list[str]) -> list[str]:
    return [cell.strip()[:MAX_LENGTH_SHOWN] for cell in cells]


def _header_unit(column: ColumnAt, cell: str) -> str:
    match = UNIT_IN_BRACKETS.search(cell)
    return _unit(column.name, match[1] if match else None)


def _unit(name: str, unit: str | None) -> str:
    if unit is None:
        raise ServiceError("unit-missing/header", field="file", name=name)
    try:
        unit_named(unit.strip(), KIND_BY_COLUMN[name], f"file.{name}")
    except ComputeError as error:
        raise ServiceError.of(error, field="file") from None
    return unit.strip()


def _needed(names: list[str]) -> frozenset[str]:
    """The columns a row cannot do without: the first set of those that serve."""
    return next(need for need in SUFFICIENT if need <= set(names))


def _start(log_format: LogFormat, zone: tzinfo, starts_at: datetime | None) -> int | None:
    if log_format.time.form != "elapsed-seconds":
        return None
    start = start_named(log_format.time.starts_at) if log_format.time.starts_at else starts_at
    if start is None:
        raise ServiceError("start-missing", field="format.time.starts_at")
    if start.tzinfo is not None:
        return (start - EPOCH) // MICROSECOND
    import numpy as np

    clock = LocalClock(zone)
    local = (start.replace(tzinfo=EPOCH.tzinfo) - EPOCH) // MICROSECOND
    utc, absent = clock.in_utc(np.array([local]))
    if absent[0]:
        raise ServiceError(
            "log-format-invalid/start-nonexistent",
            field="format.time.starts_at",
            reason=clock.skipped_hour(local),
        )
    return int(utc[0])
