"""Times written by a pattern, against the standard library's reading of the same letters."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.logfiles.patterns import pattern_error, pattern_of

PATTERNS = [
    "%d.%m.%Y %H:%M:%S", "%m/%d/%y %I:%M:%S %p", "%Y%m%d".replace("%d", "%d") + " %H%M%S", "%d-%b-%Y %H:%M", "%Y-%m-%dT%H:%M:%S.%f",
    "%d/%m/%y %H:%M:%S,%f",
]  # fmt: skip


def letters(texts: list[str]) -> np.ndarray:
    return np.frombuffer("".join(texts).encode(), dtype=np.uint8).reshape(len(texts), -1)


@given(
    st.sampled_from(PATTERNS),
    st.lists(st.datetimes(datetime(1970, 1, 1), datetime(2068, 12, 31)), min_size=1, max_size=9),
)
def test_times_written_by_a_pattern_are_read_as_the_standard_library_reads_them(
    pattern: str, moments: list[datetime]
) -> None:
    texts = [moment.strftime(pattern) for moment in moments]
    expected = [datetime.strptime(text, pattern) for text in texts]  # noqa: DTZ007
    assert [pattern_of(pattern).moment(text) for text in texts] == expected
    many = pattern_of(pattern).many(letters(texts))
    assert many is not None
    assert many.tolist() == [(m - datetime(1970, 1, 1)) // timedelta(microseconds=1) for m in expected]


@given(st.sampled_from(PATTERNS), st.text("0123456789.:/- TaApPmMjJ", min_size=19, max_size=19))
def test_an_invalid_time_is_invalid_alone_and_in_a_series(pattern: str, text: str) -> None:
    many = pattern_of(pattern).many(letters([text]))
    one = pattern_of(pattern).moment(text)
    if many is not None:
        assert one is not None
        assert many[0] == (one - datetime(1970, 1, 1)) // timedelta(microseconds=1)


@pytest.mark.parametrize(
    "text",
    [
        "29.02.2027 00:00:00",
        "31.04.2026 00:00:00",
        "00.01.2026 00:00:00",
        "01.13.2026 00:00:00",
        "01.01.2026 24:00:00",
    ],
)
def test_days_and_hours_that_do_not_exist_are_rejected(text: str) -> None:
    pattern = pattern_of("%d.%m.%Y %H:%M:%S")
    assert pattern.moment(text) is None
    assert pattern.many(letters([text])) is None


def test_numbers_may_be_written_without_a_leading_zero_and_an_offset_counts() -> None:
    assert pattern_of("%d.%m.%Y %H:%M").moment("6.9.2026 9:05") == datetime(2026, 9, 6, 9, 5)
    moment = pattern_of("%Y-%m-%d %H:%M %z").moment("2026-10-06 09:30 -0330")
    assert moment is not None
    assert moment.utcoffset() == -timedelta(hours=3, minutes=30)


@pytest.mark.parametrize(
    "pattern",
    ["", "%d.%m.%Y", "%H:%M", "%d.%m.%Y %H:%M %Q", "%d.%m.%Y %d %H:%M", "%d.%m.%Y %I:%M", "%d.%m.%Y %H:%M %p", "%d.%m.%Y %y %H:%M",
     "%d.%m.%Y %H:%M.%f", "x%d.%m.%Y %H:%M", "%", "%d.%m.%Y %H:%M%", "%d.%b.%m.%Y %H:%M", "%d.%m.%Y %H:%M" + " " * 60],
)  # fmt: skip
def test_a_pattern_without_a_complete_time_is_rejected(pattern: str) -> None:
    assert pattern_error(pattern)
