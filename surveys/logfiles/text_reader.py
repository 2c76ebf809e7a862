"""A text log as pieces in the file's order, parsed on other threads."""

from __future__ import annotations

import codecs
import csv
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import datetime, tzinfo

from surveys.core.errors import ServiceError
from surveys.logfiles.bulk_parser import read_rows
from surveys.logfiles.columns_plan import Plan, plan_of
from surveys.logfiles.format import LogFormat
from surveys.logfiles.row_parser import MAX_LINE_LENGTH, LineTooLong, Piece, split_lines
from surveys.logfiles.text import not_text

CHUNKS_WAITING = 3
LOOKED_AT = 65_536
PLAIN_DELIMITERS = (";", "\t", ",")


def text_plan(
    stream: Iterator[bytes], log_format: LogFormat, zone: tzinfo, starts_at: datetime | None
) -> tuple[Plan, Iterator[bytes], int]:
    """Read the lines before the rows: how to read them, the chunks of rows, and the number of their first line.

    Raises ServiceError if there is no header where the log format has one, or a column is not in it.
    """
    before = (log_format.header_line or 0) + log_format.skip_after_header
    lines, rest = _first_lines(stream, before + (log_format.header_line is None))
    if log_format.header_line is None:
        # The first row only shows the delimiter; it is read with the others.
        header, sample = None, lines[before] if len(lines) > before else ""
    else:
        header = sample = lines[log_format.header_line - 1] if len(lines) >= log_format.header_line else ""
        if len(header) > MAX_LINE_LENGTH:
            raise line_too_long(log_format.header_line)
    delimiter = log_format.delimiter or _delimiter(sample, log_format)
    cells = None if header is None else _header_cells(header, delimiter, log_format.quote)
    plan = plan_of(log_format, delimiter, cells, zone, starts_at)
    return plan, _chain(rest, stream, len(lines) - before, lines), before + 1


def text_pieces(
    stream: Iterator[bytes], plan: Plan, first_line: int, crew: ThreadPoolExecutor
) -> Iterator[Piece]:
    """The rows of chunks in order. Raises ServiceError for a file that is not text."""
    waiting: deque[Future[list[Piece]]] = deque()
    line = first_line

    def results(left: int) -> Iterator[Piece]:
        nonlocal line
        while len(waiting) > left:
            try:
                pieces = waiting.popleft().result()
            except LineTooLong as error:
                raise line_too_long(line + error.line) from None
            except UnicodeDecodeError as error:
                raise not_text("utf-8", error) from None
            for piece in pieces:
                line += piece.lines
                yield piece

    for chunk in stream:
        waiting.append(crew.submit(read_rows, chunk, plan))
        yield from results(CHUNKS_WAITING)
    yield from results(0)


def line_too_long(number: int) -> ServiceError:
    """The rejection of a file with a line that is too long."""
    return ServiceError("line-too-long", field="file", line=number, at_most=MAX_LINE_LENGTH)


def _first_lines(stream: Iterator[bytes], count: int) -> tuple[list[str], bytes]:
    """The first lines of the text, or as many as it has, and what follows them in the last chunk read."""
    lines: list[str] = []
    rest = b""
    while len(lines) < count:
        if not rest:
            if not (rest := next(stream, b"")):
                break
            _check_text(rest[:LOOKED_AT])
        end = _line_end(rest)
        try:
            lines += split_lines(rest[:end]) or [""]
        except UnicodeDecodeError as error:
            raise not_text("utf-8", error) from None
        rest = rest[end:]
    return lines, rest


def _check_text(start: bytes) -> None:
    """Reject a file that is not text before its header is read."""
    try:
        codecs.getincrementaldecoder("utf-8")().decode(start)
    except UnicodeDecodeError as error:
        raise not_text("utf-8", error) from None


def _line_end(text: bytes) -> int:
    ends = [at for at in (text.find(b"\n"), text.find(b"\r")) if at >= 0]
    if not ends:
        return len(text)
    end = min(ends)
    return end + (2 if text[end : end + 2] == b"\r\n" else 1)


def _chain(rest: bytes, stream: Iterator[bytes], unread: int, lines: list[str]) -> Iterator[bytes]:
    """The chunks of rows, with the lines read ahead put back."""
    ahead = "".join(f"{line}\n" for line in lines[len(lines) - unread :]) if unread > 0 else ""
    if first := ahead.encode() + rest:
        yield first
    yield from stream


def _delimiter(line: str, log_format: LogFormat) -> str:
    found = [mark for mark in PLAIN_DELIMITERS if mark in line and mark != log_format.decimal_mark]
    if not found:
        raise ServiceError("header-missing", field="file", line=log_format.header_line or 1)
    return found[0]


def _header_cells(line: str, delimiter: str, quote: str) -> list[str]:
    if not quote or quote not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter, quotechar=quote, doublequote=True), [])
    except csv.Error:
        raise ServiceError("header-missing/quotes", field="file") from None
