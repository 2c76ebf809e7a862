"""Uploaded tables: CSV or XLSX in, rows of text by column name out; no formula of a table is evaluated."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import IO, Any

from surveys.core.errors import ServiceError

MAX_BYTES = 5_000_000
MAX_ROWS = 2_000
MAX_COLUMNS = 100
MAX_CELL_LENGTH = 10_000
# A sheet of that many rows is a few megabytes unzipped; a bomb is a thousand times its file.
MAX_UNZIPPED_BYTES = 50_000_000
ZIP = b"PK\x03\x04"


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table: its number in the file, the header being 1, and its cells that are not empty."""

    number: int
    cells: dict[str, str]


def table_read(source: IO[bytes], columns: Iterable[str]) -> list[Row]:
    """The rows of a CSV or XLSX file (its first sheet), empty ones left out.

    Raises ServiceError for a file that is neither, too large, or whose header names a column twice or one that is not known.
    """
    content = source.read(MAX_BYTES + 1)
    if len(content) > MAX_BYTES:
        raise ServiceError("file-too-large/table", field="file", most_mb=MAX_BYTES // 1_000_000)
    lines = _xlsx(content) if content.startswith(ZIP) else _csv(content)
    header = [name.strip().lower() for name in next(lines, [])]
    while header and not header[-1]:
        header.pop()
    _check_header(header, set(columns))
    rows = []
    for number, line in enumerate(lines, start=2):
        if any(cell.strip() for cell in line[len(header) :]):
            raise ServiceError("row-too-long", field="file", row=number)
        cells = {name: cell.strip() for name, cell in zip(header, line, strict=False) if cell.strip()}
        if cells:
            rows.append(Row(number, cells))
        if len(rows) > MAX_ROWS or number > 5 * MAX_ROWS:
            raise ServiceError("too-many-rows", field="file", count=MAX_ROWS)
    if not rows:
        raise ServiceError("no-rows", field="file")
    return rows


def _check_header(header: list[str], known: set[str]) -> None:
    unknown = [name for name in header if name not in known]
    if not header or unknown:
        raise ServiceError(
            "columns-unknown",
            field="file",
            known=sorted(known),
            unknown=[name[:40] or "–" for name in unknown[:10]] or None,
        )
    if len(set(header)) < len(header):
        raise ServiceError("duplicate-column", field="file")


def _csv(content: bytes) -> Iterator[list[str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ServiceError("file-not-text", field="file") from None
    if "\0" in text:
        raise ServiceError("file-not-text", field="file")
    first = text.split("\n", 1)[0]
    delimiter = max((";", "\t", ","), key=first.count)
    try:
        for line in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
            if len(line) > MAX_COLUMNS or any(len(cell) > MAX_CELL_LENGTH for cell in line):
                raise ServiceError(
                    "row-too-long/limits", field="file", columns=MAX_COLUMNS, characters=MAX_CELL_LENGTH
                )
            yield line
    except csv.Error:
        raise ServiceError("csv-invalid", field="file") from None


def _xlsx(content: bytes) -> Iterator[list[str]]:
    import defusedxml
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    if not defusedxml or not openpyxl.DEFUSEDXML:
        raise RuntimeError("openpyxl must read XML by defusedxml")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            if sum(part.file_size for part in parts.infolist()) > MAX_UNZIPPED_BYTES:
                raise ServiceError(
                    "file-too-large/unzipped", field="file", most_mb=MAX_UNZIPPED_BYTES // 1_000_000
                )
        # Values as last computed, never a formula; row by row.
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
        sheet = book.worksheets[0]
        sheet.reset_dimensions()
        for line in sheet.iter_rows(max_col=MAX_COLUMNS, values_only=True):
            yield [_text(cell) for cell in line]
    except ServiceError:
        raise
    except (
        InvalidFileException,
        zipfile.BadZipFile,
        KeyError,
        ValueError,
        TypeError,
        IndexError,
        OSError,
        SyntaxError,
    ):
        # Errors of the reader for a damaged or hostile workbook; those of defusedxml are ValueErrors.
        raise ServiceError("xlsx-invalid", field="file") from None


def _text(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time().isoformat() == "00:00:00" else cell.isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell)[: MAX_CELL_LENGTH + 1]
