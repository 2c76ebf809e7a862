"""What is due when: days of the office's calendar, leap days, hours of use, thresholds."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.utils import timezone

from surveys.calibration.due_list import DueRow, due_groups, due_list, office_today, within_until
from surveys.core.errors import ServiceError
from surveys.models import Calibration, Instrument, IntervalPolicy, SurveyData
from surveys.services.fleet.calibrations import calibration_record, policy_record
from tests.surveys.scene import STARTED, make_scene

pytestmark = pytest.mark.django_db


def calibrated(by: Any, instrument: Instrument, on: date, due: date | None) -> Calibration:
    row = Calibration(
        instrument=instrument, certificate=f"X-{on}", laboratory="Harbour Row Calibration", calibrated_on=on, due_on=due
    )  # fmt: skip
    # Recorded when it was made, or now if that is later.
    records = datetime.combine(on, time(12), UTC)
    return calibration_record(calibration=row, by=by, now=max(records, timezone.now()))[0]


def row_of(cast: Any, instrument: Instrument, today: date) -> DueRow:
    return next(row for row in due_list(cast.office, today) if row.instrument == instrument)


@pytest.mark.parametrize(
    ("today", "left", "status"),
    [
        (date(2028, 2, 28), 1, "due"),
        (date(2028, 2, 29), 0, "due"),
        (date(2028, 3, 1), -1, "overdue"),
        (date(2028, 1, 30), 30, "due"),
        (date(2028, 1, 29), 31, "due-soon"),
        (date(2027, 12, 1), 90, "due-soon"),
        (date(2027, 11, 30), 91, "in-calibration"),
    ],
)
def test_the_due_day_itself_is_in_date_and_the_next_is_overdue_also_on_a_leap_day(
    cast: Any, kit: Any, today: date, left: int, status: str
) -> None:
    calibrated(cast.calibration_admin, kit.gauge, date(2026, 9, 1), date(2028, 2, 29))
    row = row_of(cast, kit.gauge, today)
    assert (row.days_left, row.status) == (left, status)


@pytest.mark.parametrize(
    ("zone", "moment", "day"),
    [
        ("UTC", datetime(2028, 2, 29, 23, 59, tzinfo=UTC), date(2028, 2, 29)),
        # Midsummer is UTC+2 there, midwinter UTC+1.
        ("Europe/Copenhagen", datetime(2028, 2, 29, 23, 0, tzinfo=UTC), date(2028, 3, 1)),
        ("Europe/Copenhagen", datetime(2028, 6, 30, 21, 59, tzinfo=UTC), date(2028, 6, 30)),
        ("Pacific/Honolulu", datetime(2028, 3, 1, 9, 59, tzinfo=UTC), date(2028, 2, 29)),
    ],
)
def test_today_is_the_date_by_the_offices_calendar(
    settings: Any, zone: str, moment: datetime, day: date
) -> None:
    settings.OFFICE_TIME_ZONE = zone
    assert office_today(moment) == day


@pytest.mark.parametrize(
    ("text", "until"),
    [
        ("60d", date(2027, 3, 31)),
        ("8w", date(2027, 3, 27)),
        ("1m", date(2027, 2, 28)),
        ("0d", date(2027, 1, 30)),
    ],
)
def test_within_is_days_weeks_or_months(text: str, until: date) -> None:
    assert within_until(text, date(2027, 1, 30)) == until


@pytest.mark.parametrize(
    "text", ["", "60", "d", "-5d", "6.5d", "1y", "9999w", "\N{ARABIC-INDIC DIGIT SIX}d", "60d ", "1e3d"]
)
def test_the_filter_rejects_invalid_numbers_of_days(text: str) -> None:
    with pytest.raises(ServiceError) as caught:
        within_until(text, date(2027, 1, 30))
    assert caught.value.code == "within-invalid"


def test_a_due_date_left_out_follows_from_the_closest_policy(cast: Any, kit: Any) -> None:
    by, now = cast.calibration_admin, timezone.now()
    policy_record(IntervalPolicy(kind="thickness-gauge", months=24), by=by, now=now)
    policy_record(
        IntervalPolicy(kind="thickness-gauge", type_name=kit.gauge.type_name, months=12), by=by, now=now
    )
    # 29 February and twelve months: the last of the shorter month.
    records = calibrated(by, kit.gauge, date(2028, 2, 29), None)
    assert records.due_on == date(2029, 2, 28)
    assert records.interval_policy is not None
    assert records.interval_policy.months == 12


def test_a_certificate_needs_a_due_date_or_a_policy_and_names_the_reason(
    as_user: Any, cast: Any, kit: Any
) -> None:
    admin = as_user("calibration_admin")
    body = {
        "instrument": str(kit.gauge.pk), "certificate": "Y-1", "laboratory": "Harbour Row Calibration", "calibrated_on": "2026-09-01",
    }  # fmt: skip
    answer = admin.post("/api/v1/calibrations/", body, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, "due_on")
    policy = {"kind": "thickness-gauge", "months": 6, "hours": 200}
    assert admin.post("/api/v1/interval-policies/", policy, format="json").status_code == 201
    records = admin.post("/api/v1/calibrations/", body, format="json").json()
    assert records["due_on"] == "2027-03-01"
    assert "due-on-from-policy" in {one["code"] for one in records["conformity"]["findings"]}


@pytest.mark.parametrize(
    ("body", "field", "code"),
    [
        ({"kind": "meter", "hours": 100}, "months", "not-enough-data"),
        ({"kind": "meter", "months": 12, "hours": -1}, "hours", "out-of-range"),
        ({"kind": "meter", "months": 0}, "months", "min-value"),
        ({"months": 12}, "instrument", "one-of"),
        ({"kind": "meter", "months": True}, "months", "number-invalid"),
        ({"kind": "meter", "months": 12, "remind_days": []}, "remind_days", "min-length"),
    ],
)
def test_an_impossible_interval_is_rejected(as_user: Any, body: Any, field: str, code: str) -> None:
    answer = as_user("calibration_admin").post("/api/v1/interval-policies/", body, format="json")
    first = answer.json()["errors"][0]
    assert (answer.status_code, first["field"], first["code"]) == (400, field, code)
    assert not IntervalPolicy.objects.exists()


def used(scene: Any, days: list[tuple[date, float]]) -> None:
    """Surveys of so many hours on these days."""
    for day, hours in days:
        start = datetime(day.year, day.month, day.day, 8, tzinfo=UTC)
        survey = scene.survey(start, readings=2)
        stated = survey.stated
        stated.replaced_at = timezone.now()
        stated.save(update_fields=["replaced_at"])
        again = SurveyData.objects.get(pk=stated.pk)
        again.pk, again.replaced_at, again.ended_at = None, None, start + timedelta(hours=hours)
        again.change, again.reason = "correction", "Ended later."
        again.save(force_insert=True)
        again.instruments.set(stated.instruments.all())


def test_hours_of_use_run_out_before_the_calendar(cast: Any, kit: Any, site: Any) -> None:
    by = cast.calibration_admin
    policy_record(IntervalPolicy(instrument=kit.meter, months=12, hours=10), by=by, now=timezone.now())
    used(
        make_scene(site, cast, kit),
        [(date(2026, 3, 10), 9.0), (date(2026, 10, 7), 4.0), (date(2026, 10, 8), 6.5)],
    )
    row = row_of(cast, kit.meter, date(2026, 10, 10))
    # Calibrated on 2026-03-16: the nine hours before do not count.
    assert row.hours_used == pytest.approx(10.5)
    assert (row.due_on, row.due_reason, row.status, row.hours_left) == (
        date(2026, 10, 8),
        "hours",
        "overdue",
        0,
    )


def test_without_an_entered_end_the_span_of_the_log_is_the_time_in_use(
    cast: Any, kit: Any, site: Any
) -> None:
    make_scene(site, cast, kit).survey(STARTED, readings=61)
    row = row_of(cast, kit.meter, date(2026, 10, 10))
    assert row.hours_used == pytest.approx(60 / 3600)


def test_quarantined_and_never_calibrated_ones_are_marked_and_retired_ones_are_excluded(
    cast: Any, kit: Any
) -> None:
    Instrument.objects.filter(pk=kit.pair.pk).update(state="quarantined")
    Instrument.objects.filter(pk=kit.meter.pk).update(state="retired")
    new = Instrument.objects.create(kind="thermometer", type_name="contact", serial="T-1")
    found = {row.instrument: row.status for row in due_list(cast.office, date(2026, 10, 10))}
    assert found == {kit.pair: "quarantined", new: "never-calibrated", kit.gauge: "in-calibration"}


def test_a_corrected_certificate_and_one_that_lies_ahead_do_not_count(cast: Any, kit: Any) -> None:
    calibrated(cast.calibration_admin, kit.gauge, date(2026, 9, 1), date(2027, 9, 1))
    calibrated(cast.calibration_admin, kit.gauge, date(2026, 12, 1), date(2029, 9, 1))
    assert row_of(cast, kit.gauge, date(2026, 10, 10)).due_on == date(2027, 9, 1)


def test_the_board_groups_by_days_left(cast: Any, kit: Any) -> None:
    rows = [SimpleNamespace(status="in-calibration", days_left=left) for left in (0, 30, 31, 60, 61, 90, 91)]
    board = due_groups([*rows, SimpleNamespace(status="overdue", days_left=-1)])  # type: ignore[list-item]
    counts = {name: len(group) for name, group in board.items() if group}
    assert counts == {"overdue": 1, "30": 2, "60": 2, "90": 2, "later": 1}
