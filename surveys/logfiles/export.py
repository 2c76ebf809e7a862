"""The readings of a log whole: as CSV, row by row as the file gave them, and as Parquet.

Both go out block by block. The CSV has the header of the plain log format, so it can be imported again (with the
format EXPORTED if values are missing); its cells are times and numbers only, never formulas.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from surveys.logfiles.columns import TIME, Column
from surveys.logfiles.format import LogFormat

if TYPE_CHECKING:
    import pyarrow as pa

Block = tuple[NDArray[np.int64], Mapping[str, NDArray[np.float64]]]

EXPORTED = LogFormat(no_value=("",))
CSV_ROWS = 8192


def csv_parts(columns: Sequence[Column], blocks: Iterable[Block]) -> Iterator[bytes]:
    """The whole log as CSV in UTF-8: times in UTC, numbers in the shortest form that gives the same number back."""
    header = ",".join([TIME, *(f"{column.name} [{column.unit}]" for column in columns)])
    yield f"{header}\n".encode()
    for times, values in blocks:
        for start in range(0, len(times), CSV_ROWS):
            part = slice(start, start + CSV_ROWS)
            yield _rows(times[part], [values[column.name][part] for column in columns])


def parquet_write(file: IO[bytes], columns: Sequence[Column], blocks: Iterable[Block]) -> int:
    """Write the whole log as Parquet, a row group for each block, and return the number of readings.

    `time` is in UTC to the microsecond; each column's metadata has its `unit`. A missing value is a null.
    """
    import pyarrow.parquet as pq

    schema = _schema(columns)
    count = 0
    with pq.ParquetWriter(
        file, schema, compression="zstd", use_dictionary=False, write_statistics=True
    ) as writer:
        for times, values in blocks:
            writer.write_table(_table(times, [values[column.name] for column in columns], schema))
            count += len(times)
    return count


def iso_times(times: NDArray[np.int64]) -> list[str]:
    """Times as ISO 8601 in UTC, with as few decimals as all of them need."""
    unit = "s" if not (times % 1_000_000).any() else "ms" if not (times % 1000).any() else "us"
    texts: list[str] = np.datetime_as_string(
        times.astype("datetime64[us]").astype(f"datetime64[{unit}]")
    ).tolist()
    return [f"{text}Z" for text in texts]


def _rows(times: NDArray[np.int64], values: list[NDArray[np.float64]]) -> bytes:
    cells = [iso_times(times), *(_numbers(column) for column in values)]
    return "".join([",".join(row) + "\n" for row in zip(*cells, strict=True)]).encode()


def _numbers(values: NDArray[np.float64]) -> list[str]:
    texts = [repr(value) for value in values.tolist()]
    for n in np.flatnonzero(np.isnan(values)).tolist():
        texts[n] = ""
    return texts


def _schema(columns: Sequence[Column]) -> pa.Schema:
    import pyarrow as pa

    fields: list[Any] = [pa.field(TIME, pa.timestamp("us", "UTC"), nullable=False)]
    fields += [
        pa.field(column.name, pa.float64(), metadata={"unit": column.unit, "kind": column.kind})
        for column in columns
    ]
    return pa.schema(fields)


def _table(times: NDArray[np.int64], values: list[NDArray[np.float64]], schema: pa.Schema) -> pa.Table:
    import pyarrow as pa

    arrays: list[Any] = [pa.array(times).cast(schema.field(0).type)]
    arrays += [pa.array(column, from_pandas=True) for column in values]
    return pa.Table.from_arrays(arrays, schema=schema)
