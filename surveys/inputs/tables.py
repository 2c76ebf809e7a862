"""Tables people upload: CSV or XLSX in, rows of text by column name out; nothing in them is run or trusted."""

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
        raise _bad(f"The file is larger than {MAX_BYTES // 1_000_000} MB.", "file-too-large")
    lines = _xlsx(content) if content.startswith(ZIP) else _csv(content)
    header = [name.strip().lower() for name in next(lines, [])]
    while header and not header[-1]:
        header.pop()
    _check_header(header, set(columns))
    rows = []
    for number, line in enumerate(lines, start=2):
        if any(cell.strip() for cell in line[len(header) :]):
            raise _bad(f"Row {number} has more cells than the header has columns.", "row-too-long")
        cells = {name: cell.strip() for name, cell in zip(header, line, strict=False) if cell.strip()}
        if cells:
            rows.append(Row(number, cells))
        if len(rows) > MAX_ROWS or number > 5 * MAX_ROWS:
            raise _bad(f"More than {MAX_ROWS} rows; send them in several files.", "too-many-rows")
    if not rows:
        raise _bad("The table has no rows.", "no-rows")
    return rows


def _bad(detail: str, code: str) -> ServiceError:
    return ServiceError(detail, code=code, field="file")


def _check_header(header: list[str], known: set[str]) -> None:
    unknown = [name for name in header if name not in known]
    if not header or unknown:
        wrong = (
            f" Not known: {', '.join(name[:40] or '(empty)' for name in unknown[:10])}." if unknown else ""
        )
        raise _bad(
            f"The first line names the columns, of: {', '.join(sorted(known))}.{wrong}", "columns-unknown"
        )
    if len(set(header)) < len(header):
        raise _bad("A column is there twice.", "duplicate-column")


def _csv(content: bytes) -> Iterator[list[str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _bad(
            "The file is neither XLSX nor UTF-8 text; save it as one of them.", "file-not-text"
        ) from None
    if "\0" in text:
        raise _bad("The file is neither XLSX nor text.", "file-not-text")
    first = text.split("\n", 1)[0]
    delimiter = max((";", "\t", ","), key=first.count)
    try:
        for line in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
            if len(line) > MAX_COLUMNS or any(len(cell) > MAX_CELL_LENGTH for cell in line):
                raise _bad("A row has too many or too long cells; this is no such table.", "row-too-long")
            yield line
    except csv.Error as error:
        raise _bad(f"The CSV cannot be read: {error}.", "csv-invalid") from None


def _xlsx(content: bytes) -> Iterator[list[str]]:
    import defusedxml
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    if not defusedxml or not openpyxl.DEFUSEDXML:
        raise RuntimeError("openpyxl must read XML by defusedxml")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            if sum(part.file_size for part in parts.infolist()) > MAX_UNZIPPED_BYTES:
                raise _bad("The XLSX file unzips to far more than a table of certificates.", "file-too-large")
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
    ) as error:
        # What a damaged or hostile workbook makes the reader raise; defusedxml's refusals are ValueErrors.
        raise _bad(f"The XLSX file cannot be read ({type(error).__name__}).", "xlsx-invalid") from None


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
