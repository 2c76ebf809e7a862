"""Logs: read row by row, stored exactly, thinned honestly."""

from __future__ import annotations

import contextlib
import hashlib
import io
import random
from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import zstandard
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from surveys.errors import ServiceError
from surveys.readings.codec import decode_block, encode_block
from surveys.readings.intake import BLOCK_ROWS, Intake, take_in
from surveys.readings.rows import Layout, _all_at_once, _one_by_one
from surveys.readings.thinning import thinned

HEADER = "time,transit_time [us],time_difference [ns]"
COPENHAGEN = ZoneInfo("Europe/Copenhagen")


def read(text: str | bytes, most: int = 10_000_000) -> Intake:
    return take_in(io.BytesIO(text.encode() if isinstance(text, str) else text), COPENHAGEN, most)


def rows(intake: Intake) -> tuple[list[int], dict[str, list[float]]]:
    times, columns = decode_block(intake.blocks[0][1])
    return times.tolist(), {name: values.tolist() for name, values in columns.items()}


@given(arrays(np.float64, st.integers(1, 300), elements=st.floats(-1e6, 1e6)), st.integers(0, 9))
def test_any_column_comes_back_to_the_bit(values: np.ndarray, decimals: int) -> None:
    rounded = np.round(values, decimals)
    times = np.arange(len(values), dtype=np.int64) * 1_000_000
    again_times, again = decode_block(encode_block(times, {"exact": values, "decimal": rounded}))
    assert again_times.tobytes() == times.tobytes()
    assert again["exact"].tobytes() == values.tobytes()
    assert again["decimal"].tobytes() == rounded.tobytes()


def test_what_is_no_decimal_is_kept_as_it_is() -> None:
    odd = np.array([np.nan, np.inf, -0.0, 1e300, 5e-324])
    _, again = decode_block(encode_block(np.arange(5, dtype=np.int64), {"odd": odd}))
    assert again["odd"].tobytes() == odd.tobytes()


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


@given(
    st.lists(
        st.tuples(
            st.datetimes(datetime(2026, 10, 20), datetime(2026, 10, 21)),
            st.floats(-1e6, 1e6),
            st.sampled_from(["T", " "]),
        ),
        min_size=1,
        max_size=40,
    ),
    st.sampled_from([UTC, COPENHAGEN]),
)
def test_many_rows_at_once_are_read_as_each_is_alone(
    rows: list[tuple[datetime, float, str]], zone: tzinfo
) -> None:
    layout = Layout(",", 0, (("value", 1),), zone)
    lines = [f"{moment.isoformat(mark)},{value!r}\n" for moment, value, mark in rows]
    together, alone = _all_at_once(lines, layout), _one_by_one(lines, 2, layout)
    assert together is not None
    assert together.times.tolist() == alone.times.tolist()
    assert together.columns["value"].tobytes() == alone.columns["value"].tobytes()


@pytest.mark.parametrize(
    "time",
    [
        "2026-10-06T09:30:00Z",
        "2026-10-06T09:30:00+02:00",
        "now",
        "NaT",
        "2026-10-06",
        "2026-10-25T02:30:00",
        "20261006T093000.000",
        "x" * 19,
    ],
)
def test_a_time_not_in_the_plain_form_is_left_to_the_careful_way(time: str) -> None:
    assert _all_at_once([f"{time},1.5\n"], Layout(",", 0, (("value", 1),), COPENHAGEN)) is None


def test_the_hour_that_the_clocks_skip_or_repeat_is_read_by_the_zones_own_rules() -> None:
    # Copenhagen goes back at 03:00 on 25 October 2026: 01:59 is UTC+2, 03:00 is UTC+1.
    intake = read(f"{HEADER}\n2026-10-25T01:59:00,311.2,170\n2026-10-25T03:00:00,311.2,170\n")
    times, _ = rows(intake)
    assert times[1] - times[0] == (2 * 3600 + 60) * 1_000_000


def test_thinning_keeps_the_peaks_and_the_ends() -> None:
    rng = random.Random(5)
    values = np.array([rng.gauss(0, 1) for _ in range(50_000)])
    values[31_234] = 99.0
    shown = thinned(values, 400)
    assert len(shown) <= 402
    assert 31_234 in shown
    assert (shown[0], shown[-1]) == (0, 49_999)
    assert values.min() in values[shown]
