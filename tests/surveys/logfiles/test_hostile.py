"""Hostile files and log formats: the import gives readings or a rejection, never another error."""

from __future__ import annotations

import contextlib
import io
import random
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surveys.core.errors import ServiceError
from surveys.logfiles.detection import detect_format
from surveys.logfiles.format import ENCODINGS, PLAIN, TIME_FORMS, LogFormat
from surveys.logfiles.preview import preview
from tests.surveys.logfiles.logs import COPENHAGEN, HEADER, read

GOOD = f"{HEADER},note\n" + "".join(f'2026-10-25T02:{n:02}:00,311.2,{n},"a"\n' for n in range(60))
PIECES = [
    b"\0",
    b'"',
    b",",
    b"\r",
    b"\n",
    b"\xff",
    b"\xef\xbb\xbf",
    b"9" * 300,
    b"-",
    b"1e999",
    "é".encode(),
    b"#",
    b" ",
]


def parquet(**columns: list[Any]) -> bytes:
    file = io.BytesIO()
    pq.write_table(pa.table(columns), file)
    return file.getvalue()


@st.composite
def log_formats(draw: st.DrawFn) -> LogFormat | None:
    """Layouts anyone could store, most of them of no use for the file."""
    at = st.integers(1, 5) | st.sampled_from(
        ["time", "transit_time [us]", "time_difference [ns]", "note", "x"]
    )
    raw = {
        "form": draw(st.sampled_from(["csv", "csv", "csv", "parquet"])),
        "encoding": draw(st.sampled_from(ENCODINGS)),
        "delimiter": draw(st.sampled_from(["", ",", ";", "\t", " ", ":", "/", "|"])),
        "decimal_mark": draw(st.sampled_from([".", ","])),
        "quote": draw(st.sampled_from(["", '"', "'"])),
        "comment": draw(st.sampled_from(["", "#", "//"])),
        "header_line": draw(st.sampled_from([None, 1, 1, 2, 70])),
        "skip_after_header": draw(st.sampled_from([0, 0, 1, 100])),
        "no_value": draw(st.lists(st.sampled_from(["", "0", "311.2", "--"]), max_size=2)),
        "time": {
            "at": draw(at),
            "form": draw(st.sampled_from(TIME_FORMS)),
            "starts_at": draw(st.sampled_from(["", "2026-03-29T02:30:00"])),
        },
        "columns": [{"name": "flow_velocity", "at": draw(at), "unit": "m/s", "turned": draw(st.booleans())}],
    }
    if raw["time"]["form"] == "pattern":
        raw["time"]["pattern"] = "%Y-%m-%dT%H:%M:%S"
    try:
        return LogFormat.from_json(raw)
    except ServiceError:
        return None


def read_or_error(content: bytes, by: LogFormat) -> None:
    rejected = None
    try:
        assert read(content, by).rows_accepted > 0
    except ServiceError as error:
        rejected = error
    assert rejected is None or (rejected.status == 400 and rejected.code and len(str(rejected)) > 10)


@settings(max_examples=150)
@given(st.binary(max_size=300), log_formats())
def test_noise_is_rejected(noise: bytes, by: LogFormat | None) -> None:
    for start in (b"", GOOD.encode(), "\N{BYTE ORDER MARK}".encode("utf-16-le"), b"PAR1"):
        read_or_error(start + noise, by or PLAIN)
    detect_format(noise)


@settings(max_examples=150)
@given(
    st.lists(st.tuples(st.integers(0, len(GOOD)), st.sampled_from(PIECES), st.integers(0, 40)), max_size=4),
    log_formats(),
)
def test_a_good_file_with_corrupt_positions_is_read_or_rejected(
    corrupt: list[tuple[int, bytes, int]], by: LogFormat | None
) -> None:
    content = bytearray(GOOD.encode())
    for at, piece, cut in corrupt:
        content[at : at + cut] = piece
    for one in (PLAIN, by or PLAIN, detect_format(bytes(content)).log_format):
        read_or_error(bytes(content), one)


@pytest.mark.parametrize("seed", range(60))
def test_a_parquet_file_with_corrupt_bytes_is_read_or_rejected(seed: int) -> None:
    rng = random.Random(seed)
    rows = 500
    content = bytearray(
        parquet(
            time=[f"2026-10-06T09:{n // 60:02}:{n % 60:02}" for n in range(rows)],
            v=[rng.random() for _ in range(rows)],
            other=list(range(rows)),
        )
    )
    for _ in range(rng.randint(1, 6)):
        at = (
            rng.randrange(len(content))
            if rng.random() < 0.4
            else rng.randrange(len(content) - 700, len(content))
        )
        content[at] = rng.randrange(256)
    if rng.random() < 0.2:
        del content[rng.randrange(len(content)) :]
    by = LogFormat.from_json(
        {"form": "parquet", "columns": [{"name": "flow_velocity", "at": "v", "unit": "m/s"}]}
    )
    read_or_error(bytes(content), by)


@given(st.binary(max_size=200), st.booleans())
def test_a_preview_of_noise_is_rows_or_a_rejection(noise: bytes, cut: bool) -> None:
    detection = detect_format(GOOD.encode()[:500] + noise)
    with contextlib.suppress(ServiceError):
        assert preview(detection.log_format, GOOD.encode()[:500] + noise, COPENHAGEN, cut).rows
