"""Plans: requested over the API, made by a worker, accepted as bookings."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.db.models import QuerySet
from django.utils import timezone

from surveys.dispatch import plans
from surveys.dispatch.plans import make_plan, plans_due
from surveys.models import Booking, Calibration, DispatchPlan, Instrument, Job, Qualification, TransducerData
from surveys.services.fleet.calibrations import calibration_record
from tests.conftest import person
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db

# A Tuesday, so that the usual hours hold.
DAY = datetime(2026, 12, 1, tzinfo=UTC)
PATH = "/api/v1/dispatch/plans/"


def job(scene: Scene, title: str, hours: float = 2.0, **also: Any) -> Job:
    """A draft of some hours' work within one working day."""
    finished_plan = Job.objects.create(
        site=scene.pipe.site, title=title, starts_at=DAY + timedelta(hours=9), ends_at=DAY + timedelta(hours=11),
        earliest_start=DAY + timedelta(hours=8), latest_end=DAY + timedelta(hours=16), expected_hours=hours, **also,
    )  # fmt: skip
    finished_plan.measuring_points.set([scene.point])
    return finished_plan


def plan_response(as_user: Any, *jobs: Job, **also: Any) -> Any:
    return as_user("office").post(
        PATH, {"jobs": [str(one.pk) for one in jobs], "time_limit_seconds": 2, **also}
    )


def finished_plan(as_user: Any, *jobs: Job, **also: Any) -> dict[str, Any]:
    """Request a plan and make it."""
    answer = plan_response(as_user, *jobs, **also)
    assert answer.status_code == 202, answer.content
    make_plan(answer.json()["id"])
    found: dict[str, Any] = as_user("office").get(f"{PATH}{answer.json()['id']}/").json()
    assert found["state"] == "finished", found["error"]
    return found


def test_a_finished_plan_lists_technicians_jobs_times_and_kits(
    as_user: Any, scene: Scene, kit: Any, cast: Any
) -> None:
    answer = plan_response(as_user, job(scene, "One"))
    assert (answer.status_code, answer.json()["state"], answer.json()["outcome"]) == (202, "waiting", None)
    assert [str(one) for one in plans_due()] == [answer.json()["id"]]
    make_plan(answer.json()["id"])
    assert plans_due() == []
    found = as_user("office").get(f"{PATH}{answer.json()['id']}/").json()
    (assignment,) = found["outcome"]["assignments"]
    assert assignment["technician"] == str(cast.technician.pk)
    assert set(assignment["instruments"]) == {str(kit.meter.pk), str(kit.pair.pk)}
    # An hour's way from home where no place is on record: at the site by nine.
    assert assignment["starts_at"] >= "2026-12-01T09:00"
    assert (found["outcome"]["status"], found["outcome"]["optimality_gap"]) == ("optimal", 0.0)
    assert found["outcome"]["explanation"]
    assert {one["code"] for one in found["outcome"]["findings"]} == {"working-hours-assumed", "way-assumed"}


def test_two_jobs_one_after_the_other_and_a_third_that_finds_no_room(as_user: Any, scene: Scene) -> None:
    jobs = [
        job(scene, "Pressing", 3.0, priority=1),
        job(scene, "Middling", 3.0, priority=2),
        job(scene, "Least", 3.0, priority=5),
    ]
    found = finished_plan(as_user, *jobs)["outcome"]
    first, second = found["assignments"]
    assert first["ends_at"] <= second["starts_at"]
    assert {first["title"], second["title"]} == {"Pressing", "Middling"}
    assert [one["title"] for one in found["unscheduled"]] == ["Least"]
    assert found["unscheduled"][0]["reason"]["detail"]


def test_a_job_without_a_qualified_technician_is_unscheduled_with_the_reason(
    as_user: Any, scene: Scene, cast: Any
) -> None:
    found = finished_plan(as_user, job(scene, "Pit", required_qualifications=["confined-space"]))["outcome"]
    assert found["assignments"] == []
    Qualification.objects.create(
        technician=cast.technician,
        slug="confined-space",
        name="Confined space",
        issued_on=date(2026, 1, 1),
        expires_on=date(2026, 12, 1),
    )
    assert (
        len(
            finished_plan(as_user, job(scene, "Pit again", required_qualifications=["confined-space"]))[
                "outcome"
            ]["assignments"]
        )
        == 1
    )


