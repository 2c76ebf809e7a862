"""A log in Parquet as pieces of rows, in bounded memory and with bounds on what it may unfold to."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, tzinfo
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from compute.base.messages import field_name, message
from surveys.core.errors import ServiceError
from surveys.logfiles.columns import TIME
from surveys.logfiles.columns_plan import Number, Plan, plan_of
from surveys.logfiles.format import MAX_COLUMNS, LogFormat
from surveys.logfiles.row_parser import (
    UNITS_A_SECOND,
    Piece,
    RejectedRow,
    RowWrong,
    time_in,
    time_out_of_range,
)
from surveys.logfiles.zones import EARLIEST, LATEST

if TYPE_CHECKING:
    import pyarrow as pa
    import pyarrow.parquet as pq

MAGIC = b"PAR1"
BATCH_ROWS = 65_536
MAX_ROWS = 100_000_000
# A file may unfold to so many times its size, or to this much; a row group is unfolded by parts of columns.
MAX_EXPANSION_RATIO = 200
EXPANSION_ALWAYS_ALLOWED = 64 << 20
MAX_COLUMN_CHUNK_BYTES = 64 << 20
MAX_THRIFT_BYTES = 16 << 20


def parquet_open(file: IO[bytes]) -> pq.ParquetFile:
    """Open a Parquet file on disk. Raises ServiceError if it is not one, or is too large unpacked."""
    import pyarrow.parquet as pq

    size = file.seek(0, os.SEEK_END)
    file.seek(0)
    if size < 12 or file.read(4) != MAGIC:
        raise ServiceError("file-not-parquet", field="file")
    file.seek(0)
    with _arrow_errors():
        parquet = pq.ParquetFile(
            file,
            pre_buffer=False,
            thrift_string_size_limit=MAX_THRIFT_BYTES,
            thrift_container_size_limit=MAX_THRIFT_BYTES // 16,
        )
        _check_size(parquet.metadata, size)
    return parquet


def parquet_plan(
    parquet: pq.ParquetFile, log_format: LogFormat, zone: tzinfo, starts_at: datetime | None
) -> Plan:
    """Where the log format's columns are in the file. Raises ServiceError if one is missing or of a type that cannot be read."""
    import pyarrow.types as pat

    with _arrow_errors():
        schema = parquet.schema_arrow
    plan = plan_of(log_format, ",", schema.names, zone, starts_at)
    for number in plan.numbers:
        kind = schema.field(number.at).type
        if not (pat.is_integer(kind) or pat.is_floating(kind) or pat.is_decimal(kind)):
            raise ServiceError(
                "columns-missing/not-numbers",
                field="file",
                column=field_name(f"readings.{number.column.name}"),
                type=str(kind),
            )
    kinds = [schema.field(at).type for at in plan.time_at]
    counted = log_format.time.form in UNITS_A_SECOND
    for kind in kinds:
        moments = pat.is_timestamp(kind) or pat.is_string(kind) or pat.is_large_string(kind)
        numbers = pat.is_integer(kind) or pat.is_floating(kind)
        if not (numbers if counted else moments):
            raise ServiceError("columns-missing/time-type", field="file", type=str(kind))
    if len(kinds) > 1 and any(pat.is_timestamp(kind) for kind in kinds):
        raise ServiceError("columns-missing/time-not-text", field="file")
    return plan


def parquet_pieces(parquet: pq.ParquetFile, plan: Plan) -> Iterator[Piece]:
    """The rows in order, a batch at a time."""
    names = parquet.schema_arrow.names
    wanted = [names[at] for at in (*plan.time_at, *(number.at for number in plan.numbers))]
    batches: Iterator[Any] = parquet.iter_batches(BATCH_ROWS, columns=wanted, use_threads=False)
    while True:
        with _arrow_errors():
            batch = next(batches, None)
            if batch is None:
                return
            piece = _piece(batch, names, plan)
        yield piece


