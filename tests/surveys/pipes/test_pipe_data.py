"""Version of pipe data valid at a date, as recorded at a time."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime

import pytest

from surveys.models import PipeData
from surveys.pipes.selectors import pipe_data_valid


def version(day: int, *, valid_from: date | None = None, corrects: PipeData | None = None) -> PipeData:
    return PipeData(
        id=uuid.uuid4(),
        recorded_at=datetime(2026, 1, day, tzinfo=UTC),
        valid_from=valid_from,
        corrects_id=corrects and corrects.id,
    )


FIRST = version(1)
RENEWED = version(5, valid_from=date(2026, 6, 1))
CORRECTED = version(9, corrects=FIRST)
DATE_CORRECTED = version(12, valid_from=date(2026, 4, 1), corrects=RENEWED)
ALL = [FIRST, RENEWED, CORRECTED, DATE_CORRECTED]


@pytest.mark.parametrize(
    ("at", "known", "expected"),
    [
        (date(2026, 3, 1), 2, FIRST),
        (date(2026, 7, 1), 2, FIRST),
        (date(2026, 7, 1), 6, RENEWED),
        (date(2026, 5, 1), 6, FIRST),
        (date(2026, 5, 1), 10, CORRECTED),
        (date(2026, 5, 1), 13, DATE_CORRECTED),
        (date(2026, 3, 1), 13, CORRECTED),
        (date(2026, 6, 1), 10, RENEWED),
    ],
)
def test_the_version_is_the_one_valid_at_the_date_as_recorded_at_the_time(
    at: date, known: int, expected: PipeData
) -> None:
    assert pipe_data_valid(ALL, at, datetime(2026, 1, known, tzinfo=UTC)) is expected


def test_before_the_first_record_there_is_no_version() -> None:
    assert pipe_data_valid(ALL, date(2026, 5, 1), datetime(2025, 1, 1, tzinfo=UTC)) is None
    assert pipe_data_valid([version(1, valid_from=date(2026, 5, 1))], date(2026, 4, 30)) is None
