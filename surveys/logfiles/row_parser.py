"""Rows of a log read one by one: each gives a reading, or is refused with the column and what was wrong."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from surveys.logfiles.columns import TIME
from surveys.logfiles.patterns import pattern_of
from surveys.logfiles.zones import EARLIEST, EPOCH, FIRST_YEAR, LAST_YEAR, LATEST, MICROSECOND

if TYPE_CHECKING:
    from surveys.logfiles.columns_plan import Number, Plan

MAX_LINE_LENGTH = 10_000
MAX_CELL_SHOWN = 40
_LINE_END = re.compile(r"\r\n|\n|\r")
UNITS_A_SECOND = {"unix-seconds": 1e6, "unix-milliseconds": 1e3, "elapsed-seconds": 1e6}


@dataclass(frozen=True, slots=True)
class RejectedRow:
    """A row that could not be read: its line in the file, the column, and what was wrong."""

    line: int
    column: str
    detail: str


@dataclass(slots=True)
class Piece:
    """Rows of some lines of a file, not brought to UTC yet.

    `times` are microseconds since 1970, in UTC or, where `local` is true, by the zone's clock; `at` is each
    row's line counted from 0 at the start of the piece, as are the lines of `rejected_rows`.
    """

    lines: int
    times: NDArray[np.int64]
    local: NDArray[np.bool_]
    at: NDArray[np.int64]
    columns: dict[str, NDArray[np.float64]]
    rejected_rows: list[RejectedRow] = field(default_factory=list)


class LineTooLong(Exception):
    """A line too long to be one of a log; `line` counts from 0 at the start of the piece."""

    def __init__(self, line: int) -> None:
        super().__init__(line)
        self.line = line


class RowWrong(Exception):
    """A row that cannot be read: the column, and what was wrong with it."""

    def __init__(self, column: str, detail: str) -> None:
        self.column, self.detail = column, detail


def read_rows_singly(chunk: bytes, plan: Plan) -> Piece:
    """Read whole lines, UTF-8 text.

    Raises UnicodeDecodeError for what is no UTF-8, LineTooLong.
    """
    times: list[int] = []
    local: list[bool] = []
    at: list[int] = []
    values: list[list[float]] = []
    rejected_rows: list[RejectedRow] = []
    lines = split_lines(chunk)
    for n, line in enumerate(lines):
        if len(line) > MAX_LINE_LENGTH:
            raise LineTooLong(n)
        if not line or (plan.log_format.comment and line.startswith(plan.log_format.comment)):
            continue
        try:
            cells = cells_of(line.replace("\0", "\N{REPLACEMENT CHARACTER}"), plan)
            moment, is_local = time_in([cells[position] for position in plan.time_at], plan)
            values.append([value_in(cells[number.at], number, plan) for number in plan.numbers])
        except RowWrong as wrong:
            rejected_rows.append(RejectedRow(n, wrong.column, wrong.detail))
            continue
        times.append(moment)
        local.append(is_local)
        at.append(n)
    table = np.array(values, dtype=np.float64).reshape(len(values), len(plan.numbers))
    columns = {
        number.column.name: np.ascontiguousarray(table[:, n]) + 0.0 for n, number in enumerate(plan.numbers)
    }
    return Piece(
        len(lines),
        np.array(times, np.int64),
        np.array(local, bool),
        np.array(at, np.int64),
        columns,
        rejected_rows,
    )


def split_lines(chunk: bytes) -> list[str]:
    """The lines of a chunk without their ends; what only some programs take for a line end is none here."""
    lines = _LINE_END.split(chunk.decode("utf-8"))
    if lines and not lines[-1]:
        lines.pop()
    return lines


def cells_of(line: str, plan: Plan) -> list[str]:
    """A row's cells, or RowWrong where there are too few or too many."""
    quote = plan.log_format.quote
    if quote and quote in line:
        try:
            cells = next(
                csv.reader([line], delimiter=plan.delimiter, quotechar=quote, doublequote=True, strict=True)
            )
        except (csv.Error, StopIteration):
            raise RowWrong(
                "", "the quotes do not enclose whole cells, or one is opened and not closed in its line"
            ) from None
    else:
        cells = line.split(plan.delimiter)
    if len(cells) < plan.width:
        raise RowWrong("", f"{len(cells)} columns where {plan.width} are needed")
    if plan.header_cells and any(cells[plan.header_cells :]):
        raise RowWrong(
            "",
            f"{len(cells)} columns where the header names {plan.header_cells}: which cell belongs where cannot be told",
        )
    return cells


def time_in(texts: list[str], plan: Plan) -> tuple[int, bool]:
    """A row's time in microseconds, and whether it is by the zone's clock."""
    log_format = plan.log_format.time
    stripped = [text.strip() for text in texts]
    if log_format.form in UNITS_A_SECOND:
        return _counted(stripped[0], plan), False
    if log_format.form == "pattern":
        text = " ".join(stripped)
        moment = pattern_of(log_format.pattern).moment(text)
        what = f"is no time of the form {log_format.pattern}"
    else:
        text = "T".join(stripped)
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            moment = None
        what = "is no ISO 8601 time"
    if moment is None:
        raise RowWrong(TIME, f"{shown(text)} {what}")
    try:
        is_local = moment.utcoffset() is None
        microseconds = (moment.replace(tzinfo=EPOCH.tzinfo) if is_local else moment) - EPOCH
    except OverflowError:
        raise RowWrong(TIME, f"{shown(text)} {what}") from None
    return _in_range(microseconds // MICROSECOND, text), is_local


def _counted(text: str, plan: Plan) -> int:
    count = number_in(text, plan.log_format.decimal_mark)
    if count is None or abs(count) > 1e16:
        raise RowWrong(TIME, f"{shown(text)} is no count of {plan.log_format.time.form.split('-')[1]}")
    return _in_range(
        int(np.rint(count * UNITS_A_SECOND[plan.log_format.time.form])) + (plan.start or 0), text
    )


def _in_range(microseconds: int, text: str) -> int:
    if not EARLIEST <= microseconds < LATEST:
        raise RowWrong(TIME, f"{shown(text)} lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
    return microseconds


def value_in(text: str, number: Number, plan: Plan) -> float:
    """A cell's number; nan where a column that is not needed says it has no value."""
    name, stripped = number.column.name, text.strip()
    value = number_in(stripped, plan.log_format.decimal_mark)
    if stripped in plan.log_format.no_value or (value is not None and value in plan.no_numbers):
        if number.needed:
            raise RowWrong(name, f"{shown(stripped)} stands for no value, and no reading is without it")
        return math.nan
    if value is None:
        raise RowWrong(name, f"{shown(text)} is no number")
    return 0.0 - value if number.turned else value


def number_in(text: str, decimal_mark: str) -> float | None:
    """The finite number a text is, or None."""
    if decimal_mark == ",":
        if "." in text:
            return None
        text = text.replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        return None
    # float() also takes underscores, inf and nan, none of which a logger means as a reading.
    return value if math.isfinite(value) and "_" not in text else None


def shown(text: str) -> str:
    """A cell as a refusal shows it."""
    return repr(text[:MAX_CELL_SHOWN])
