"""The due list as people and programs get it: JSON, CSV, a calendar with its own address."""

from __future__ import annotations

import csv
import io
from datetime import date, timedelta
from typing import Any

import icalendar
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from surveys.models import CalendarFeed, Calibration, Instrument
from tests.surveys.api.test_schema import check, schema  # noqa: F401
from tests.surveys.fleet.certificates import errors

pytestmark = pytest.mark.django_db

DUE = "/api/v1/instruments/calibration-due/"
FEEDS = "/api/v1/calendar-feeds/"


def gauge(cast: Any, serial: str, due: date | None, **also: Any) -> Instrument:
    one = Instrument.objects.create(kind="thickness-gauge", type_name="wall gauge", serial=serial, **also)
    if due is not None:
        Calibration.objects.create(
            instrument=one, certificate=f"C-{serial}", laboratory="Harbour Row Calibration",
            calibrated_on=year_before(due), due_on=due, recorded_at=timezone.now(), recorded_by=cast.calibration_admin,
        )  # fmt: skip
    return one


def year_before(due: date) -> date:
    """A year before the due date, or before today if that is sooner: a calibration ahead does not count."""
    return min(due, timezone.now().date()) - timedelta(days=365)


def in_days(count: int) -> date:
    return timezone.now().date() + timedelta(days=count)


def test_overdue_instruments_are_first_and_the_filter_excludes_those_in_calibration(
    as_user: Any, cast: Any
) -> None:
    for serial, count in (("later", 200), ("soon", 45), ("over", -3)):
        gauge(cast, serial, in_days(count))
    gauge(cast, "new", None)
    answer = as_user("technician").get(DUE, {"within": "60d"}).json()
    assert [(row["serial"], row["status"], row["days_left"]) for row in answer["results"]] == [
        ("over", "overdue", -3),
        ("new", "never-calibrated", None),
        ("soon", "due-soon", 45),
    ]
    assert answer["counts"]["overdue"] == 1
    assert answer["until"] == in_days(60).isoformat()


def test_the_board_groups_the_rows(as_user: Any, cast: Any) -> None:
    for serial, count in (("a", 200), ("b", 45), ("c", -3), ("d", 0)):
        gauge(cast, serial, in_days(count))
    board = as_user("office").get(DUE, {"group": "status"}).json()["groups"]
    serials = {name: [row["serial"] for row in rows] for name, rows in board.items() if rows}
    assert serials == {"overdue": ["c"], "30": ["d"], "60": ["b"], "later": ["a"]}


@pytest.mark.parametrize("query", [{"within": "soon"}, {"within": "60d"}, {"group": "x"}, {"withing": "60d"}])
def test_responses_and_rejections_follow_the_schema(
    as_user: Any,
    cast: Any,
    schema: Any,  # noqa: F811
    query: Any,
) -> None:
    gauge(cast, "a", in_days(3))
    gauge(cast, "b", None)
    answer = as_user("office").get(DUE, query)
    assert (answer.status_code == 200) == (query == {"within": "60d"})
    check(schema, "get", DUE, answer)


def test_a_table_neutralises_spreadsheet_formulas(as_user: Any, cast: Any) -> None:
    for serial in ("=1+1", "+1", "-1", "@x", " =2"):
        gauge(cast, serial, in_days(-5), asset_number='=HYPERLINK("x")')
    for query, accept in (({"format": "csv"}, "*/*"), ({}, "text/csv")):
        answer = as_user("office").get(DUE, query, HTTP_ACCEPT=accept)
        assert answer["Content-Type"] == "text/csv; charset=utf-8"
        rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
        assert sorted(row["serial"] for row in rows) == ["' =2", "'+1", "'-1", "'=1+1", "'@x"]
        assert {row["asset_number"] for row in rows} == {'\'=HYPERLINK("x")'}
        assert {row["days_left"] for row in rows} == {"-5"}, "numbers stay numbers"


def test_the_calendar_has_an_all_day_event_on_the_due_date_with_a_lasting_uid(
    as_user: Any, cast: Any
) -> None:
    hostile = gauge(cast, "X,;\\Y\r\nEND:VCALENDAR", date(2028, 2, 29))
    gauge(cast, "new", None)
    files = [as_user("office").get(DUE, {"format": "ics"}).content for _ in range(2)]
    assert files[0] == files[1]
    (event,) = icalendar.Calendar.from_ical(files[0]).walk("VEVENT")
    assert (event.decoded("dtstart"), event.decoded("dtend")) == (date(2028, 2, 29), date(2028, 3, 1))
    assert event["uid"] == f"calibration-due-{hostile.calibrations.get().pk}"
    assert max(len(line) for line in files[0].split(b"\r\n")) <= 75, "RFC 5545 3.1 folds lines at 75 octets"


def test_a_feed_opens_by_its_address_alone_until_it_is_revoked(as_user: Any, cast: Any) -> None:
    gauge(cast, "a", in_days(3))
    user = as_user("calibration_admin")
    created = user.post(FEEDS, {"label": "office calendar"}, format="json")
    assert created.status_code == 201
    token, nobody = created.json()["token"], APIClient()
    assert created.json()["address"].endswith(f"{FEEDS}{token}.ics")
    assert token not in str(CalendarFeed.objects.values())
    answer = nobody.get(f"{FEEDS}{token}.ics", HTTP_ACCEPT="text/calendar, */*")
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert len(icalendar.Calendar.from_ical(answer.content).walk("VEVENT")) == 1
    assert "token" not in user.get(FEEDS).json()["results"][0]
    assert user.delete(f"{FEEDS}{created.json()['id']}/").status_code == 204
    assert nobody.get(f"{FEEDS}{token}.ics").status_code == 404


@pytest.mark.parametrize("token", ["x", "%00", "a" * 5000, "\N{SNOWMAN}"])
def test_an_unknown_token_is_a_404(db: Any, token: str) -> None:
    answer = APIClient().get(f"{FEEDS}{token}.ics")
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


def test_a_feed_ends_with_the_person_and_belongs_to_them_alone(as_user: Any, cast: Any) -> None:
    created = as_user("technician").post(FEEDS, {"label": "telephone"}, format="json").json()
    assert as_user("administrator").delete(f"{FEEDS}{created['id']}/").status_code == 404
    cast.technician.is_active = False
    cast.technician.save()
    assert APIClient().get(f"{FEEDS}{created['token']}.ics").status_code == 404


def test_a_token_is_not_stored_with_an_idempotent_request(as_user: Any) -> None:
    user = as_user("technician")
    tokens = {
        user.post(FEEDS, {"label": "telephone"}, format="json", HTTP_IDEMPOTENCY_KEY="once").json()["token"]
        for _ in range(2)
    }
    assert len(tokens) == 2


def test_clients_have_no_access_and_a_feed_requires_no_sign_in(as_user: Any) -> None:
    assert as_user("owner").get(DUE).status_code == 404
    assert as_user("owner").post(FEEDS, {"label": "telephone"}, format="json").status_code == 403
    assert errors(as_user("nobody").get(DUE))[0][0] == 401


def test_the_list_costs_the_same_queries_for_five_as_for_five_hundred(as_user: Any, cast: Any) -> None:
    counts = []
    for size in (5, 500):
        for number in range(size):
            gauge(cast, f"{size}-{number}", in_days(number))
        with CaptureQueriesContext(
            connection,
        ) as queries:
            rows = as_user("office").get(DUE).json()["results"]
        counts.append((len(rows), len(queries)))
    assert counts == [(5, 4), (505, 4)]
