"""Import of logs: parsed row by row, stored exactly."""

from __future__ import annotations

import contextlib
import hashlib
from datetime import UTC, datetime

import pytest
import zstandard
from hypothesis import given
from hypothesis import strategies as st

from compute.base.messages import message
from surveys.core.errors import ServiceError
from surveys.logfiles.importing import BLOCK_ROWS
from tests.surveys.logfiles.logs import HEADER, log_format, read, readings, utc


def test_times_without_an_offset_are_in_the_sites_zone_and_others_in_their_own() -> None:
    intake = read(f"{HEADER}\n2026-10-06T09:30:00,311.2,170\n2026-10-06T09:30:01+00:00,311.2,170\n")
    times, _ = readings(intake)
    expected = [datetime(2026, 10, 6, 7, 30, tzinfo=UTC), datetime(2026, 10, 6, 9, 30, 1, tzinfo=UTC)]
    assert times == [round(moment.timestamp() * 1e6) for moment in expected]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_columns_may_be_parted_by_comma_semicolon_or_tab(mark: str) -> None:
    intake = read(f"{HEADER}\n2026-10-06T09:30:00,311.2,170\n".replace(",", mark))
    assert readings(intake)[1] == {"transit_time": [311.2], "time_difference": [170.0]}


@pytest.mark.parametrize(
    ("row", "column", "reason"),
    [
        ("2026-10-06T09:30:00,----,170", "transit_time", "value-invalid"),
        ("2026-10-06T09:30:00,nan,170", "transit_time", "value-invalid"),
        ("2026-10-06T09:30:00,1_0,170", "transit_time", "value-invalid"),
        ("2026-10-06T09:30:00,311.2,", "time_difference", "value-invalid"),
        ("06/10/2026 09:30,311.2,170", "time", "time-invalid/iso"),
        ("2026-10-06T09:30:00,311.2", "", "row-columns-missing"),
        ("\0\0\0,311.2,170", "time", "time-invalid/iso"),
    ],
)
def test_an_unreadable_row_is_listed_with_line_column_and_reason(row: str, column: str, reason: str) -> None:
    intake = read(f"{HEADER}\n2026-10-06T09:29:59,311.2,170\n{row}\n2026-10-06T09:30:01,311.2,170\n")
    [row] = intake.rejected_rows
    assert (row.line, row.column) == (3, column)
    assert row.reason.key == reason
    assert (intake.rows_accepted, intake.rows_rejected) == (2, 1)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "header-missing"),
        ("a b c\n1 2 3\n", "header-missing"),
        ("time,pressure [bar]\n", "columns-missing"),
        ("time,transit_time [us]\n", "columns-missing"),
        ("time,transit_time,time_difference [ns]\n", "unit-missing"),
        ("time,transit_time [mm],time_difference [ns]\n", "unit-unknown"),
        ("time,transit_time [us],transit_time [us],time_difference [ns]\n", "duplicate-column"),
        (f"{HEADER}\n", "no-readings"),
        (f"{HEADER}\nx,y,z\n", "no-readings"),
        (b"\xff\xfe\x00t\x00i", "file-not-text"),
        (b"PK\x03\x04" + bytes(range(256)) * 10, "file-not-text"),
        ("time," + "x" * 20_000, "line-too-long"),
        (",".join(f"c{i}" for i in range(100)), "too-many-columns"),
    ],
)
def test_an_unusable_file_is_rejected_with_the_reason(text: str | bytes, code: str) -> None:
    with pytest.raises(ServiceError) as caught:
        read(text)
    assert (caught.value.code, caught.value.status) == (code, 400)


def test_a_file_above_the_size_limit_is_rejected() -> None:
    with pytest.raises(ServiceError) as caught:
        read(f"{HEADER}\n" + "2026-10-06T09:30:00,311.2,170\n" * 1000, most=10_000)
    assert caught.value.code == "file-too-large"


def test_the_file_is_stored_unchanged_with_its_checksum() -> None:
    text = f"{HEADER},note\r\n2026-10-06T09:30:00,311.2,170,ok\r\n".encode()
    intake = read(text)
    kept = b"".join(zstandard.ZstdDecompressor().decompress(part) for part in intake.file_parts)
    assert kept == text
    assert intake.sha256 == hashlib.sha256(text).hexdigest()
    assert intake.ignored_columns == ("note",)


def test_a_long_log_is_cut_into_blocks_and_loses_no_row() -> None:
    count = BLOCK_ROWS + 7
    line = "2026-10-06T09:30:00,311.2,170\n"
    intake = read(f"{HEADER}\n" + line * count)
    assert [n for n, _ in intake.blocks] == [BLOCK_ROWS, 7]
    assert intake.rows_accepted == count


@given(st.binary(max_size=400))
def test_no_bytes_whatever_break_the_intake(noise: bytes) -> None:
    for start in (b"", f"{HEADER}\n".encode()):
        with contextlib.suppress(ServiceError):
            assert read(start + noise).rows_accepted > 0


def test_a_row_with_more_cells_than_the_header_is_rejected_unless_they_are_empty() -> None:
    intake = read(f"{HEADER}\n2026-10-06T09:30:00,311.2,170,\n2026-10-06T09:30:01,311,2,170\n")
    assert intake.rows_accepted == 1
    assert intake.rejected_rows[0].reason == message("row-columns-extra", columns=4, named=3)