def test_an_accepted_plan_is_booked_and_its_jobs_are_planned(
    as_user: Any, scene: Scene, kit: Any, cast: Any
) -> None:
    one = job(scene, "One")
    plan = finished_plan(as_user, one)
    answer = as_user("office").post(f"{PATH}{plan['id']}/acceptance/", {})
    assert (answer.status_code, answer.json()["accepted"]) == (200, [str(one.pk)])
    one.refresh_from_db()
    assert (one.state, one.technician) == ("planned", cast.technician)
    assert set(one.kit.all()) == {kit.meter, kit.pair}
    held = Booking.objects.filter(job=one, cancelled_at__isnull=True)
    assert {booking.instrument or booking.technician for booking in held} == {
        kit.meter,
        kit.pair,
        cast.technician,
    }
    again = as_user("office").post(f"{PATH}{plan['id']}/acceptance/", {"assignments": [str(one.pk)]})
    assert (again.status_code, again.json()["code"]) == (409, "already-accepted")


def test_a_conflicting_booking_is_named_and_nothing_is_booked(
    as_user: Any, scene: Scene, kit: Any, cast: Any
) -> None:
    one = job(scene, "One")
    plan = finished_plan(as_user, one)
    other = job(scene, "Quicker")
    Booking.objects.create(
        job=other,
        instrument=kit.meter,
        starts_at=DAY,
        ends_at=DAY + timedelta(days=1),
        booked_by=cast.office,
        booked_at=DAY,
    )
    answer = as_user("office").post(f"{PATH}{plan['id']}/acceptance/", {})
    assert answer.status_code == 409
    assert "Quicker" in answer.json()["detail"]
    assert not Booking.objects.filter(job=one).exists()
    one.refresh_from_db()
    assert one.state == "draft"


def test_a_kit_booked_elsewhere_or_out_of_date_is_not_planned_with(
    as_user: Any, scene: Scene, kit: Any, cast: Any
) -> None:
    calibration_record(
        calibration=Calibration(
            instrument=kit.meter,
            certificate="HR-P",
            laboratory="Harbour Row",
            calibrated_on=date(2026, 11, 1),
            due_on=date(2026, 11, 30),
        ),
        by=cast.calibration_admin,
        now=timezone.now(),
    )
    assert finished_plan(as_user, job(scene, "One"))["outcome"]["assignments"] == []


def test_planning_again_after_an_absence_moves_only_the_necessary_jobs(
    as_user: Any, scene: Scene, kit: Any, cast: Any
) -> None:
    person("second", "technician")
    by, now = cast.calibration_admin, timezone.now()
    meter = Instrument.objects.create(kind="meter", type_name="Portable", serial="M-2")
    pair = Instrument.objects.create(kind="transducer-pair", type_name="Pair", serial="P-2")
    first = TransducerData.objects.get(instrument=kit.pair)
    copy = TransducerData(instrument=pair, recorded_at=now, recorded_by=by, reason="Like P-0127.")
    copy.set_entry(first.entry())
    copy.save()
    for one in (meter, pair):
        calibration_record(
            calibration=Calibration(
                instrument=one,
                certificate=f"C-{one.serial}",
                laboratory="Harbour Row",
                calibrated_on=date(2026, 11, 1),
                due_on=date(2027, 11, 1),
            ),
            by=by,
            now=now,
        )
    jobs = [job(scene, "One", 5.0), job(scene, "Two", 5.0)]
    before = finished_plan(as_user, *jobs)
    same = finished_plan(as_user, *jobs, keep_plan=before["id"])
    assert same["outcome"]["assignments"] == before["outcome"]["assignments"]


def test_a_worker_that_died_is_followed_by_another(as_user: Any, scene: Scene) -> None:
    answer = plan_response(as_user, job(scene, "One"))
    DispatchPlan.objects.update(
        state="running",
        attempts=1,
        lease_until=timezone.now() - timedelta(seconds=1),
        claimed_by=answer.json()["id"],
    )
    make_plan(answer.json()["id"])
    assert DispatchPlan.objects.get().state == "finished"


