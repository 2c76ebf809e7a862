"""Requests about a whole fleet: 500 instruments, 100 technicians, 100,000 surveys, a million results. Through the API and the
pages.

The target for each response is one second; the value beside it is the ratio to a response of a bare JSON view.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

from django.test import Client as Browser
from django.utils import timezone
from rest_framework.test import APIClient

from surveys.commands.demo.records import make_job
from surveys.models import Job, MeasuringPoint, User
from tests.benchmarks import fleet
from tests.benchmarks.bare import InProcess
from tests.benchmarks.measuring import Figure, Figures, many, ratio
from tests.surveys.fleet.test_out_of_tolerance_reviews import GOOD, certify

BARE_TIMES = 200
A_SECOND = 1.0


def figures(small: bool) -> Figures:
    surveys, results, repeats = (300, 2, 1) if small else (100_000, 10, 5)
    records = fleet.create_fleet()
    records.equip()
    records.grow(surveys, documents=True, replaced=results - 1)
    fleet.analyze_tables()
    bare = InProcess(service=False)
    for what, ask in questions(records).items():
        found = ratio(what, ask, many(lambda: bare.get("/bare/"), BARE_TIMES), repeats=repeats, size=surveys)
        assert found.seconds
        answers = found.value * BARE_TIMES
        yield Figure(what=f"{what} to a bare JSON view", value=answers, size=surveys, seconds=found.seconds)
        yield Figure(what="the same", value=found.seconds, unit="s", target=A_SECOND, size=surveys)


def questions(records: fleet.Fleet) -> dict[str, Callable[[], Any]]:
    users: dict[str, User] = records.people.users
    api, office = APIClient(), APIClient()
    api.force_authenticate(users["calibration-admin"])
    office.force_authenticate(users["office"])
    fleet_pages, office_pages, client = Browser(), Browser(), Browser()
    for browser, name in ((fleet_pages, "calibration-admin"), (office_pages, "office"), (client, "client")):
        browser.force_login(users[name])
    meter, point = fleet.identity(fleet.METER, 5), fleet.identity(fleet.POINT, 1)
    technician = users["technician"].pk
    review = document(api.post("/api/v1/interval-reviews/", reviewed(records), format="json"))["id"]
    feed = document(api.post("/api/v1/calendar-feeds/", {"label": "Due"}, format="json"))["address"]
    mine = MeasuringPoint.objects.get(pk=fleet.identity(fleet.POINT, 0))
    due = "/api/v1/instruments/calibration-due/"
    job = planned_job(records)
    requested: dict[str, tuple[Any, str]] = {
        "due list": (api, f"{due}?within=60d"),
        "due list as CSV": (api, f"{due}?format=csv"),
        "due list as a page": (fleet_pages, "/fleet/due/"),
        "calendar feed of what is due": (api, feed),
        "instruments, 50 rows": (api, "/api/v1/instruments/"),
        "impact list of a meter": (api, f"/api/v1/instruments/{meter}/affected-results/"),
        "chart of an interval review": (api, f"/api/v1/interval-reviews/{review}/chart.svg"),
        "page of a point with its chart": (client, f"/points/{mine.pk}/"),
        "history of a point, 50 rows": (office, f"/api/v1/results/?measuring_point={point}&current=true"),
        "report of a survey, drafted": (office, f"/api/v1/surveys/{records.survey.pk}/report.pdf?draft=true"),
        "suitable kits of a job": (office, f"/api/v1/jobs/{job.pk}/suitable-kits/"),
        "suitable technicians of a job": (office, f"/api/v1/jobs/{job.pk}/suitable-technicians/"),
        "day sheet of a technician": (office, f"/api/v1/technicians/{technician}/day-sheet.pdf"),
        "jobs of the office's week as a page": (office_pages, "/office/jobs/"),
    }  # fmt: skip
    return {what: asking(visitor, address) for what, (visitor, address) in requested.items()}


def planned_job(records: fleet.Fleet) -> Job:
    """Create a future job with a point."""
    users = records.people.users
    job = make_job(records.survey.measuring_point, users["technician"], records.kit)
    start = timezone.now() + timedelta(days=1)
    Job.objects.filter(pk=job.pk).update(starts_at=start, ends_at=start + timedelta(hours=6))
    return job


def reviewed(records: fleet.Fleet) -> dict[str, str]:
    """Return the request for an interval review of a meter with two good certificates."""
    people = SimpleNamespace(calibration_admin=records.people.users["calibration-admin"])
    scene: Any = SimpleNamespace(kit=records.kit, cast=people)
    for days in (800, 400):
        certify(scene, timezone.now().date() - timedelta(days=days), GOOD)
    return {"instrument": str(records.kit.meter.pk), "method": "staircase"}


def asking(visitor: Any, address: str) -> Callable[[], Any]:
    def ask() -> None:
        answer = visitor.get(address)
        assert answer.status_code == 200, (address, answer.status_code, answer.content[:300])

    return ask


def document(answer: Any) -> Any:
    assert answer.status_code == 201, answer.content
    return answer.json()
