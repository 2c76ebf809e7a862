"""Parser of many rows of a log at once, for chunks without irregularities.

It returns the same readings as the row parser, to the bit, or rejects a chunk; only the row parser finds the error
of a row. A rejected chunk is divided, so that a bad row affects its neighbourhood only.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from surveys.logfiles.columns_plan import Plan
from surveys.logfiles.patterns import Pattern, pattern_of
from surveys.logfiles.row_parser import (
    MAX_LINE_LENGTH,
    UNITS_A_SECOND,
    LineTooLong,
    Piece,
    read_rows_singly,
    split_lines,
)
from surveys.logfiles.zones import EARLIEST, LATEST

if TYPE_CHECKING:
    import pyarrow as pa

# Below this it is as quick to read one by one.
MIN_CHUNK = 8192
PARTS = 8
ISO_OF_TWO_COLUMNS = (pattern_of("%Y-%m-%d %H:%M:%S"), pattern_of("%Y-%m-%d %H:%M:%S.%f"))


def read_rows(chunk: bytes, plan: Plan) -> list[Piece]:
    """Read whole lines of UTF-8 text: pieces in order, as many at once as can be."""
    found = read_in_bulk(chunk, plan)
    if found is not None:
        return [found]
    if len(chunk) <= MIN_CHUNK:
        return [read_rows_singly(chunk, plan)]
    pieces: list[Piece] = []
    for part in _parts(chunk):
        try:
            # What cannot be cut further is read as it is.
            pieces += [read_rows_singly(part, plan)] if len(part) == len(chunk) else read_rows(part, plan)
        except LineTooLong as error:
            raise LineTooLong(error.line + sum(piece.lines for piece in pieces)) from None
    return pieces


def _parts(chunk: bytes) -> Iterator[bytes]:
    """A chunk cut at line ends into some parts of about one size."""
    start = 0
    while start < len(chunk):
        end = chunk.find(b"\n", start + len(chunk) // PARTS) + 1 or len(chunk)
        yield chunk[start:end]
        start = end


def read_in_bulk(chunk: bytes, plan: Plan) -> Piece | None:
    """Every line as a reading, or None if any is not plainly in order."""
    if not _plain_text(chunk, plan):
        return None
    first = _first_cells(chunk, plan)
    if first is None or first < plan.width:
        return None
    table = _table(chunk, plan, first)
    if table is None:
        return None
    times = _times(table, plan)
    if times is None:
        return None
    moments, local = times
    if moments.min() < EARLIEST or moments.max() >= LATEST:
        return None
    columns = _columns(table, plan)
    if columns is None or not _spare_are_empty(table, plan, first):
        return None
    count = len(moments)
    return Piece(count, moments, np.full(count, local), np.arange(count), columns)


def _plain_text(chunk: bytes, plan: Plan) -> bool:
    """Whether the text has nothing that needs care: comments, NULs, odd line ends, long lines, odd quotes."""
    log_format = plan.log_format
    if b"\0" in chunk or (log_format.comment and log_format.comment.encode() in chunk):
        return False
    if b"\r" in chunk and chunk.count(b"\r") != chunk.count(b"\r\n"):
        return False
    half = MAX_LINE_LENGTH // 2
    if any(chunk.find(b"\n", at, at + half) < 0 for at in range(0, len(chunk) - half, half)):
        return False
    if not chunk.isascii():
        chunk.decode("utf-8")
    quote = log_format.quote.encode()
    return not quote or quote not in chunk or _quotes_enclose_cells(chunk, plan)


def _quotes_enclose_cells(chunk: bytes, plan: Plan) -> bool:
    letters = np.frombuffer(b"\n" + chunk + b"\n", dtype=np.uint8)
    quotes = np.flatnonzero(letters == ord(plan.log_format.quote))
    if len(quotes) % 2:
        return False
    opening, closing = quotes[::2], quotes[1::2]
    ends = np.array([ord(plan.delimiter), 10, 13], dtype=np.uint8)
    if not np.isin(letters[opening - 1], ends).all() or not np.isin(letters[closing + 1], ends).all():
        return False
    inside = np.cumsum(np.bincount(quotes, minlength=len(letters))) % 2
    line_ends = np.flatnonzero((letters == 10) | (letters == 13))
    return not inside[line_ends].any()


def _first_cells(chunk: bytes, plan: Plan) -> int | None:
    lines = split_lines(chunk[: chunk.find(b"\n") + 1] or chunk)
    if not lines:
        return None
    quote = plan.log_format.quote
    if not quote or quote not in lines[0]:
        return lines[0].count(plan.delimiter) + 1
    outside = "".join(lines[0].split(quote)[::2])
    return outside.count(plan.delimiter) + 1


def _table(chunk: bytes, plan: Plan, cells: int) -> pa.Table | None:
    """The typed columns, named by position."""
    import pyarrow as pa
    import pyarrow.csv as pc

    log_format = plan.log_format
    types: dict[str, Any] = {str(number.at): pa.float64() for number in plan.numbers}
    types |= {str(at): _time_type(plan, chunk) for at in plan.time_at}
    types |= {str(at): pa.string() for at in range(plan.header_cells, cells) if plan.header_cells}
    try:
        return pc.read_csv(
            pa.BufferReader(chunk),
            read_options=pc.ReadOptions(
                use_threads=False, block_size=len(chunk) + 1, column_names=[str(n) for n in range(cells)]
            ),
            parse_options=pc.ParseOptions(
                delimiter=plan.delimiter,
                quote_char=log_format.quote or False,
                double_quote=True,
                escape_char=False,
                newlines_in_values=False,
                ignore_empty_lines=False,
            ),
            convert_options=pc.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=list(log_format.no_value),
                strings_can_be_null=False,
                quoted_strings_can_be_null=True,
                decimal_point=log_format.decimal_mark,
                timestamp_parsers=[pc.ISO8601],
            ),
        )
    except (pa.ArrowException, ValueError):
        return None


def _time_type(plan: Plan, chunk: bytes) -> pa.DataType:
    import pyarrow as pa

    form = plan.log_format.time.form
    if form in UNITS_A_SECOND:
        return pa.float64()
    if form == "pattern" or len(plan.time_at) > 1:
        return pa.string()
    return pa.timestamp("us", "UTC") if _with_offset(chunk, plan) else pa.timestamp("us")


def _with_offset(chunk: bytes, plan: Plan) -> bool:
    """Whether the first row's time ends as one with an offset does; should others differ, the table fails."""
    line = chunk[: chunk.find(b"\n")]
    cells = line.split(plan.delimiter.encode())
    cell = cells[plan.time_at[0]].strip(b" \r\"'") if plan.time_at[0] < len(cells) else b""
    return cell.endswith((b"Z", b"z")) or b"+" in cell or b"-" in cell[10:]


