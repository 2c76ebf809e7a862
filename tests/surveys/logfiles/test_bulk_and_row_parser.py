"""Agreement of the bulk parser and the row parser on any rows."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surveys.logfiles import text_reader
from surveys.logfiles.bulk_parser import read_in_bulk
from surveys.logfiles.format import LogFormat
from surveys.logfiles.importing import import_file
from surveys.logfiles.row_parser import LineTooLong, read_rows_singly
from tests.surveys.logfiles.logs import COPENHAGEN, HEADER, log_format, plan

TIMES = {
    "iso": ("", lambda m: m.isoformat()),
    "space": ("", lambda m: m.isoformat(" ", "milliseconds")),
    "offset": ("", lambda m: m.isoformat(timespec="microseconds") + "+02:00"),
    "zulu": ("", lambda m: m.isoformat() + "Z"),
    "german": ("%d.%m.%Y %H:%M:%S", lambda m: m.strftime("%d.%m.%Y %H:%M:%S")),
    "american": ("%m/%d/%y %I:%M:%S %p", lambda m: m.strftime("%m/%d/%y %I:%M:%S %p")),
    "fraction": ("%Y/%m/%d %H:%M:%S.%f", lambda m: m.strftime("%Y/%m/%d %H:%M:%S.%f")),
    "month": ("%d-%b-%Y %H:%M", lambda m: m.strftime("%d-%b-%Y %H:%M")),
}
ODD = [
    "", " ", "-0.0", "1e3", "+5", ".5", "5.", "1_0", "nan", "inf", "-Infinity", "1e999", "0x10", "--", " -- ", "-9999",
    " -9999 ", "-9999.0", "1,5", "1.5", '"1.5"', '"1,5"', '"', 'a"b', '""', "\0", "é", "\N{ARABIC-INDIC DIGIT ONE}", "1.5\r", "# 1", "NA", "NULL",
    "1.5 ",
    "2026-10-06", "2026-10-06 09", "2026-10-06T09:30Z", "2026-10-06T0930", "2026-02-30T00:00:00", "9999-12-31T23:59:59", "0001-01-01",
    "2026-10-06T24:00:00", "2026-10-06T09:30:60", "2026-10-06T09:30:00.1234567", "2026-W41-2", "31.02.2026 09:30:00",
]  # fmt: skip


@st.composite
def tables(draw: st.DrawFn) -> tuple[LogFormat, bytes]:
    """Return a log format, and rows written in it, some of them corrupt."""
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    decimal = draw(st.sampled_from([".", ","])) if delimiter != "," else "."
    pattern, write = TIMES[draw(st.sampled_from(sorted(TIMES)))]
    moments = st.datetimes(datetime(1980, 1, 1), datetime(2060, 1, 1))
    numbers = st.one_of(
        st.floats(-1e6, 1e6), st.integers(-9999, 9999), st.floats(allow_nan=False, allow_infinity=False)
    )
    rows = []
    for moment, *values in draw(
        st.lists(st.tuples(moments, numbers, numbers, numbers), min_size=1, max_size=8)
    ):
        rows.append([write(moment), *(repr(value).replace(".", decimal) for value in values)])
    for _ in range(draw(st.integers(0, 2))):
        row = rows[draw(st.integers(0, len(rows) - 1))]
        row[draw(st.integers(0, 3))] = draw(st.sampled_from(ODD))
    if draw(st.integers(0, 4)) == 0:
        rows[-1].append(draw(st.sampled_from(["", "x", "1"])))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    text = end.join(delimiter.join(row) for row in rows) + draw(st.sampled_from(["", end]))
    by = log_format(
        delimiter=delimiter,
        decimal_mark=decimal,
        quote=draw(st.sampled_from(["", '"'])),
        comment=draw(st.sampled_from(["", "#"])),
        no_value=draw(st.sampled_from([[], ["--"], ["-9999", ""]])),
        time={"at": 1, "form": "pattern" if pattern else "iso", "pattern": pattern},
        columns=[
            {"name": "transit_time", "at": 2, "unit": "us"},
            {"name": "time_difference", "at": 3, "unit": "ns", "turned": draw(st.booleans())},
            {"name": "signal_to_noise", "at": 4, "unit": "dB"},
        ],
    )
    return by, text.encode()


@settings(max_examples=400)
@given(tables(), st.booleans())
def test_reading_in_bulk_agrees_with_reading_row_by_row(table: tuple[LogFormat, bytes], header: bool) -> None:
    by, chunk = table
    how = plan(by, header=("t", "a", "b", "c") if header else None)
    try:
        alone = read_rows_singly(chunk, how)
    except UnicodeDecodeError:
        return
    together = read_in_bulk(chunk, how)
    if together is None:
        return
    assert alone.rejected_rows == []
    assert together.lines == alone.lines
    assert together.times.tolist() == alone.times.tolist()
    assert together.local.tolist() == alone.local.tolist()
    assert together.at.tolist() == alone.at.tolist()
    for name, values in alone.columns.items():
        assert together.columns[name].tobytes() == values.tobytes()


@pytest.mark.parametrize("form", sorted(TIMES))
def test_rows_in_order_are_read_at_once(form: str) -> None:
    pattern, write = TIMES[form]
    by = log_format(time={"at": 1, "form": "pattern" if pattern else "iso", "pattern": pattern})
    text = "".join(f"{write(datetime(2026, 10, 6, 9, 30, n, 250_000))},311.2,170\r\n" for n in range(30))
    found = read_in_bulk(text.encode(), plan(by))
    assert found is not None
    assert found.lines == 30


def test_date_and_clock_in_two_columns_are_read_at_once_and_alone() -> None:
    columns = [{"name": "flow_velocity", "at": 3, "unit": "m/s"}]
    for time, cells in (
        ({"at": 1, "clock": 2}, "2026-10-06,09:30:00.5"),
        ({"at": 1, "clock": 2, "form": "pattern", "pattern": "%d.%m.%y %H:%M:%S.%f"}, "06.10.26,09:30:00.5"),
    ):
        how, chunk = plan(log_format(time=time, columns=columns)), f"{cells},1.5\n".encode()
        together, alone = read_in_bulk(chunk, how), read_rows_singly(chunk, how)
        assert together is not None
        assert together.times.tolist() == alone.times.tolist() == [1_791_279_000_500_000]


@pytest.mark.parametrize("size", [1, 40, 1000])
def test_a_file_is_read_alike_however_it_is_cut(size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [f"2026-10-06T09:{n // 60:02}:{n % 60:02},{311 + n % 7 / 10},170" for n in range(600)]
    rows[17], rows[400] = "spoilt", "2026-10-06T09:30:00,x,170"
    text = "\n".join([HEADER, *rows]).encode()
    whole = import_file(io.BytesIO(text), COPENHAGEN, 10**6)
    monkeypatch.setattr("surveys.logfiles.bulk_parser.MIN_CHUNK", 200)
    monkeypatch.setattr(
        "surveys.logfiles.importing.chunks", lambda read, encoding: text_in_chunks(read, encoding, size)
    )
    cut = import_file(io.BytesIO(text), COPENHAGEN, 10**6)
    assert list(cut.blocks) == list(whole.blocks)
    assert [(r.line, r.column) for r in cut.rejected_rows] == [
        (r.line, r.column) for r in whole.rejected_rows
    ]
    assert [r.line for r in cut.rejected_rows] == [19, 402]


def text_in_chunks(read: Any, encoding: str, size: int) -> Iterator[bytes]:
    from surveys.logfiles.text import chunks

    return chunks(read, encoding, size)


def test_a_line_that_is_too_long_is_named_by_its_number(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surveys.logfiles.bulk_parser.MIN_CHUNK", 200)
    row = "2026-10-06T09:30:00,311.2,170"
    text = "\n".join([HEADER, *[row] * 500, row + "," + "9" * 10_000, *[row] * 500])
    with contextlib.suppress(LineTooLong), pytest.raises(Exception, match="line=502"):
        import_file(io.BytesIO(text.encode()), UTC, 10**6)
    assert text_reader.MAX_LINE_LENGTH == 10_000