def test_a_worker_that_reports_progress_is_not_considered_dead(
    as_user: Any, scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    find_plan = plans.find_plan

    def at_length(problem: Any, seconds: float, *, report_progress: Callable[[float], None]) -> Any:
        DispatchPlan.objects.update(lease_until=timezone.now())
        assert plans_due()
        report_progress(0.5)
        assert plans_due() == []
        return find_plan(problem, seconds)

    monkeypatch.setattr(plans, "find_plan", at_length)
    assert finished_plan(as_user, job(scene, "One"))["outcome"]["assignments"]


def test_a_database_restart_during_a_progress_report_does_not_end_the_plan(
    as_user: Any, scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    find_plan = plans.find_plan

    def away(rows: Any, **changes: Any) -> int:
        raise OperationalError("the server closed the connection")

    def through_a_restart(problem: Any, seconds: float, *, report_progress: Callable[[float], None]) -> Any:
        with monkeypatch.context() as restart:
            restart.setattr(QuerySet, "update", away)
            # The test's own transaction must outlive the connection the worker gives up.
            restart.setattr(connection, "close", lambda: None)
            report_progress(0.5)
        return find_plan(problem, seconds)

    monkeypatch.setattr(plans, "find_plan", through_a_restart)
    assert finished_plan(as_user, job(scene, "One"))["outcome"]["assignments"]


def test_a_failed_plan_states_its_error_in_the_words_of_the_catalogue(
    as_user: Any, scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(problem: Any, seconds: float, *, report_progress: Callable[[float], None]) -> Any:
        raise ArithmeticError("the bound is not finite")

    monkeypatch.setattr(plans, "find_plan", broken)
    plan = plan_response(as_user, job(scene, "One")).json()
    for _ in range(plans.MAX_ATTEMPTS):
        make_plan(plan["id"])
    assert DispatchPlan.objects.get().error == {
        "code": "calculation-failed",
        "parameters": {"error": "ArithmeticError: the bound is not finite"},
    }
    found = as_user("office").get(f"{PATH}{plan['id']}/").json()
    assert found["state"] == "failed"
    assert found["error"] == (
        "Calculation failed. The program reported this error: ArithmeticError: the bound is not finite. "
        "Repeat the calculation. If the error occurs again, notify the administrator."
    )


def test_a_plan_without_a_failure_has_an_empty_error(as_user: Any, scene: Scene) -> None:
    assert finished_plan(as_user, job(scene, "One"))["error"] == ""


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"jobs": []}, "jobs"),
        ({}, "jobs"),
        ({"jobs": ["00000000-0000-7000-8000-000000000000"]}, "jobs"),
        ({"starts_from": "2026-12-02T00:00:00Z", "starts_to": "2026-12-01T00:00:00Z"}, "starts_to"),
        ({"starts_from": "2026-12-02T00:00:00Z"}, "starts_to"),
        (
            {
                "starts_from": "2026-12-01T00:00:00Z",
                "starts_to": "2026-12-02T00:00:00Z",
                "time_limit_seconds": 121,
            },
            "time_limit_seconds",
        ),
        ({"starts_from": "2031-12-01T00:00:00Z", "starts_to": "2031-12-02T00:00:00Z"}, "jobs"),
    ],
)
def test_an_impossible_plan_request_is_rejected(as_user: Any, body: dict[str, Any], field: str) -> None:
    answer = as_user("office").post(PATH, body)
    assert answer.status_code == 400, answer.content
    assert answer.json()["errors"][0]["field"] == field
    assert not DispatchPlan.objects.exists()


def test_a_job_without_points_is_named(as_user: Any, scene: Scene) -> None:
    bare = job(scene, "Bare")
    bare.measuring_points.clear()
    answer = plan_response(as_user, bare)
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (400, "no-points")
    assert "Bare" in answer.json()["errors"][0]["detail"]


@pytest.mark.parametrize(
    ("who", "status"), [("technician", 403), ("owner", 403), ("calibration_admin", 403), ("nobody", 401)]
)
def test_the_office_plans(as_user: Any, scene: Scene, who: str, status: int) -> None:
    assert as_user(who).post(PATH, {"jobs": [str(job(scene, "One").pk)]}).status_code == status