def _times(table: pa.Table, plan: Plan) -> tuple[NDArray[np.int64], bool] | None:
    form = plan.log_format.time.form
    columns = [_whole(table, at) for at in plan.time_at]
    if any(column.null_count or not len(column) for column in columns):
        return None
    if form in UNITS_A_SECOND:
        counts = columns[0].to_numpy()
        if not (np.abs(counts) <= 1e16).all():  # also where something is not finite
            return None
        moments = np.rint(counts * UNITS_A_SECOND[form]).astype(np.int64)
        return moments + (plan.start or 0), False
    if form == "iso" and len(columns) == 1:
        return columns[0].cast("int64").to_numpy(), columns[0].type.tz is None
    letters = [_letters(column) for column in columns]
    if any(block is None for block in letters):
        return None
    if len(letters) == 2:
        letters.insert(1, np.full((len(columns[0]), 1), 32, dtype=np.uint8))
    joined = np.hstack([block for block in letters if block is not None])
    patterns: tuple[Pattern, ...] = (
        ISO_OF_TWO_COLUMNS if form == "iso" else (pattern_of(plan.log_format.time.pattern),)
    )
    for pattern in patterns:
        if (moments := pattern.many(joined)) is not None:
            return moments, True
    return None


def _letters(column: pa.Array) -> NDArray[np.uint8] | None:
    """Texts of one width as (n, width) characters."""
    _, offsets, data = column.buffers()
    starts = np.frombuffer(offsets, dtype=np.int32)[column.offset : column.offset + len(column) + 1]
    width = int(starts[1] - starts[0])
    if not width or data is None or (np.diff(starts) != width).any():
        return None
    return np.frombuffer(data, dtype=np.uint8)[starts[0] : starts[-1]].reshape(len(column), width)


def _columns(table: pa.Table, plan: Plan) -> dict[str, NDArray[np.float64]] | None:
    columns = {}
    for number in plan.numbers:
        column = _whole(table, number.at)
        values = column.to_numpy(zero_copy_only=False)
        absent = column.is_null().to_numpy(zero_copy_only=False) if column.null_count else None
        if not _finite(values, absent):
            return None
        # Zero added or taken from turns -0.0 to 0.0, the same number, which packs better.
        values = 0.0 - values if number.turned else values + 0.0
        for marker in plan.no_numbers:
            missing = values == (0.0 - marker if number.turned else marker)
            if missing.any():
                values[missing] = np.nan
                absent = missing if absent is None else absent | missing
        if absent is not None and number.needed:
            return None
        if absent is not None:
            values[absent] = np.nan
        columns[number.column.name] = values
    return columns


def _finite(values: NDArray[np.float64], absent: NDArray[np.bool_] | None) -> bool:
    """Whether every value but the absent ones is a number."""
    if absent is None:
        # The sum is finite only if all are; where it is not, each is looked at.
        with np.errstate(all="ignore"):
            return bool(np.isfinite(values.sum())) or bool(np.isfinite(values).all())
    return bool(np.isfinite(values[~absent]).all())


def _spare_are_empty(table: pa.Table, plan: Plan, cells: int) -> bool:
    import pyarrow.compute as pac

    if not plan.header_cells:
        return True
    return all(
        pac.max(pac.binary_length(table[str(at)])).as_py() == 0 for at in range(plan.header_cells, cells)
    )


def _whole(table: pa.Table, at: int) -> pa.Array:
    column = table[str(at)]
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()
