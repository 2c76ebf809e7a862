"""Local times and the hours that clocks skip or repeat."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.logfiles.zones import EPOCH, MICROSECOND, LocalClock
from tests.surveys.logfiles.logs import COPENHAGEN, HEADER, log_format, read, readings, utc

# Half hours, a change by half an hour, changes south of the equator, none, one of 24 hours, and a month's pause.
ZONES = [
    "Europe/Copenhagen", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC", "America/St_Johns",
    "Pacific/Apia", "Africa/Casablanca", "America/Sao_Paulo", "Europe/Dublin",
]  # fmt: skip


@given(
    st.sampled_from(ZONES),
    st.lists(st.datetimes(datetime(1975, 1, 1), datetime(2037, 12, 31)), min_size=1, max_size=20),
)
def test_many_times_are_converted_to_utc_as_each_one_alone(name: str, moments: list[datetime]) -> None:
    # The standard library's zones are the reference; the order of rows is the test below.
    zone = ZoneInfo(name)
    local = np.array([(moment.replace(tzinfo=UTC) - EPOCH) // MICROSECOND for moment in moments])
    for moment, one in zip(moments, local, strict=True):
        got, absent = LocalClock(zone).in_utc(np.array([one]))
        expected = moment.replace(tzinfo=zone)
        back = expected.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
        assert absent[0] == (back != moment)
        if not absent[0]:
            assert got[0] == (expected - EPOCH) // MICROSECOND
    together, _ = LocalClock(zone).in_utc(local)
    twice = [
        m.replace(tzinfo=zone).utcoffset() != m.replace(tzinfo=zone, fold=1).utcoffset() for m in moments
    ]
    if not any(twice):
        assert together.tolist() == [(m.replace(tzinfo=zone) - EPOCH) // MICROSECOND for m in moments]


def rows(*clocks: str) -> str:
    return f"{HEADER}\n" + "".join(f"{clock},311.2,170\n" for clock in clocks)


def test_the_repeated_hour_is_resolved_by_the_order_of_the_rows() -> None:
    # Copenhagen goes back from 03:00 to 02:00 on 25 October 2026, at 01:00 UTC.
    local = [(1, 30), (2, 0), (2, 30), (2, 59), (2, 0), (2, 30), (3, 0)]
    intake = read(rows(*(f"2026-10-25T{h:02}:{m:02}:00" for h, m in local)))
    times, _ = readings(intake)
    assert times == [
        utc(2026, 10, 24, 23, 30), utc(2026, 10, 25, 0, 0), utc(2026, 10, 25, 0, 30), utc(2026, 10, 25, 0, 59),
        utc(2026, 10, 25, 1, 0), utc(2026, 10, 25, 1, 30), utc(2026, 10, 25, 2, 0),
    ]  # fmt: skip
    [finding] = [f for f in intake.findings if f.code == "dst-hour-repeated"]
    assert finding.severity == "info"
    assert finding.parameters
    assert finding.parameters["count"] == 5
    assert (finding.parameters["hour_from"], finding.parameters["hour_to"]) == ("02:00", "03:00")
    assert finding.parameters["on"] == {"date": "2026-10-25"}


def test_a_repeated_hour_without_a_step_back_is_the_first_pass_with_a_finding() -> None:
    intake = read(rows("2026-10-25T02:10:00", "2026-10-25T02:20:00"))
    assert readings(intake)[0] == [utc(2026, 10, 25, 0, 10), utc(2026, 10, 25, 0, 20)]
    [finding] = intake.findings
    assert (finding.code, finding.severity) == ("dst-hour-repeated", "warning")


def test_rows_of_the_skipped_hour_are_rejected_with_the_reason() -> None:
    # Copenhagen goes from 02:00 to 03:00 on 29 March 2026.
    intake = read(rows("2026-03-29T01:59:59", "2026-03-29T02:30:00", "2026-03-29T03:00:00"))
    times, _ = readings(intake)
    assert times == [utc(2026, 3, 29, 0, 59, 59), utc(2026, 3, 29, 1, 0, 0)]
    [row] = intake.rejected_rows
    assert (row.line, row.column) == (3, "time")
    assert row.reason.key == "time-nonexistent"
    assert (row.reason.parameters["clock"], row.reason.parameters["on"]) == (
        "02:30:00",
        {"date": "2026-03-29"},
    )


@pytest.mark.parametrize(
    ("zone", "hour"), [("UTC+01:00", 1), ("UTC", 2), ("America/New_York", 6), ("site", 0)]
)
def test_a_log_formats_zone_counts_before_the_sites(zone: str, hour: int) -> None:
    # 02:30 on 28 June: Copenhagen is at UTC+2, New York at UTC-4.
    intake = read("2026-06-28T02:30:00,311.2,170\n", log_format(time={"at": 1, "zone": zone}))
    assert readings(intake)[0] == [utc(2026, 6, 28, hour, 30)]


def test_a_long_log_over_the_clock_change_is_read_completely() -> None:
    start = datetime(2026, 10, 24, 22, 0, tzinfo=UTC)
    moments = [start + timedelta(seconds=10 * n) for n in range(3000)]
    clocks = (moment.astimezone(COPENHAGEN).strftime("%Y-%m-%dT%H:%M:%S") for moment in moments)
    times, _ = readings(read(rows(*clocks)))
    assert times == [(moment - EPOCH) // MICROSECOND for moment in moments]
