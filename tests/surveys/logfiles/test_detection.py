"""Detection of a log format from the first rows of a file: correct if unambiguous, otherwise with a warning."""

from __future__ import annotations

import pytest

from surveys.logfiles.detection import detect_format
from surveys.logfiles.format import PLAIN
from surveys.logfiles.preview import preview
from tests.surveys.logfiles.logs import COPENHAGEN, HEADER, read, readings, utc


def lines(*rows: str) -> str:
    return "\r\n".join(rows) + "\r\n"


def test_the_demos_log_is_detected_without_warnings(log_bytes: bytes) -> None:
    detection = detect_format(log_bytes)
    assert detection.log_format == PLAIN
    assert detection.warnings == ()


def test_a_file_with_preamble_units_below_and_decimal_commas_is_understood() -> None:
    text = lines(
        "Meter 3;;;",
        "Date;Clock;Flow rate;Sound speed",
        ";;m3/h;m/s",
        *(f"{n}.10.2026;09:30:0{n % 10};12,{n};{'---' if n == 20 else '1481,5'}" for n in range(13, 27)),
    )
    detection = detect_format(text.encode("utf-16"))
    log_format = detection.log_format
    assert (log_format.encoding, log_format.delimiter, log_format.decimal_mark) == ("utf-16", ";", ",")
    assert (log_format.header_line, log_format.skip_after_header, log_format.no_value) == (2, 1, ("---",))
    assert (log_format.time.at, log_format.time.clock, log_format.time.pattern) == (
        "Date",
        "Clock",
        "%d.%m.%Y %H:%M:%S",
    )
    assert [(c.name, c.unit) for c in log_format.columns] == [("volume_flow", "m3/h"), ("sound_speed", "m/s")]
    intake = read(text.encode("utf-16"), log_format)
    assert (intake.rows_accepted, intake.rows_rejected) == (14, 0)
    assert readings(intake)[0][0] == utc(2026, 10, 13, 7, 30, 3)


def test_ambiguous_day_and_month_give_a_warning_with_both_forms() -> None:
    rows = [f"06/10/2026 09:30:0{n},1.{n}" for n in range(6)]
    detection = detect_format(lines("when,velocity [m/s]", *rows).encode())
    assert detection.log_format.time.pattern == "%d/%m/%Y %H:%M:%S"
    assert any(
        warning.code == "day-and-month-ambiguous" and "%m/%d/%Y %H:%M:%S" in warning.parameters["others"]
        for warning in detection.warnings
    )
    sure = detect_format(
        lines("when,velocity [m/s]", *(row.replace("06/10", "10/26") for row in rows)).encode()
    )
    assert sure.log_format.time.pattern == "%m/%d/%Y %H:%M:%S"
    assert not any(warning.code == "day-and-month-ambiguous" for warning in sure.warnings)


def test_decimal_commas_between_commas_give_a_warning() -> None:
    text = lines(
        "time,transit time [us],delta t [ns]", *(f"2026-10-06T09:30:0{n},311,2{n},170,5" for n in range(6))
    )
    assert any(warning.code == "decimal-comma-ambiguous" for warning in detect_format(text.encode()).warnings)


@pytest.mark.parametrize(
    ("start", "form"),
    [(1_791_279_000, "unix-seconds"), (1_791_279_000_000, "unix-milliseconds"), (0, "elapsed-seconds")],
)
def test_counted_times_are_detected_by_their_size(start: int, form: str) -> None:
    text = lines("time\tflow velocity (m/s)", *(f"{start + n}\t1.{n}" for n in range(6)))
    assert detect_format(text.encode()).log_format.time.form == form


@pytest.mark.parametrize(
    ("head", "encoding"),
    [
        ("\N{BYTE ORDER MARK}t;v [m/s]\n".encode(), "utf-8"),
        ("t;v [m/s]\n1;2\n".encode("utf-16-be"), "utf-16-be"),
        ("t;v [µs]\n1;2\n".encode("latin-1"), "latin-1"),
        ("t;\N{LEFT DOUBLE QUOTATION MARK}v [µs]\n1;2\n".encode("cp1252"), "cp1252"),
    ],
)
def test_the_encoding_is_detected_by_its_bytes(head: bytes, encoding: str) -> None:
    assert detect_format(head).log_format.encoding == encoding


def test_parquet_is_detected_by_its_first_bytes() -> None:
    detection = detect_format(b"PAR1" + bytes(100))
    assert detection.log_format.form == "parquet"
    assert detection.warnings


def test_a_missing_unit_or_header_gives_a_warning() -> None:
    unitless = detect_format(
        lines("time,velocity", *(f"2026-10-06T09:30:0{n},1.{n}" for n in range(6))).encode()
    )
    assert any(warning.code == "column-unit-unknown" for warning in unitless.warnings)
    bare = detect_format(lines(*(f"2026-10-06T09:30:0{n},1.{n}" for n in range(6))).encode())
    assert any(warning.code == "header-not-detected" for warning in bare.warnings)


def test_the_same_bytes_give_the_same_detection_independent_of_later_rows() -> None:
    text = (f"{HEADER}\n" + "2026-10-06T09:30:00,311.2,170\n" * 5000).encode()
    assert detect_format(text) == detect_format(text[:65_536])


def test_a_preview_shows_the_first_rows_as_they_would_be_read() -> None:
    text = f"{HEADER}\n2026-10-06T09:30:00,311.2,170\n2026-10-06T09:30:01,--,170\n2026-10-06T09:30:02,31"
    shown = preview(PLAIN, text.encode(), COPENHAGEN, cut_short=True)
    assert shown.rows == (("2026-10-06T07:30:00Z", (311.2, 170.0)),)
    assert [(r.line, r.column) for r in shown.rejected_rows] == [(3, "transit_time")]
    assert (shown.rows_accepted, shown.rows_rejected) == (1, 1)


def test_a_preview_of_two_byte_letters_cuts_between_letters() -> None:
    # U+0A0D and U+0D0A hold the bytes of a line end across letters.
    text = f"{HEADER},note\n2026-10-06T09:30:00,311.2,170,ok\n2026-10-06T09:30:01,311.2,170,\N{GURMUKHI LETTER A}\u0d0a\u0a0d"
    by = detect_format(text.encode("utf-16")).log_format
    assert by.encoding == "utf-16"
    assert preview(by, text.encode("utf-16"), COPENHAGEN, cut_short=True).rows_accepted == 1