def _check_size(metadata: pq.FileMetaData, size: int) -> None:
    columns = metadata.num_columns
    if columns > MAX_COLUMNS:
        raise ServiceError("too-many-columns", field="file", at_most=MAX_COLUMNS)
    if not 0 <= metadata.num_rows <= MAX_ROWS:
        raise ServiceError("file-too-large/rows", field="file", at_most=MAX_ROWS)
    unfolded = 0
    for n in range(metadata.num_row_groups):
        group = metadata.row_group(n)
        for c in range(columns):
            chunk = group.column(c).total_uncompressed_size
            unfolded += max(chunk, 0)
            if not 0 <= chunk <= MAX_COLUMN_CHUNK_BYTES:
                raise ServiceError("file-too-large/row-group", field="file")
    if unfolded > max(MAX_EXPANSION_RATIO * size, EXPANSION_ALWAYS_ALLOWED):
        raise ServiceError("file-too-large/unpacked", field="file", megabytes=unfolded // 1_000_000)


def _piece(batch: pa.RecordBatch, names: list[str], plan: Plan) -> Piece:
    count = batch.num_rows
    wrong: dict[int, RejectedRow] = {}
    moments, local = _times([batch.column(names[at]) for at in plan.time_at], plan, wrong)
    columns = {}
    for number in plan.numbers:
        columns[number.column.name] = _values(batch.column(names[number.at]), number, plan, wrong)
    good = np.ones(count, dtype=bool)
    good[list(wrong)] = False
    return Piece(
        count,
        moments[good],
        local[good],
        np.flatnonzero(good),
        {name: values[good] for name, values in columns.items()},
        [wrong[n] for n in sorted(wrong)],
    )


def _times(
    cells: list[pa.Array], plan: Plan, wrong: dict[int, RejectedRow]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    import pyarrow.types as pat

    form, kind = plan.log_format.time.form, cells[0].type
    if form in UNITS_A_SECOND:
        counts = cells[0].cast("float64", safe=False).to_numpy(zero_copy_only=False)
        counts = np.where(np.abs(counts) <= 1e16, counts, np.inf)
        moments = np.where(np.isfinite(counts), np.rint(counts * UNITS_A_SECOND[form]), 2.0**62)
        moments, local = np.clip(moments, -(2.0**62), 2.0**62).astype(np.int64) + (plan.start or 0), False
    elif pat.is_timestamp(kind):
        moments, local = _timestamps(cells[0]), kind.tz is None
    else:
        return _texts(cells, plan, wrong)
    missing = cells[0].is_null().to_numpy(zero_copy_only=False)
    for n in np.flatnonzero(missing | (moments < EARLIEST) | (moments >= LATEST)).tolist():
        wrong[n] = RejectedRow(n, TIME, message("time-missing") if missing[n] else time_out_of_range())
    return moments, np.full(len(moments), local)


def _timestamps(cells: pa.Array) -> NDArray[np.int64]:
    """Microseconds; what is finer is cut off, what is missing or too far lies outside every range."""
    whole = cells.cast("int64").fill_null(2**62).to_numpy(zero_copy_only=False)
    factor = {"s": 1_000_000, "ms": 1_000, "us": 1, "ns": 0}[cells.type.unit]
    if not factor:
        return whole // 1000
    return np.where(np.abs(whole) < 2**62 // factor, whole, 2**62 // factor) * factor


def _texts(
    cells: list[pa.Array], plan: Plan, wrong: dict[int, RejectedRow]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    moments = np.zeros(len(cells[0]), dtype=np.int64)
    local = np.zeros(len(cells[0]), dtype=bool)
    for n, texts in enumerate(zip(*(column.to_pylist() for column in cells), strict=True)):
        try:
            moments[n], local[n] = time_in([text or "" for text in texts], plan)
        except RowWrong as error:
            wrong[n] = RejectedRow(n, error.column, error.reason)
    return moments, local


def _values(
    cells: pa.Array, number: Number, plan: Plan, wrong: dict[int, RejectedRow]
) -> NDArray[np.float64]:
    values = np.array(cells.cast("float64", safe=False).to_numpy(zero_copy_only=False), dtype=np.float64)
    absent = cells.is_null().to_numpy(zero_copy_only=False) | np.isin(values, plan.no_numbers)
    impossible = ~np.isfinite(values) & ~absent
    for n in np.flatnonzero(impossible | (absent if number.needed else False)).tolist():
        reason = message("value-missing" if absent[n] else "value-invalid")
        wrong.setdefault(n, RejectedRow(n, number.column.name, reason))
    values[absent] = np.nan
    return np.where(absent, np.nan, 0.0 - values if number.turned else values + 0.0)


@contextmanager
def _arrow_errors() -> Iterator[None]:
    """Errors of the library on a damaged file, as rejections."""
    import pyarrow as pa

    try:
        yield
    except ServiceError:
        raise
    except (pa.ArrowException, OSError, ValueError, KeyError, OverflowError, MemoryError, TypeError) as error:
        raise ServiceError("file-not-parquet/unreadable", field="file", error=type(error).__name__) from None
