"""Export of readings: the same numbers, in files that other programs and the import can read."""

from __future__ import annotations

import io

import numpy as np
import pyarrow.parquet as pq
from hypothesis import given
from hypothesis import strategies as st

from surveys.logfiles.codec import decode_block
from surveys.logfiles.columns import Column
from surveys.logfiles.export import EXPORTED, csv_parts, parquet_write
from surveys.logfiles.format import LogFormat
from tests.surveys.logfiles.logs import HEADER, read, readings

COLUMNS = (Column("flow_velocity", "m/s"), Column("signal_to_noise", "dB"))
Rows = list[tuple[int, float, float]]


def blocks_of(rows: Rows, size: int) -> list[tuple[np.ndarray, dict[str, np.ndarray]]]:
    parts = [rows[n : n + size] for n in range(0, len(rows), size)]
    return [
        (
            np.array([row[0] for row in part], dtype=np.int64),
            {
                "flow_velocity": np.array([row[1] for row in part]),
                "signal_to_noise": np.array([row[2] for row in part]),
            },
        )
        for part in parts
    ]


numbers = st.floats(allow_nan=False, allow_infinity=False).map(lambda value: value + 0.0)
tables = st.lists(
    st.tuples(st.integers(-(10**15), 7 * 10**15), numbers, numbers | st.just(float("nan"))),
    min_size=1,
    max_size=12,
)


@given(tables, st.integers(1, 5))
def test_exported_csv_is_imported_unchanged(rows: Rows, size: int) -> None:
    text = b"".join(csv_parts(COLUMNS, blocks_of(rows, size)))
    times, columns = readings(read(text, EXPORTED))
    assert times == [row[0] for row in rows]
    assert np.array(columns["flow_velocity"]).tobytes() == np.array([row[1] for row in rows]).tobytes()
    assert np.array(columns["signal_to_noise"]).tobytes() == np.array([row[2] for row in rows]).tobytes()


@given(tables, st.integers(1, 5))
def test_exported_parquet_is_imported_unchanged(rows: Rows, size: int) -> None:
    file = io.BytesIO()
    assert parquet_write(file, COLUMNS, blocks_of(rows, size)) == len(rows)
    by = [{"name": column.name, "at": column.name, "unit": column.unit} for column in COLUMNS]
    intake = read(file.getvalue(), LogFormat.from_json({"form": "parquet", "columns": by}))
    times, columns = readings(intake)
    assert times == [row[0] for row in rows]
    assert np.array(columns["signal_to_noise"]).tobytes() == np.array([row[2] for row in rows]).tobytes()


def test_the_csv_is_the_plain_log_format_in_utc() -> None:
    intake = read(f"{HEADER}\n2026-10-06T09:30:00.5,311.20,-170\n2026-10-06T09:30:01,311.25,0\n")
    text = b"".join(csv_parts(intake.columns, (decode_block(content) for _, content in intake.blocks)))
    assert text.decode() == (
        "time,transit_time [us],time_difference [ns]\n2026-10-06T07:30:00.500Z,311.2,-170.0\n2026-10-06T07:30:01.000Z,311.25,0.0\n"
    )
    again = read(text)
    assert list(again.blocks) == list(intake.blocks)


def test_parquet_has_units_and_zone_and_one_row_group_for_each_block() -> None:
    file = io.BytesIO()
    parquet_write(file, COLUMNS, blocks_of([(n, float(n), 40.0) for n in range(10)], 4))
    table = pq.ParquetFile(file)
    assert table.num_row_groups == 3
    schema = table.schema_arrow
    assert schema.field("flow_velocity").metadata[b"unit"] == b"m/s"
    assert str(schema.field("time").type) == "timestamp[us, tz=UTC]"
