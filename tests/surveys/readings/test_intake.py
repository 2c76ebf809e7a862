"""Logs: read row by row, stored exactly, thinned honestly."""

from __future__ import annotations

import contextlib
import hashlib
import io
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
import zstandard
from hypothesis import given
from hypothesis import strategies as st

from surveys.errors import ServiceError
from surveys.readings.codec import decode_block
from surveys.readings.intake import BLOCK_ROWS, Intake, take_in

HEADER = "time,transit_time [us],time_difference [ns]"
COPENHAGEN = ZoneInfo("Europe/Copenhagen")


def read(text: str | bytes, most: int = 10_000_000) -> Intake:
    return take_in(io.BytesIO(text.encode() if isinstance(text, str) else text), COPENHAGEN, most)


def rows(intake: Intake) -> tuple[list[int], dict[str, list[float]]]:
    times, columns = decode_block(intake.blocks[0][1])
    return times.tolist(), {name: values.tolist() for name, values in columns.items()}


def test_times_without_an_offset_are_the_sites_and_with_one_are_what_they_say() -> None:
    intake = read(f"{HEADER}\n2026-10-06T09:30:00,311.2,170\n2026-10-06T09:30:01+00:00,311.2,170\n")
    times, _ = rows(intake)
    expected = [datetime(2026, 10, 6, 7, 30, tzinfo=UTC), datetime(2026, 10, 6, 9, 30, 1, tzinfo=UTC)]
    assert times == [round(moment.timestamp() * 1e6) for moment in expected]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_columns_may_be_parted_by_comma_semicolon_or_tab(mark: str) -> None:
    intake = read(f"{HEADER}\n2026-10-06T09:30:00,311.2,170\n".replace(",", mark))
    assert rows(intake)[1] == {"transit_time": [311.2], "time_difference": [170.0]}


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("2026-10-06T09:30:00,----,170", "transit_time", "no number"),
        ("2026-10-06T09:30:00,nan,170", "transit_time", "no number"),
        ("2026-10-06T09:30:00,1_0,170", "transit_time", "no number"),
        ("2026-10-06T09:30:00,311.2,", "time_difference", "no number"),
        ("06/10/2026 09:30,311.2,170", "time", "no ISO 8601 time"),
        ("2026-10-06T09:30:00,311.2", "", "2 columns where 3 are needed"),
        ("\0\0\0,311.2,170", "time", "no ISO 8601 time"),
    ],
)
def test_a_row_that_cannot_be_read_is_listed_with_line_column_and_reason(
    row: str, column: str, words: str
) -> None:
    intake = read(f"{HEADER}\n2026-10-06T09:29:59,311.2,170\n{row}\n2026-10-06T09:30:01,311.2,170\n")
    [refusal] = intake.refusals
    assert (refusal.line, refusal.column) == (3, column)
    assert words in refusal.detail
    assert (intake.rows_taken, intake.rows_refused) == (2, 1)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "header-missing"),
        ("a b c\n1 2 3\n", "header-missing"),
        ("time,pressure [bar]\n", "columns-missing"),
        ("time,transit_time [us]\n", "columns-missing"),
        ("time,transit_time,time_difference [ns]\n", "unit-missing"),
        ("time,transit_time [mm],time_difference [ns]\n", "unit-unknown"),
        ("time,transit_time [us],transit_time [us],time_difference [ns]\n", "column-twice"),
        (f"{HEADER}\n", "no-readings"),
        (f"{HEADER}\nx,y,z\n", "no-readings"),
        (b"\xff\xfe\x00t\x00i", "file-not-text"),
        (b"PK\x03\x04" + bytes(range(256)) * 10, "file-not-text"),
        ("time," + "x" * 20_000, "line-too-long"),
        (",".join(f"c{i}" for i in range(100)), "too-many-columns"),
    ],
)
def test_a_file_that_cannot_serve_is_refused_with_its_reason(text: str | bytes, code: str) -> None:
    with pytest.raises(ServiceError) as caught:
        read(text)
    assert (caught.value.code, caught.value.status) == (code, 400)


def test_a_file_larger_than_allowed_is_refused() -> None:
    with pytest.raises(ServiceError) as caught:
        read(f"{HEADER}\n" + "2026-10-06T09:30:00,311.2,170\n" * 1000, most=10_000)
    assert caught.value.code == "file-too-large"


def test_the_file_is_kept_as_it_came_with_its_checksum() -> None:
    text = f"{HEADER},note\r\n2026-10-06T09:30:00,311.2,170,ok\r\n".encode()
    intake = read(text)
    kept = b"".join(zstandard.ZstdDecompressor().decompress(part) for part in intake.file_parts)
    assert kept == text
    assert intake.sha256 == hashlib.sha256(text).hexdigest()
    assert intake.unread_columns == ("note",)


def test_a_long_log_is_cut_into_blocks_and_loses_no_row() -> None:
    count = BLOCK_ROWS + 7
    line = "2026-10-06T09:30:00,311.2,170\n"
    intake = read(f"{HEADER}\n" + line * count)
    assert [n for n, _ in intake.blocks] == [BLOCK_ROWS, 7]
    assert intake.rows_taken == count


@given(st.binary(max_size=400))
def test_no_bytes_whatever_break_the_intake(noise: bytes) -> None:
    for start in (b"", f"{HEADER}\n".encode()):
        with contextlib.suppress(ServiceError):
            assert read(start + noise).rows_taken > 0


def test_the_hour_that_the_clocks_skip_or_repeat_is_read_by_the_zones_own_rules() -> None:
    # Copenhagen goes back at 03:00 on 25 October 2026: 01:59 is UTC+2, 03:00 is UTC+1.
    intake = read(f"{HEADER}\n2026-10-25T01:59:00,311.2,170\n2026-10-25T03:00:00,311.2,170\n")
    times, _ = rows(intake)
    assert times[1] - times[0] == (2 * 3600 + 60) * 1_000_000
