"""Jobs: time windows, status changes, late returns, conflicts, the day sheet and the calendar."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import Any

import icalendar
import pytest
from django.db import IntegrityError, connection
from django.test.utils import CaptureQueriesContext

from surveys.documents.day_sheet import Day, day_sheet
from surveys.models import (
    Absence,
    Booking,
    BookingEvent,
    Calibration,
    Instrument,
    Job,
    MeasuringPoint,
    Pipe,
    Site,
    TechnicianProfile,
)
from tests.surveys.scene import make_scene

pytestmark = pytest.mark.django_db
START = datetime(2030, 1, 7, 8, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def job(site: Any, cast: Any) -> Job:
    span = {"starts_at": START, "ends_at": START + 4 * HOUR}
    return Job.objects.create(site=site, title="Boiler house", technician=cast.technician, **span)


def patch(as_user: Any, job: Job, **changes: Any) -> Any:
    return as_user("office").patch(f"/api/v1/jobs/{job.pk}/", changes, format="json")


def hold(job: Job, cast: Any, **wanted: Any) -> Booking:
    span = {"starts_at": START, "ends_at": START + 4 * HOUR}
    return Booking.objects.create(
        **({"job": job, "booked_by": cast.office, "booked_at": START} | span | wanted)
    )


@pytest.mark.parametrize(
    ("window", "field"),
    [
        ({"earliest_start": START + HOUR}, "starts_at"),
        ({"latest_end": START + 3 * HOUR}, "ends_at"),
        ({"earliest_start": START, "latest_end": START - HOUR}, "latest_end"),
    ],
)
def test_the_planned_span_lies_in_the_window(as_user: Any, job: Job, window: Any, field: str) -> None:
    answer = patch(as_user, job, **window)
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, field), answer.json()
    assert patch(as_user, job, earliest_start=START, latest_end=START + 4 * HOUR).status_code == 200


def test_a_status_change_has_a_reason(as_user: Any, job: Job, site: Any, cast: Any, kit: Any) -> None:
    point = make_scene(site, cast, kit).point
    rejected = patch(as_user, job, state="planned", measuring_points=[str(point.pk)])
    assert (rejected.status_code, rejected.json()["code"]) == (400, "reason-missing")
    assert job.measuring_points.count() == 0
    moved = patch(as_user, job, state="planned", reason="Agreed.", measuring_points=[str(point.pk)])
    assert (moved.status_code, moved.json()["state"]) == (200, "planned")
    assert job.status_changes.get().reason == "Agreed."
    rejected = patch(as_user, job, measuring_points=[])
    assert (rejected.status_code, rejected.json()["code"]) == (400, "no-points")
    assert patch(as_user, job, state="issued", reason="x").status_code == 409


def test_a_point_of_another_site_is_rejected_on_a_change_too(as_user: Any, job: Job, cast: Any) -> None:
    other = Site.objects.create(client=cast.other_client, name="Other")
    point = MeasuringPoint.objects.create(pipe=Pipe.objects.create(site=other, name="x"), name="y")
    rejected = patch(as_user, job, measuring_points=[str(point.pk)])
    assert (rejected.status_code, rejected.json()["code"]) == (400, "other-site")


def test_a_booking_of_a_part_of_the_job_has_no_conflict(as_user: Any, job: Job, cast: Any) -> None:
    hold(job, cast, technician=cast.technician, starts_at=START + HOUR, ends_at=START + 2 * HOUR)
    rows = as_user("office").get("/api/v1/bookings/").json()["results"]
    assert rows[0]["conflicts"] == []


def test_a_late_return_does_not_name_the_job_of_another_client(
    as_user: Any, job: Job, cast: Any, kit: Any
) -> None:
    there = Site.objects.create(client=cast.other_client, name="Other")
    span = {"starts_at": START - 9 * HOUR, "ends_at": START - 5 * HOUR}
    secret = Job.objects.create(site=there, title="Secret leak", **span)
    before, after = hold(secret, cast, instrument=kit.meter, **span), hold(job, cast, instrument=kit.meter)
    BookingEvent.objects.create(
        booking=before, what="check-out", at=span["starts_at"], condition="good",
        recorded_by=cast.office, recorded_at=span["starts_at"],
    )  # fmt: skip
    address = f"/api/v1/bookings/{before.pk}/expected-back/"
    shown = as_user("office").post(address, {"expected_back": START + HOUR}, format="json")
    assert str(after.pk) in {one["id"] for one in shown.json()["booking_conflicts"]}
    for who, named in (("office", True), ("owner", False), ("technician", False)):
        shown = as_user(who).get(f"/api/v1/bookings/{after.pk}/").json()["conflicts"]
        (late,) = [one for one in shown if one["code"] == "late-return"]
        assert ("Secret leak" in late["detail"]) is named, who


@pytest.mark.parametrize(
    ("kind", "status"),
    [("meter", 409), ("thickness-gauge", 409), ("thermometer", 409), ("transducer-pair", 201)],
)
def test_an_instrument_without_calibration_is_not_booked_except_a_pair(
    as_user: Any, job: Job, kind: str, status: int
) -> None:
    one = Instrument.objects.create(kind=kind, type_name="x", serial="NEW")
    body = {"job": job.pk, "instrument": one.pk, "starts_at": START, "ends_at": START + HOUR}
    answer = as_user("office").post("/api/v1/bookings/", body, format="json")
    assert answer.status_code == status
    assert status == 201 or answer.json()["code"] == "never-calibrated"


def test_a_certificate_that_ends_too_soon_lists_the_booking_conflicts(
    as_user: Any, job: Job, cast: Any, kit: Any
) -> None:
    held = hold(job, cast, instrument=kit.meter)
    today = datetime.now(UTC).date()
    body = {
        "instrument": str(kit.meter.pk), "certificate": "SHORT-1", "laboratory": "x",
        "calibrated_on": str(today), "due_on": str(today + timedelta(days=10)),
    }  # fmt: skip
    answer = as_user("administrator").post("/api/v1/calibrations/", body, format="json")
    assert answer.status_code == 201, answer.content
    assert [one["id"] for one in answer.json()["booking_conflicts"]] == [str(held.pk)]


def test_an_interval_policy_lists_the_booking_conflicts(as_user: Any, job: Job, cast: Any, kit: Any) -> None:
    due = Calibration.objects.filter(instrument=kit.meter).latest("recorded_at").due_on
    after = datetime.combine(due, time(8), UTC) + timedelta(days=2)
    held = hold(job, cast, instrument=kit.meter, starts_at=after, ends_at=after + HOUR)
    other = hold(job, cast, instrument=kit.gauge, starts_at=after, ends_at=after + HOUR)
    body = {"kind": "meter", "months": 6, "reason": "Drift seen."}
    answer = as_user("administrator").post("/api/v1/interval-policies/", body, format="json")
    assert answer.status_code == 201, answer.content
    shown = [one["id"] for one in answer.json()["booking_conflicts"]]
    assert str(held.pk) in shown
    assert str(other.pk) not in shown


def test_the_database_keeps_a_job_in_its_window(job: Job) -> None:
    with pytest.raises(IntegrityError, match="job_lies_in_its_window"):
        Job.objects.filter(pk=job.pk).update(earliest_start=job.starts_at + HOUR)


def test_a_technician_who_is_booked_for_a_job_sees_it_until_the_booking_is_cancelled(
    as_user: Any, job: Job, cast: Any
) -> None:
    def seen() -> list[list[str]]:
        api = as_user("technician")
        return [
            [row["id"] for row in api.get(f"/api/v1/{kind}/").json()["results"]] for kind in ("jobs", "sites")
        ]

    Job.objects.filter(pk=job.pk).update(technician=None)
    assert seen() == [[], []]
    held = hold(job, cast, technician=cast.technician)
    assert seen() == [[str(job.pk)], [str(job.site_id)]]
    # Another's job at the same site is none of theirs.
    Job.objects.create(site=job.site, title="Not theirs", starts_at=START, ends_at=START + HOUR)
    assert seen()[0] == [str(job.pk)]
    Booking.objects.filter(pk=held.pk).update(cancelled_at=START)
    assert seen() == [[], []]


def test_an_absence_is_cancelled_and_a_qualification_withdrawn_once(
    as_user: Any, job: Job, cast: Any
) -> None:
    office, base = as_user("office"), f"/api/v1/technicians/{cast.technician.pk}"
    Job.objects.filter(pk=job.pk).update(required_qualifications=["hot-work"])
    body = {"slug": "hot-work", "name": "Hot work", "issued_on": "2029-01-01"}
    records = office.post(f"{base}/qualifications/", body, format="json").json()["id"]
    held = hold(job, cast, technician=cast.technician)
    withdrawn = office.post(f"{base}/qualifications/{records}/withdraw/")
    assert [one["id"] for one in withdrawn.json()["booking_conflicts"]] == [str(held.pk)]
    assert office.post(f"{base}/qualifications/{records}/withdraw/").status_code == 409
    away = {"starts_at": START, "ends_at": START + HOUR}
    absence = office.post(f"{base}/absences/", away, format="json").json()["id"]
    assert as_user("technician").post(f"{base}/absences/{absence}/cancel/").status_code == 403
    assert office.post(f"{base}/absences/{absence}/cancel/").json()["cancelled_at"]
    assert office.post(f"{base}/absences/{absence}/cancel/").status_code == 409
    assert Absence.objects.get().cancelled_at


def test_home_base_and_hours_are_the_offices_to_change(as_user: Any, cast: Any) -> None:
    address = f"/api/v1/technicians/{cast.technician.pk}/"
    body = {
        "home_base": "Harbour",
        "latitude": 55.7,
        "longitude": 12.6,
        "working_hours": {"0": ["08:00", "16:00"]},
    }
    assert as_user("technician").patch(address, body, format="json").status_code == 403
    assert as_user("owner").patch(address, body, format="json").status_code == 403
    changed = as_user("office").patch(address, body, format="json")
    assert changed.status_code == 200, changed.content
    assert {name: changed.json()[name] for name in body} == body
    assert as_user("technician").get(address).json()["working_hours"] == {"0": ["08:00", "16:00"]}
    for hours in ({"9": ["08:00", "16:00"]}, {"0": ["16:00", "08:00"]}, {"0": ["8"]}):
        assert as_user("office").patch(address, {"working_hours": hours}, format="json").status_code == 400
    lone = as_user("office").patch(address, {"longitude": None}, format="json")
    assert lone.status_code in (400, 409)
    assert TechnicianProfile.objects.get().longitude_deg == 12.6


def test_the_calendar_has_the_technicians_own_planned_jobs_until_it_is_revoked(
    as_user: Any, client: Any, job: Job, site: Any, cast: Any, kit: Any
) -> None:
    scene = make_scene(site, cast, kit)
    Site.objects.filter(pk=site.pk).update(address="1 Kiln Lane")
    job.measuring_points.add(scene.point)
    Job.objects.filter(pk=job.pk).update(state="planned")
    Job.objects.create(site=site, title="Another's", state="planned", starts_at=START, ends_at=START + HOUR)
    api = as_user("technician")
    records = api.post("/api/v1/calendar-feeds/", {"subject": "jobs"}, format="json").json()
    address = f"/api/v1/calendar-feeds/{records['token']}.ics"
    (event,) = icalendar.Calendar.from_ical(client.get(address).content).walk("VEVENT")
    assert event.decoded("dtstart") == START
    assert "1 Kiln Lane" in event["location"]
    assert scene.point.name in event["description"]
    assert api.delete(f"/api/v1/calendar-feeds/{records['id']}/").status_code == 204
    assert client.get(address).status_code == 404


def test_the_day_sheet_names_all_one_needs_and_is_ones_own_or_the_offices(
    as_user: Any, job: Job, site: Any, cast: Any, kit: Any
) -> None:
    scene = make_scene(site, cast, kit)
    scene.survey()
    Site.objects.filter(pk=site.pk).update(
        address="1 Kiln Lane", contacts="Gatehouse, 555 0100", hazards="Steam."
    )
    MeasuringPoint.objects.filter(pk=scene.point.pk).update(hazards=["confined-space"])
    job.measuring_points.add(scene.point)
    job.kit.add(kit.meter)
    hold(job, cast, instrument=kit.pair)
    Job.objects.filter(pk=job.pk).update(state="planned")
    day = Day(cast.technician, START.date(), cast.technician)
    text = str(day_sheet(day, "metric", "").blocks)
    shown = (
        "1 Kiln Lane",
        "555 0100",
        "Steam.",
        "Confined space",
        "OVERDUE",
        "Transducer spacing, face to face",
    )
    for word in (*shown, kit.meter.serial, kit.pair.serial):
        assert word in text, word
    empty = Day(cast.technician, START.date() + timedelta(days=1), cast.office)
    assert "No jobs planned" in str(day_sheet(empty, "metric", "").blocks)
    address = f"/api/v1/technicians/{cast.technician.pk}/day-sheet.pdf"
    answer = as_user("technician").get(f"{address}?date=2030-01-07")
    assert (answer.status_code, answer.content[:5]) == (200, b"%PDF-")
    assert as_user("office").get(f"{address}?date=soon").status_code == 400
    for who, status in (("owner", 404), ("stranger", 404), ("nobody", 401)):
        assert as_user(who).get(address).status_code == status


def test_a_fuller_day_costs_no_more_queries(job: Job, site: Any, cast: Any, kit: Any) -> None:
    scene, counts = make_scene(site, cast, kit), []
    scene.survey()
    day = Day(cast.technician, START.date(), cast.office)
    for number in range(2):
        for at in range(1 + 5 * number):
            span = {"starts_at": START + at * HOUR / 2, "ends_at": START + 9 * HOUR}
            records = Job.objects.create(
                site=site, title="x", technician=cast.technician, state="planned", **span
            )
            records.measuring_points.add(scene.point)
            records.kit.add(kit.meter)
        with CaptureQueriesContext(connection) as queries:
            day_sheet(day, "metric", "")
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_guards_against_double_bookings_are_in_the_database() -> None:
    names = {"booking_instrument_never_twice", "booking_technician_never_twice"}
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            wanted = {f"{name}_{event}" for name in names for event in ("insert", "update")}
        else:
            cursor.execute("SELECT conname FROM pg_constraint WHERE contype = 'x'")
            wanted = names
        assert wanted <= {row[0] for row in cursor.fetchall()}
