"""What an instrument found out of tolerance does to earlier results."""

from __future__ import annotations

from datetime import date

import pytest

from compute.base.errors import NotEnough, OutOfRange
from compute.calibration.decision_rules import Conformity
from compute.calibration.out_of_tolerance import (
    DatedVerdict,
    affected_period,
)


def history(*rows: tuple[int, Conformity | None, Conformity | None]) -> list[DatedVerdict]:
    return [DatedVerdict(date(year, 3, 1), found, left) for year, found, left in rows]


@pytest.mark.parametrize(
    ("rows", "after"),
    [
        ([(2023, "pass", None), (2024, "pass", None), (2025, "fail", "pass")], 2024),
        ([(2023, "pass", None), (2024, "fail", "pass"), (2025, "conditional-fail", "pass")], 2024),
        ([(2023, "pass", None), (2024, "fail", "fail"), (2025, "fail", "pass")], 2023),
        ([(2023, "pass", None), (2024, "fail", None), (2025, "fail", "pass")], 2023),
        ([(2023, None, "pass"), (2025, "fail", "pass")], 2023),
        ([(2023, None, None), (2025, "fail", "pass")], None),
        ([(2025, "fail", "pass")], None),
    ],
)
def test_results_are_affected_since_the_meter_was_last_left_in_tolerance(
    rows: list[tuple[int, Conformity | None, Conformity | None]], after: int | None
) -> None:
    for order in (rows, rows[::-1]):
        found = affected_period(history(*order))
        assert found is not None
        assert found.until == date(2025, 3, 1)
        assert found.after == (date(after, 3, 1) if after else None)


@pytest.mark.parametrize("found", ["pass", "conditional-pass", None])
def test_a_meter_found_in_tolerance_affects_no_result(found: Conformity | None) -> None:
    assert affected_period(history((2024, "fail", "pass"), (2025, found, "pass"))) is None


def test_invalid_input_is_rejected() -> None:
    with pytest.raises(NotEnough):
        affected_period([])
    with pytest.raises(OutOfRange):
        affected_period(history((2025, "pass", None), (2025, "fail", None)))
