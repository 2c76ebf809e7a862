"""Reading a logger's file: streamed, every row taken or refused with its reason, the file kept as it came.

The plain layout: UTF-8 text; one header line; a comma, semicolon or tab between the columns; a decimal
point. The first column is `time` (ISO 8601; without an offset it is the site's local time); the others are
named quantities with their unit, such as `transit_time [us]`. Columns of other names are left unread.
"""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from itertools import islice
from typing import IO

import zstandard

from compute.errors import ComputeError
from compute.units import parse_quantity
from surveys.errors import ServiceError
from surveys.readings.codec import BLOCK_ROWS, encode_block
from surveys.readings.columns import KIND_BY_COLUMN, SUFFICIENT, TIME, Column
from surveys.readings.rows import EPOCH, Layout, Refusal, read_rows

REFUSALS_LISTED = 100
LONGEST_LINE = 10_000
MOST_COLUMNS = 64
PART_BYTES = 1 << 20
HEADER_CELL = re.compile(r"^\s*([A-Za-z_]{1,40})\s*(?:\[([^\[\]]{1,20})\])?\s*$")


@dataclass(slots=True)
class Intake:
    """What came out of a file: the file itself in compressed parts, and its readings in blocks."""

    columns: tuple[Column, ...] = ()
    unread_columns: tuple[str, ...] = ()
    size_bytes: int = 0
    sha256: str = ""
    file_parts: list[bytes] = field(default_factory=list)
    blocks: list[tuple[int, bytes]] = field(default_factory=list)
    rows_taken: int = 0
    rows_refused: int = 0
    refusals: list[Refusal] = field(default_factory=list)
    first_reading_at: datetime = EPOCH
    last_reading_at: datetime = EPOCH


class _Kept(io.RawIOBase):
    """Hands the bytes on, and keeps them: checksum, size and compressed parts."""

    def __init__(self, source: IO[bytes], intake: Intake, most_bytes: int) -> None:
        self._source, self._intake, self._most = source, intake, most_bytes
        self._digest = hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        data = self._source.read(min(len(buffer), PART_BYTES))
        if data:
            self._intake.size_bytes += len(data)
            if self._intake.size_bytes > self._most:
                raise ServiceError(
                    f"The file is larger than {self._most // 1_000_000} MB; send it in parts as separate surveys.",
                    code="file-too-large",
                    field="file",
                )
            self._digest.update(data)
            self._intake.file_parts.append(zstandard.ZstdCompressor(level=3).compress(data))
            buffer[: len(data)] = data
        else:
            self._intake.sha256 = self._digest.hexdigest()
        return len(data)


def take_in(source: IO[bytes], zone: tzinfo, most_bytes: int) -> Intake:
    """Read a whole file. `zone` is for times without an offset.

    Raises ServiceError for a file that cannot serve at all: no header, no usable columns, no readable row,
    not UTF-8, too large.
    """
    intake = Intake()
    text = io.TextIOWrapper(
        io.BufferedReader(_Kept(source, intake, most_bytes), PART_BYTES), "utf-8-sig", newline=""
    )
    try:
        lines = _short_lines(text)
        header = next(lines, "")
        delimiter = _delimiter(header)
        positions = _positions(header.rstrip("\r\n").split(delimiter), intake)
        numbers = tuple((column.name, positions[column.name]) for column in intake.columns)
        _take_rows(lines, Layout(delimiter, positions[TIME], numbers, zone), intake)
    except UnicodeDecodeError as error:
        raise ServiceError(
            f"The file is not UTF-8 text (byte {error.object[error.start]:#04x}); save it as UTF-8.",
            code="file-not-text",
            field="file",
        ) from None
    if not intake.rows_taken:
        first = (
            f" The first: line {r.line}, {r.column}: {r.detail}"
            if (r := next(iter(intake.refusals), None))
            else ""
        )
        raise ServiceError(f"No row of the file could be read.{first}", code="no-readings", field="file")
    return intake


def _short_lines(text: io.TextIOWrapper) -> Iterator[str]:
    number = 0
    while line := text.readline(LONGEST_LINE + 1):
        number += 1
        if len(line) > LONGEST_LINE:
            raise ServiceError(
                f"Line {number} is longer than {LONGEST_LINE} characters; this is not a log.",
                code="line-too-long",
                field="file",
            )
        yield line.replace("\0", "\N{REPLACEMENT CHARACTER}")


def _delimiter(header: str) -> str:
    found = [mark for mark in (";", "\t", ",") if mark in header]
    if not found:
        raise ServiceError(
            "The first line must name the columns with a comma, semicolon or tab between them, for example "
            "time,transit_time [us],time_difference [ns].",
            code="header-missing",
            field="file",
        )
    return found[0]


def _positions(cells: list[str], intake: Intake) -> dict[str, int]:
    """Where each known column stands; fills in the intake's columns."""
    if len(cells) > MOST_COLUMNS:
        raise ServiceError(f"More than {MOST_COLUMNS} columns.", code="too-many-columns", field="file")
    positions: dict[str, int] = {}
    columns, unread = [], []
    for position, cell in enumerate(cells):
        match = HEADER_CELL.match(cell)
        name = match[1].lower() if match else ""
        if name in positions:
            raise ServiceError(f"The column {name} is there twice.", code="column-twice", field="file")
        if name == TIME:
            positions[name] = position
        elif match and name in KIND_BY_COLUMN:
            columns.append(Column(name, _unit(name, match[2])))
            positions[name] = position
        else:
            unread.append(cell.strip()[:60])
    if TIME not in positions or not any(need <= positions.keys() for need in SUFFICIENT):
        raise ServiceError(
            "The header must have time and either transit_time with time_difference, or flow_velocity, or "
            f"volume_flow, each with its unit in brackets; it has: {', '.join(c.strip()[:60] for c in cells)}.",
            code="columns-missing",
            field="file",
        )
    intake.columns, intake.unread_columns = tuple(columns), tuple(unread)
    return positions


def _unit(name: str, unit: str | None) -> str:
    if unit is None:
        raise ServiceError(
            f"The column {name} has no unit; write it in brackets, for example {name} [us].",
            code="unit-missing",
            field="file",
        )
    try:
        parse_quantity({"value": 1, "unit": unit.strip()}, KIND_BY_COLUMN[name], f"file.{name}")
    except ComputeError as error:
        raise ServiceError(error.detail, code=error.code, field="file") from None
    return unit.strip()


def _take_rows(lines: Iterator[str], layout: Layout, intake: Intake) -> None:
    earliest, latest = [], []
    number = 2
    while chunk := list(islice(lines, BLOCK_ROWS)):
        rows = read_rows(chunk, number, layout)
        number += len(chunk)
        intake.rows_refused += len(rows.refusals)
        intake.refusals += rows.refusals[: REFUSALS_LISTED - len(intake.refusals)]
        if len(rows.times):
            intake.blocks.append((len(rows.times), encode_block(rows.times, rows.columns)))
            earliest.append(int(rows.times.min()))
            latest.append(int(rows.times.max()))
    intake.rows_taken = sum(count for count, _ in intake.blocks)
    if earliest:
        intake.first_reading_at, intake.last_reading_at = _moment(min(earliest)), _moment(max(latest))


def _moment(microseconds: int) -> datetime:
    return EPOCH + timedelta(microseconds=microseconds)