def test_quotes_enclose_cells_and_an_open_quote_rejects_only_its_row() -> None:
    rows = '2026-10-06T09:30:00,"311.2",170,"a, b"\n2026-10-06T09:30:01,"311.2,170,\n2026-10-06T09:30:02,311.2,170,x\n'
    intake = read(f'"time","transit_time [us]","time_difference [ns]",note\n{rows}')
    assert readings(intake)[1]["transit_time"] == [311.2, 311.2]
    assert [(r.line, r.reason.key) for r in intake.rejected_rows] == [(3, "row-quotes-invalid")]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_may_end_in_any_way_and_blank_ones_are_passed_over(end: str) -> None:
    lines = [HEADER, "2026-10-06T09:30:00,311.2,170", "", "2026-10-06T09:30:01,x,170", ""]
    intake = read(end.join(lines))
    assert (intake.rows_accepted, [r.line for r in intake.rejected_rows]) == (1, [4])


def test_a_file_of_latin_letters_decimal_commas_and_a_preamble_is_read_by_its_log_format() -> None:
    text = "Anlage Süd\nZeit;T [µs];D\nhh:mm;µs;ns\n06.10.2026 09:30:00;311,25;-170\n06.10.2026 09:30:01;---;170\n"
    by = log_format(
        encoding="latin-1",
        delimiter=";",
        decimal_mark=",",
        header_line=2,
        skip_after_header=1,
        no_value=["---"],
        time={"at": "Zeit", "form": "pattern", "pattern": "%d.%m.%Y %H:%M:%S"},
        columns=[
            {"name": "transit_time", "at": "T [µs]"},
            {"name": "time_difference", "at": "D", "unit": "ns", "turned": True},
        ],
    )
    intake = read(text.encode("latin-1"), by)
    times, columns = readings(intake)
    assert times == [utc(2026, 10, 6, 7, 30)]
    assert columns == {"transit_time": [311.25], "time_difference": [170.0]}
    assert (intake.rejected_rows[0].line, intake.rejected_rows[0].column) == (5, "transit_time")
    assert intake.rejected_rows[0].reason.key == "value-missing"


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_text_of_two_bytes_a_letter_is_read(encoding: str) -> None:
    text = f"{HEADER}\n2026-10-06T09:30:00,311.2,170\n"
    assert readings(
        read(text.encode(encoding), log_format(encoding=encoding, columns=[], header_line=1, time={}))
    )[1] == {
        "transit_time": [311.2],
        "time_difference": [170.0],
    }


def test_a_missing_optional_value_is_stored_as_missing() -> None:
    columns = [
        {"name": "flow_velocity", "at": 2, "unit": "m/s"},
        {"name": "signal_to_noise", "at": 3, "unit": "dB"},
    ]
    intake = read(
        "2026-10-06T09:30:00,1.5,-9999.0\n2026-10-06T09:30:01,1.5,40\n",
        log_format(columns=columns, no_value=["-9999"]),
    )
    signal = readings(intake)[1]["signal_to_noise"]
    assert (str(signal[0]), signal[1], intake.rows_rejected) == ("nan", 40.0, 0)


@pytest.mark.parametrize(
    ("form", "cell"),
    [
        ("unix-seconds", "1791278999.25"),
        ("unix-milliseconds", "1791278999250"),
        ("elapsed-seconds", "3599.25"),
    ],
)
def test_counted_times_are_read(form: str, cell: str) -> None:
    # 1791279000 s after 1970 is 20732 days and 34200 s: 2026-10-06 09:30:00 UTC.
    by = log_format(
        time={"at": 1, "form": form, "starts_at": "2026-10-06T10:30:00" if form == "elapsed-seconds" else ""}
    )
    times, _ = readings(read(f"{cell},311.2,170\n", by))
    assert times == [utc(2026, 10, 6, 9, 29, 59) + 250_000]


def test_elapsed_seconds_require_a_start_and_give_a_finding() -> None:
    by = log_format(time={"at": 1, "form": "elapsed-seconds"})
    with pytest.raises(ServiceError) as caught:
        read("0,311.2,170\n", by)
    assert caught.value.code == "start-missing"
    intake = read("0,311.2,170\n", by, starts_at=datetime(2026, 10, 6, 9, 30, tzinfo=UTC))
    assert readings(intake)[0] == [utc(2026, 10, 6, 9, 30)]
    assert [f.code for f in intake.findings] == ["times-from-start"]


def test_irregular_rows_give_findings() -> None:
    rows = "".join(f"2026-10-06T09:30:{n:02},311.2,170\n" for n in [*range(20), *range(40, 60)])
    assert [f.code for f in read(f"{HEADER}\n{rows}").findings] == ["log-gaps"]


def test_parts_beyond_memory_lie_on_disk_and_come_back_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surveys.logfiles.storage.SPOOL_BYTES", 100)
    text = (
        f"{HEADER}\n"
        + "".join(f"2026-10-06T09:{n // 60:02}:{n % 60:02},311.2,{n * 7919 % 1000}\n" for n in range(3000))
    ) * 1
    text += "".join(f"2026-10-07T09:{n // 60 % 60:02}:{n % 60:02},311.2,170\n" for n in range(60_000))
    intake = read(text)
    kept = b"".join(zstandard.ZstdDecompressor().decompress(part) for part in intake.file_parts)
    assert kept == text.encode()
    assert readings(intake)[1]["time_difference"][:3000] == [float(n * 7919 % 1000) for n in range(3000)]
    assert [[n for n, _ in batch] for batch in intake.file_parts.batches(1)] == [
        [n] for n in range(len(intake.file_parts))
    ]


def test_the_hour_that_the_clocks_skip_or_repeat_is_read_by_the_zones_own_rules() -> None:
    # Copenhagen goes back at 03:00 on 25 October 2026: 01:59 is UTC+2, 03:00 is UTC+1.
    intake = read(f"{HEADER}\n2026-10-25T01:59:00,311.2,170\n2026-10-25T03:00:00,311.2,170\n")
    times, _ = readings(intake)
    assert times[1] - times[0] == (2 * 3600 + 60) * 1_000_000
