"""Detection of a text file's encoding, delimiter, header and decimal mark."""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from dataclasses import dataclass

from compute.base.messages import Message, message

NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?", re.ASCII)
_DIGITS_ONLY = re.compile(r"[0-9 .,:/;TtZ+-]+(?: ?[AaPp][Mm])?", re.ASCII)
_MONTH = re.compile(r"[0-9]{1,2}[ -][A-Za-z]{3}[ -][0-9]{2,4}(?:[ T].*)?", re.ASCII)
CANDIDATES = (";", "\t", "|", ",", " ")
MARK_NAMES = {";": "semicolon", "\t": "tab", "|": "vertical-bar", ",": "comma", " ": "space"}
BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
LINES_EXAMINED = 400
MIN_CONSISTENT_ROWS = 2


@dataclass(frozen=True, slots=True)
class Sheet:
    """The beginning of a text file as rows of cells.

    `header_line` counts from 1 and is None if there is none; `between` are the rows between header and
    readings, such as one of units.
    """

    delimiter: str
    decimal_mark: str
    header_line: int | None
    header: tuple[str, ...]
    between: tuple[tuple[str, ...], ...]
    rows: tuple[tuple[str, ...], ...]
    comma_is_both: bool


def encoding_of(head: bytes) -> tuple[str, Message, Message | None]:
    """Encoding, the reason for it, and a warning (often none)."""
    for bom, name in BOMS:
        if head.startswith(bom):
            return name, message("encoding-detected/byte-order-mark", encoding=name.upper()), None
    even, odd = head[::2].count(0), head[1::2].count(0)
    if max(even, odd) > len(head) // 8:
        name = "utf-16-le" if odd > even else "utf-16-be"
        return name, message("encoding-detected/zero-bytes", encoding=name.upper()), None
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        name = "cp1252" if any(0x80 <= byte < 0xA0 for byte in head) else "latin-1"
        reason = message("encoding-detected/not-utf-8", encoding=name.upper())
        return name, reason, message("encoding-uncertain", encoding=name.upper())
    return "utf-8", message("encoding-detected", encoding="UTF-8"), None


def lines_of(head: bytes, encoding: str) -> list[str]:
    """The first whole lines; a last line without an end is taken if it may be the file's."""
    text = codecs.getincrementaldecoder(encoding)(errors="replace").decode(head)
    lines = re.split(r"\r\n|\n|\r", text.removeprefix("\N{BYTE ORDER MARK}"))
    last = lines.pop()
    if last and len(lines) < MIN_CONSISTENT_ROWS + 1:
        lines.append(last)
    return lines[:LINES_EXAMINED]


def sheet_of(lines: list[str]) -> Sheet | None:
    """The rows in lines, or None if they seem to be none."""
    best: tuple[tuple[float, int], str, list[list[str]], int] | None = None
    for mark in CANDIDATES:
        table = [split(line, mark) for line in lines]
        widths = Counter(len(row) for row in table[len(table) // 3 :] if len(row) > 1 and _is_reading(row))
        if not widths:
            continue
        width, alike = max(widths.items(), key=lambda pair: (pair[1], pair[0]))
        share = alike / max(sum(1 for line in lines[len(table) // 3 :] if line.strip()), 1)
        score = (share if share > 0.5 else share / 2, -CANDIDATES.index(mark))
        if best is None or score > best[0]:
            best = score, mark, table, width
    if best is None:
        return None
    _, mark, table, width = best
    first = next(n for n, row in enumerate(table) if len(row) == width and _is_reading(row))
    header = _header_before(table, first, width)
    rows = tuple(tuple(row) for row in table[first:] if len(row) == width)
    between = tuple(tuple(row) for row in table[(header or 0) + 1 : first]) if header is not None else ()
    return Sheet(
        mark,
        _decimal_mark(rows, mark),
        None if header is None else header + 1,
        tuple(table[header]) if header is not None else (),
        between,
        rows,
        mark == "," and _halves(table, header, width),
    )


def split(line: str, mark: str) -> list[str]:
    """A line's cells; quotes enclose cells."""
    if '"' in line:
        try:
            return next(csv.reader([line.replace("\0", " ")], delimiter=mark), [])
        except csv.Error:
            pass
    return line.split(mark)


def _is_reading(row: list[str]) -> bool:
    """Whether a row looks like one of readings: digits in at least half of its cells, words in few."""
    filled = [cell.strip() for cell in row if cell.strip()]
    like = [
        cell
        for cell in filled
        if _DIGITS_ONLY.fullmatch(cell) or NUMBER.fullmatch(cell) or _MONTH.fullmatch(cell)
    ]
    return len(like) >= 2 and 2 * len(like) >= len(filled)


def _header_before(table: list[list[str]], first: int, width: int) -> int | None:
    """The row above the readings that has the most words, if it has about as many cells as they."""
    best, most = None, 0
    for n in range(max(first - 4, 0), first):
        filled = [cell.strip() for cell in table[n] if cell.strip()]
        words = sum(1 for cell in filled if re.search(r"[^\W\d_]", cell))
        if (
            len(table[n]) <= width + 1
            and 2 * len(filled) >= width
            and 2 * words >= len(filled)
            and words > most
        ):
            best, most = n, words
    return best


def _decimal_mark(rows: tuple[tuple[str, ...], ...], mark: str) -> str:
    cells = [cell.strip() for row in rows for cell in row]
    commas = sum(1 for cell in cells if "," in cell and NUMBER.fullmatch(cell))
    points = sum(1 for cell in cells if "." in cell and NUMBER.fullmatch(cell))
    return "," if mark != "," and commas > points else "."


def _halves(table: list[list[str]], header: int | None, width: int) -> bool:
    """Whether rows have more cells than the header: decimal commas taken for delimiters."""
    return header is not None and len(table[header]) < width
