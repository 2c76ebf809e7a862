"""A layout proposed from the beginning of a file: right where it can be told, in doubt where it cannot."""

from __future__ import annotations

import pytest

from surveys.readings.guess import guess_layout
from surveys.readings.layout import PLAIN
from surveys.readings.preview import preview
from tests.surveys.readings.logs import COPENHAGEN, HEADER, read, readings, utc


def lines(*rows: str) -> str:
    return "\r\n".join(rows) + "\r\n"


def test_the_demos_log_is_plain_and_leaves_no_doubt(log_bytes: bytes) -> None:
    guess = guess_layout(log_bytes)
    assert guess.layout == PLAIN
    assert guess.doubts == ()


def test_a_file_with_preamble_units_below_and_decimal_commas_is_understood() -> None:
    text = lines(
        "Meter 3;;;",
        "Date;Clock;Flow rate;Sound speed",
        ";;m3/h;m/s",
        *(f"{n}.10.2026;09:30:0{n % 10};12,{n};{'---' if n == 20 else '1481,5'}" for n in range(13, 27)),
    )
    guess = guess_layout(text.encode("utf-16"))
    layout = guess.layout
    assert (layout.encoding, layout.delimiter, layout.decimal_mark) == ("utf-16", ";", ",")
    assert (layout.header_line, layout.skip_after_header, layout.no_value) == (2, 1, ("---",))
    assert (layout.time.at, layout.time.clock, layout.time.pattern) == ("Date", "Clock", "%d.%m.%Y %H:%M:%S")
    assert [(c.name, c.unit) for c in layout.columns] == [("volume_flow", "m3/h"), ("sound_speed", "m/s")]
    intake = read(text.encode("utf-16"), layout)
    assert (intake.rows_taken, intake.rows_refused) == (14, 0)
    assert readings(intake)[0][0] == utc(2026, 10, 13, 7, 30, 3)


def test_day_and_month_that_cannot_be_told_apart_are_a_doubt_and_both_forms_are_named() -> None:
    rows = [f"06/10/2026 09:30:0{n},1.{n}" for n in range(6)]
    guess = guess_layout(lines("when,velocity [m/s]", *rows).encode())
    assert guess.layout.time.pattern == "%d/%m/%Y %H:%M:%S"
    assert any("%m/%d/%Y %H:%M:%S" in doubt and "Choose" in doubt for doubt in guess.doubts)
    sure = guess_layout(
        lines("when,velocity [m/s]", *(row.replace("06/10", "10/26") for row in rows)).encode()
    )
    assert sure.layout.time.pattern == "%m/%d/%Y %H:%M:%S"
    assert not any("Choose" in doubt for doubt in sure.doubts)


def test_decimal_commas_between_commas_are_a_doubt() -> None:
    text = lines(
        "time,transit time [us],delta t [ns]", *(f"2026-10-06T09:30:0{n},311,2{n},170,5" for n in range(6))
    )
    assert any("decimal marks as well" in doubt for doubt in guess_layout(text.encode()).doubts)


@pytest.mark.parametrize(
    ("start", "form"),
    [(1_791_279_000, "unix-seconds"), (1_791_279_000_000, "unix-milliseconds"), (0, "elapsed-seconds")],
)
def test_counted_times_are_known_by_their_size(start: int, form: str) -> None:
    text = lines("time\tflow velocity (m/s)", *(f"{start + n}\t1.{n}" for n in range(6)))
    assert guess_layout(text.encode()).layout.time.form == form


@pytest.mark.parametrize(
    ("head", "encoding"),
    [
        ("\N{BYTE ORDER MARK}t;v [m/s]\n".encode(), "utf-8"),
        ("t;v [m/s]\n1;2\n".encode("utf-16-be"), "utf-16-be"),
        ("t;v [µs]\n1;2\n".encode("latin-1"), "latin-1"),
        ("t;\N{LEFT DOUBLE QUOTATION MARK}v [µs]\n1;2\n".encode("cp1252"), "cp1252"),
    ],
)
def test_the_encoding_is_known_by_its_bytes(head: bytes, encoding: str) -> None:
    assert guess_layout(head).layout.encoding == encoding


def test_parquet_is_known_by_its_first_bytes() -> None:
    guess = guess_layout(b"PAR1" + bytes(100))
    assert guess.layout.form == "parquet"
    assert guess.doubts


def test_a_missing_unit_or_header_is_a_doubt() -> None:
    unitless = guess_layout(
        lines("time,velocity", *(f"2026-10-06T09:30:0{n},1.{n}" for n in range(6))).encode()
    )
    assert any("unit is not known" in doubt for doubt in unitless.doubts)
    bare = guess_layout(lines(*(f"2026-10-06T09:30:0{n},1.{n}" for n in range(6))).encode())
    assert any("no header" in doubt for doubt in bare.doubts)


def test_the_same_bytes_give_the_same_guess_and_other_rows_of_a_cut_file_do_not_matter() -> None:
    text = (f"{HEADER}\n" + "2026-10-06T09:30:00,311.2,170\n" * 5000).encode()
    assert guess_layout(text) == guess_layout(text[:65_536])


def test_a_preview_shows_the_first_rows_as_they_would_be_read() -> None:
    text = f"{HEADER}\n2026-10-06T09:30:00,311.2,170\n2026-10-06T09:30:01,--,170\n2026-10-06T09:30:02,31"
    shown = preview(PLAIN, text.encode(), COPENHAGEN, cut_short=True)
    assert shown.rows == (("2026-10-06T07:30:00Z", (311.2, 170.0)),)
    assert [(r.line, r.column) for r in shown.refusals] == [(3, "transit_time")]
    assert (shown.rows_taken, shown.rows_refused) == (1, 1)


def test_a_preview_of_two_byte_letters_cuts_between_letters() -> None:
    # U+0A0D and U+0D0A hold the bytes of a line end across letters.
    text = f"{HEADER},note\n2026-10-06T09:30:00,311.2,170,ok\n2026-10-06T09:30:01,311.2,170,\N{GURMUKHI LETTER A}\u0d0a\u0a0d"
    by = guess_layout(text.encode("utf-16")).layout
    assert by.encoding == "utf-16"
    assert preview(by, text.encode("utf-16"), COPENHAGEN, cut_short=True).rows_taken == 1
