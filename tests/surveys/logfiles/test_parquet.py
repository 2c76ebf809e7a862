"""Logs that come as Parquet."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from surveys.core.errors import ServiceError
from surveys.logfiles.format import LogFormat
from tests.surveys.logfiles.logs import read, readings, utc

LOCAL = [datetime(2026, 10, 6, 9, 30), datetime(2026, 10, 6, 9, 30, 1), datetime(2026, 10, 6, 9, 30, 2)]


def file_of(**columns: Any) -> bytes:
    file = io.BytesIO()
    pq.write_table(pa.table(columns), file)
    return file.getvalue()


def by(time: dict[str, Any] | None = None, **changes: Any) -> LogFormat:
    columns = [
        {"name": "flow_velocity", "at": "v", "unit": "m/s"},
        {"name": "signal_to_noise", "at": "s", "unit": "dB"},
    ]
    return LogFormat.from_json({"form": "parquet", "time": time or {"at": "t"}, "columns": columns} | changes)


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize(("zone", "hour"), [(None, 7), ("UTC", 9), ("America/New_York", 9)])
def test_timestamps_with_a_zone_are_instants_and_without_are_the_sites(
    unit: str, zone: str | None, hour: int
) -> None:
    times = (
        pa.array(LOCAL, pa.timestamp(unit)).cast(pa.timestamp(unit, zone))
        if zone is None
        else pa.array([moment.replace(tzinfo=UTC) for moment in LOCAL], pa.timestamp(unit, zone))
    )
    intake = read(file_of(t=times, v=[1.5, 1.25, 1.0], s=[40, None, 41]), by())
    assert readings(intake)[0] == [utc(2026, 10, 6, hour, 30, n) for n in range(3)]
    assert readings(intake)[1]["flow_velocity"] == [1.5, 1.25, 1.0]
    assert [str(value) for value in readings(intake)[1]["signal_to_noise"]] == ["40.0", "nan", "41.0"]


def test_unreadable_rows_are_listed_by_number() -> None:
    times = [LOCAL[0], None, LOCAL[2], LOCAL[2]]
    intake = read(file_of(t=times, v=[1.0, 1.0, float("nan"), None], s=[40.0] * 4), by())
    assert [(r.line, r.column) for r in intake.rejected_rows] == [
        (2, "time"),
        (3, "flow_velocity"),
        (4, "flow_velocity"),
    ]
    assert [r.reason.key for r in intake.rejected_rows] == [
        "time-missing",
        "value-invalid",
        "value-missing",
    ]


def test_counted_and_written_times_are_read_by_the_log_format() -> None:
    v, s = [1.0], [40.0]
    assert readings(
        read(file_of(t=[1_791_279_000_500], v=v, s=s), by({"at": "t", "form": "unix-milliseconds"}))
    )[0] == [utc(2026, 10, 6, 9, 30) + 500_000]
    written = by({"at": "t", "form": "pattern", "pattern": "%d.%m.%Y %H:%M"})
    assert readings(read(file_of(t=["06.10.2026 09:30"], v=v, s=s), written))[0] == [utc(2026, 10, 6, 7, 30)]


def test_the_plain_names_of_columns_serve_in_parquet_too() -> None:
    intake = read(file_of(**{"time": LOCAL, "volume_flow [m3/h]": [1, 2, 3]}), LogFormat(form="parquet"))
    assert readings(intake)[1] == {"volume_flow": [1.0, 2.0, 3.0]}


@pytest.mark.parametrize(
    ("columns", "code"),
    [
        ({"t": LOCAL, "v": ["a", "b", "c"], "s": [1.0] * 3}, "columns-missing"),
        ({"t": [1.5] * 3, "v": [1.0] * 3, "s": [1.0] * 3}, "columns-missing"),
        ({"t": LOCAL, "v": [[1.0]] * 3, "s": [1.0] * 3}, "columns-missing"),
        ({"t": LOCAL, "v": [1.0] * 3}, "columns-missing"),
        ({"t": LOCAL, "s": [1.0] * 3, "v": [None] * 3}, "columns-missing"),
        ({f"c{n}": [1] for n in range(70)}, "too-many-columns"),
    ],
)
def test_a_file_that_does_not_match_the_log_format_is_rejected(columns: dict[str, Any], code: str) -> None:
    with pytest.raises(ServiceError) as caught:
        read(file_of(**columns), by())
    assert caught.value.code == code


def test_a_decompression_bomb_is_rejected() -> None:
    # 400 MB of zeros in a few kilobytes, in row groups small enough to be read one by one.
    schema = pa.schema([("t", pa.timestamp("us")), ("v", pa.float64()), ("s", pa.float64())])
    rows = 1_000_000
    zeros = pa.array([0.0]).take(pa.array([0] * rows))
    table = pa.table([pa.array([LOCAL[0]]).take(pa.array([0] * rows)), zeros, zeros], schema=schema)
    file = io.BytesIO()
    with pq.ParquetWriter(file, schema, use_dictionary=False, compression="zstd") as writer:
        for _ in range(18):
            writer.write_table(table)
    with pytest.raises(ServiceError) as caught:
        read(file.getvalue(), by())
    assert caught.value.code == "file-too-large"
    assert caught.value.message
    assert caught.value.message.key == "file-too-large/unpacked"


@pytest.mark.parametrize("content", [b"", b"PAR1", b"PAR1" * 100, b"time,v\n1,2\n"])
def test_a_file_that_is_not_parquet_is_rejected(content: bytes) -> None:
    with pytest.raises(ServiceError) as caught:
        read(content, by())
    assert caught.value.code == "file-not-parquet"
