"""Week of the office: its days, and the technicians at work on each."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Visitor
from django.test.utils import CaptureQueriesContext

from surveys.models import Booking, Job, Pipe
from surveys.models.job import JobState
from surveys.pages.office.week import Week, stays

pytestmark = pytest.mark.django_db


def test_a_week_is_named_as_iso_8601_has_it() -> None:
    # 2027-01-01 is a Friday of the last week of 2026 (ISO 8601: the week with the year's first Thursday is its first).
    assert Week.of(date(2027, 1, 1)).name == "2026-W53"
    assert Week.named("2026-W53") == Week(date(2026, 12, 28))
    assert Week.named("2026-W53").next.name == "2027-W01"  # type: ignore[union-attr]


@pytest.mark.parametrize(
    "name", ["2027-W53", "2026-W00", "0001-W01", "9999-W52", "2026-W1x", "x", "2026-12-28", "9" * 500]
)
def test_a_week_there_is_not_has_no_days(name: str) -> None:
    assert Week.named(name) is None


def test_pages_of_the_office_answer_odd_addresses_without_a_fault(site: Any, cast: Any) -> None:
    bare = Pipe.objects.create(site=site, name="Nothing known of it")
    office = Visitor()
    office.force_login(cast.office)
    answers = {
        path: office.get(path).status_code
        for path in (
            "/office/jobs/?week=9999-W52",
            "/office/jobs/?week=0001-W01",
            f"/office/pipes/{bare.pk}/correction/",
        )
    }
    assert list(answers.values()) == [404, 404, 409]


def at(day: int, hour: int) -> datetime:
    return datetime(2030, 1, day, hour, tzinfo=UTC)


def test_a_technician_named_and_booked_for_one_job_is_there_once(site: Any, cast: Any, kit: Any) -> None:
    job = Job.objects.create(
        site=site, title="x", starts_at=at(8, 8), ends_at=at(9, 12), technician=cast.technician
    )
    job.kit.add(kit.meter)
    booking = Booking.objects.create(
        job=job,
        technician=cast.technician,
        starts_at=at(8, 8),
        ends_at=at(8, 12),
        booked_by=cast.office,
        booked_at=at(1, 0),
    )
    found = stays([job], [booking])
    [stay] = found[cast.technician.pk]
    assert [stay.on(date(2030, 1, day)) for day in (7, 8, 9)] == [False, True, False]
    [named] = found[kit.meter.pk]
    assert [named.on(date(2030, 1, day)) for day in (7, 8, 9, 10)] == [False, True, True, False]


def test_a_fuller_week_costs_no_more_queries(site: Any, cast: Any) -> None:
    visitor, counts = Visitor(), []
    visitor.force_login(cast.office)
    for more in (2, 20):
        for n in range(more):
            Job.objects.create(
                site=site, title=f"{more}-{n}", starts_at=at(8, 8), ends_at=at(8, 9), state=JobState.PLANNED
            )
        visitor.get("/office/jobs/?week=2030-W02")
        with CaptureQueriesContext(connection) as queries:
            assert visitor.get("/office/jobs/?week=2030-W02").status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
