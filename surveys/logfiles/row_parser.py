"""Rows of a log read one by one: each gives a reading, or is rejected with the column and the reason."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from compute.base.messages import Message, message, term
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
    """A row that could not be read: its line in the file, the column, and the reason."""

    line: int
    column: str
    reason: Message

    def as_json(self) -> dict[str, Any]:
        """The row as it is stored; its reason is a message."""
        return {"line": self.line, "column": self.column, **self.reason.stored()}


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
    """A row that cannot be read: the column, and the reason."""

    def __init__(self, column: str, reason: Message) -> None:
        super().__init__(column, reason)
        self.column, self.reason = column, reason


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
            rejected_rows.append(RejectedRow(n, wrong.column, wrong.reason))
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
    """The lines of a chunk without their ends; only CR and LF end a line."""
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
            raise RowWrong("", message("row-quotes-invalid")) from None
    else:
        cells = line.split(plan.delimiter)
    if len(cells) < plan.width:
        raise RowWrong("", message("row-columns-missing", columns=len(cells), needed=plan.width))
    if plan.header_cells and any(cells[plan.header_cells :]):
        raise RowWrong("", message("row-columns-extra", columns=len(cells), named=plan.header_cells))
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
        reason = message("time-invalid/pattern", cell=shown(text), pattern=log_format.pattern)
    else:
        text = "T".join(stripped)
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            moment = None
        reason = message("time-invalid/iso", cell=shown(text))
    if moment is None:
        raise RowWrong(TIME, reason)
    try:
        is_local = moment.utcoffset() is None
        microseconds = (moment.replace(tzinfo=EPOCH.tzinfo) if is_local else moment) - EPOCH
    except OverflowError:
        raise RowWrong(TIME, reason) from None
    return _in_range(microseconds // MICROSECOND, text), is_local


def _counted(text: str, plan: Plan) -> int:
    count = number_in(text, plan.log_format.decimal_mark)
    if count is None or abs(count) > 1e16:
        unit = term(plan.log_format.time.form.split("-")[1])
        raise RowWrong(TIME, message("time-invalid/count", cell=shown(text), unit=unit))
    return _in_range(
        int(np.rint(count * UNITS_A_SECOND[plan.log_format.time.form])) + (plan.start or 0), text
    )


def _in_range(microseconds: int, text: str) -> int:
    if not EARLIEST <= microseconds < LATEST:
        raise RowWrong(TIME, time_out_of_range(shown(text)))
    return microseconds


def value_in(text: str, number: Number, plan: Plan) -> float:
    """A cell's number; nan where a column that is not needed has no value."""
    name, stripped = number.column.name, text.strip()
    value = number_in(stripped, plan.log_format.decimal_mark)
    if stripped in plan.log_format.no_value or (value is not None and value in plan.no_numbers):
        if number.needed:
            raise RowWrong(name, message("value-missing", cell=shown(stripped)))
        return math.nan
    if value is None:
        raise RowWrong(name, message("value-invalid", cell=shown(text)))
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
    """A cell as a message shows it, without control characters."""
    return "".join(one if one.isprintable() else " " for one in text[:MAX_CELL_SHOWN])


def time_out_of_range(cell: str | None = None) -> Message:
    """The reason for a time outside the years that a log may have."""
    return message("time-out-of-range", cell=cell, first_year=FIRST_YEAR, last_year=LAST_YEAR)
