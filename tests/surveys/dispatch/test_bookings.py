"""Bookings: an instrument is reserved for one job at a time, also with concurrent requests."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connections, transaction
from rest_framework.test import APIClient

from surveys.models import Booking, Job, Qualification

START = datetime(2030, 1, 7, 8, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def job(site: Any, cast: Any, kit: Any) -> Job:
    from surveys.models import Calibration

    # In date far beyond the bookings of these tests.
    last = Calibration.objects.filter(instrument=kit.meter).latest("calibrated_on")
    Calibration.objects.create(
        instrument=kit.meter, certificate="LONG-1", laboratory=last.laboratory, calibrated_on=last.calibrated_on,
        due_on=datetime(2030, 1, 8).date(), recorded_at=last.recorded_at + HOUR, recorded_by=last.recorded_by,
    )  # fmt: skip
    return Job.objects.create(site=site, title="Boiler house", starts_at=START, ends_at=START + 4 * HOUR)


def wish(job: Job, kit: Any, start: datetime = START, hours: int = 4) -> dict[str, Any]:
    return {"job": job.pk, "instrument": kit.meter.pk, "starts_at": start, "ends_at": start + hours * HOUR}


def book(api: APIClient, body: dict[str, Any]) -> Any:
    return api.post("/api/v1/bookings/", body, format="json")


@pytest.mark.django_db
def test_a_second_booking_names_the_holder_and_adjacent_spans_are_accepted(
    as_user: Any, job: Job, kit: Any
) -> None:
    office = as_user("office")
    assert book(office, wish(job, kit)).status_code == 201
    again = book(office, wish(job, kit, START + 3 * HOUR))
    assert again.status_code == 409
    assert "Boiler house" in again.json()["detail"]
    assert "2030-01-07 08:00" in again.json()["detail"]
    assert book(office, wish(job, kit, START + 4 * HOUR)).status_code == 201


@pytest.mark.django_db
def test_a_cancelled_booking_frees_the_time_and_cannot_be_restored_over_another(
    as_user: Any, job: Job, kit: Any
) -> None:
    office = as_user("office")
    first = book(office, wish(job, kit)).json()["id"]
    assert office.post(f"/api/v1/bookings/{first}/cancel/").status_code == 200
    assert book(office, wish(job, kit)).status_code == 201
    with pytest.raises(IntegrityError, match="booking_instrument_never_twice"), transaction.atomic():
        Booking.objects.filter(pk=first).update(cancelled_at=None)


@pytest.mark.django_db
def test_the_last_day_of_a_calibration_can_be_booked_and_the_next_cannot(
    as_user: Any, job: Job, kit: Any
) -> None:
    office = as_user("office")
    rejected = book(office, wish(job, kit, START + 24 * HOUR, hours=24))
    assert (rejected.status_code, rejected.json()["code"]) == (409, "overdue")
    assert book(office, wish(job, kit, START + 24 * HOUR)).status_code == 201


@pytest.mark.django_db
def test_a_technician_needs_the_qualifications_of_the_job_to_the_last_day(
    as_user: Any, job: Job, cast: Any
) -> None:
    Job.objects.filter(pk=job.pk).update(required_qualifications=["confined-space"])
    office = as_user("office")
    body = {"job": job.pk, "technician": cast.technician.pk, "starts_at": START, "ends_at": START + 4 * HOUR}
    assert book(office, body).json()["code"] == "not-qualified"
    Qualification.objects.create(
        technician=cast.technician,
        slug="confined-space",
        name="x",
        issued_on="2029-01-01",
        expires_on="2030-01-07",
    )
    assert book(office, body).status_code == 201


@pytest.mark.django_db
def test_moving_a_job_lists_the_booking_conflicts(as_user: Any, job: Job, kit: Any) -> None:
    office = as_user("office")
    booking = book(office, wish(job, kit)).json()["id"]
    assert office.get("/api/v1/bookings/?has_conflicts=true").json()["results"] == []
    later = {"starts_at": START + 48 * HOUR, "ends_at": START + 50 * HOUR}
    changed = office.patch(f"/api/v1/jobs/{job.pk}/", later, format="json").json()
    assert [one["id"] for one in changed["booking_conflicts"]] == [booking]
    (row,) = office.get("/api/v1/bookings/?has_conflicts=true").json()["results"]
    assert row["conflicts"][0]["code"] == "job-outside"


@pytest.mark.django_db
def test_a_checked_out_instrument_has_a_holder_until_its_return(
    as_user: Any, job: Job, kit: Any, cast: Any
) -> None:
    office = as_user("office")
    address = f"/api/v1/bookings/{book(office, wish(job, kit)).json()['id']}"
    assert office.post(f"{address}/check-in/", {"condition": "good"}).status_code == 409
    assert office.post(f"{address}/check-out/", {"condition": "good"}).status_code == 201
    kit.meter.refresh_from_db()
    assert kit.meter.holder == cast.office
    assert office.post(f"{address}/check-in/", {"condition": "scratched"}).status_code == 201
    kit.meter.refresh_from_db()
    assert kit.meter.holder is None


@pytest.mark.django_db
def test_a_job_status_changes_only_as_permitted(as_user: Any, job: Job) -> None:
    office, moves = as_user("office"), f"/api/v1/jobs/{job.pk}/status-changes/"
    rejected = office.post(moves, {"state": "issued", "reason": "Done."})
    assert rejected.status_code == 409
    assert "planned or cancelled" in rejected.json()["detail"]
    assert office.post(moves, {"state": "planned", "reason": "Go."}).json()["code"] == "no-points"
    assert office.post(moves, {"state": "cancelled", "reason": "Plant is down."}).status_code == 201
    assert [move["reason"] for move in office.get(moves).json()] == ["Plant is down."]


@pytest.mark.django_db
@pytest.mark.parametrize(("who", "status"), [("owner", 200), ("stranger", 404), ("nobody", 401)])
def test_a_booking_is_seen_by_who_may_see_its_job(
    as_user: Any, job: Job, kit: Any, who: str, status: int
) -> None:
    booking = book(as_user("office"), wish(job, kit)).json()["id"]
    assert as_user(who).get(f"/api/v1/bookings/{booking}/").status_code == status


@pytest.mark.django_db(transaction=True)
def test_of_64_at_once_exactly_one_gets_the_instrument(as_user: Any, job: Job, kit: Any) -> None:
    answers: list[int] = []
    gate, body = threading.Barrier(64), wish(job, kit)

    def attempt() -> None:
        api = as_user("office")
        gate.wait()
        try:
            answers.append(book(api, body).status_code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=attempt) for _ in range(64)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(answers) == [201] + [409] * 63
    assert Booking.objects.count() == 1


@pytest.mark.django_db
def test_an_absence_lists_its_conflicts_and_only_the_office_reads_the_reason(
    as_user: Any, job: Job, cast: Any
) -> None:
    office, body = as_user("office"), {"job": job.pk, "technician": cast.technician.pk}
    booking = book(office, body | {"starts_at": START, "ends_at": START + 4 * HOUR}).json()["id"]
    address = f"/api/v1/technicians/{cast.technician.pk}/absences/"
    away = {"starts_at": START, "ends_at": START + HOUR, "reason": "Dentist."}
    created = office.post(address, away, format="json").json()
    assert [one["id"] for one in created["booking_conflicts"]] == [booking]
    assert [row["reason"] for row in office.get(address).json()] == ["Dentist."]
    assert [row["reason"] for row in as_user("technician").get(address).json()] == [""]


@pytest.mark.django_db
def test_quarantining_an_instrument_lists_the_booking_conflicts(as_user: Any, job: Job, kit: Any) -> None:
    booking = book(as_user("office"), wish(job, kit)).json()["id"]
    states = f"/api/v1/instruments/{kit.meter.pk}/status-changes/"
    answer = as_user("administrator").post(
        states, {"state": "quarantined", "reason": "Dropped."}, format="json"
    )
    (row,) = answer.json()["booking_conflicts"]
    assert (row["id"], row["conflicts"][0]["code"]) == (booking, "quarantined")


@pytest.mark.django_db
def test_an_instrument_and_a_technician_are_booked_for_one_job_at_one_time(
    as_user: Any, job: Job, kit: Any, cast: Any
) -> None:
    office = as_user("office")
    body = wish(job, kit)
    assert book(office, body).status_code == 201
    del body["instrument"]
    assert book(office, body | {"technician": cast.technician.pk}).status_code == 201
