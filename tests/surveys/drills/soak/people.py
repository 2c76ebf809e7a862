"""Users at work while the parts are killed: each works until stopped and finishes the current write."""

from __future__ import annotations

import hashlib
import random
import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from surveys.models.base import uuid7
from tests.surveys.drills.soak.caller import Caller, Notes
from tests.surveys.drills.soak.fleet import Person, SmallFleet, Technician, WorkSite
from tests.surveys.scene import STARTED

API = "/api/v1"
READINGS = 600
JOBS_A_PLAN = 3


class Worker(threading.Thread, ABC):
    """User who repeats actions with a pause between them."""

    pause_seconds = (0.3, 1.2)

    def __init__(
        self, name: str, port: int, notes: Notes, stopped: threading.Event, person: Person, lot: int
    ) -> None:
        super().__init__(name=name)
        self.notes, self.stopped, self.lot = notes, stopped, random.Random(lot)
        self.api = Caller(port, notes, token=person.token, lot=lot)
        self.pages = Caller(port, notes, session=person.session, lot=lot)

    def run(self) -> None:
        while not self.stopped.is_set():
            try:
                self.do()
            except Exception as error:  # an error is recorded and fails the drill
                self.notes.fault(f"{self.name} stumbled: {type(error).__name__}: {error}")
            self.stopped.wait(self.lot.uniform(*self.pause_seconds))

    @abstractmethod
    def do(self) -> None:
        """Do one turn of the work."""

    def written(self, kind: str, path: str, body: Any, *, or_code: str = "") -> Any:
        """Return the response of an accepted write; None if there was none, or if it was rejected with the expected code."""
        status, answer = self.api.write(kind, path, body)
        if 200 <= status < 300:
            return answer
        if status and answer["code"] != or_code:
            self.notes.fault(f"{kind}: {status} {answer['code']}: {answer['detail']}")
        return None


class FieldWorker(Worker):
    """Technician who calculates a set-up, records the survey under a client-side id, and sends its log."""

    def __init__(self, who: Technician, **options: Any) -> None:
        super().__init__(person=who.person, **options)
        self.who, self.written_logs = who, 0

    def do(self) -> None:
        point, setup, survey = self.lot.choice(self.who.points), str(uuid7()), str(uuid7())
        wish = {"id": setup, "transducers": self.who.pair, "traverses": 2}
        if not self.written("set-up", f"{API}/measuring-points/{point}/setups/", wish):
            return
        self.notes.promise("set-up", setup)
        stated = {
            "id": survey, "measuring_point": point, "setup": setup, "job": self.who.job, "instruments": [self.who.meter],
            "started_at": STARTED.isoformat(),
        }  # fmt: skip
        if not self.recorded(stated):
            return
        self.notes.promise("survey", survey, setup=setup)
        file = self.log()
        if self.written("log", f"{API}/surveys/{survey}/log/?name=soak.csv", file):
            self.notes.promise("log", survey, sha256=hashlib.sha256(file).hexdigest())

    def recorded(self, stated: dict[str, Any]) -> bool:
        """Record it alone, or in a batch of offline entries."""
        if self.lot.random() < 0.7:
            return bool(self.written("survey", f"{API}/surveys/", stated))
        answer = self.written("survey", f"{API}/surveys/batch/", {"surveys": [stated]})
        if answer and answer["results"][0]["status"] != 201:
            self.notes.fault(f"survey of a batch: {answer['results'][0]['problem']}")
            return False
        return bool(answer)

    def log(self) -> bytes:
        """Return readings that differ from those of any other log."""
        offset = self.lot.uniform(-2, 2)
        rows = ["time,transit_time [us],time_difference [ns]"]
        rows += [
            f"{(STARTED + timedelta(seconds=n)).isoformat()},{311.16 + 0.001 * (n % 3):.3f},{170 + offset + n % 5:.9f}"
            for n in range(READINGS)
        ]
        return "\n".join(rows).encode()


class OfficeWorker(Worker):
    """Office user who corrects pipes, follows the recomputation and issues reports."""

    pause_seconds = (0.5, 2.0)

    def __init__(self, fleet: SmallFleet, **options: Any) -> None:
        super().__init__(person=fleet.office, **options)
        self.pipes = [pipe for place in fleet.places for pipe in place.pipes]
        self.number = 0

    def do(self) -> None:
        if self.lot.random() < 0.5:
            self.correct(self.lot.choice(self.pipes))
        else:
            self.issue()

    def correct(self, pipe: str) -> None:
        status, in_force = self.api.read("read", f"{API}/pipes/{pipe}/data/")
        if status != 200:
            return
        self.number += 1
        correction = {
            "reason": f"Gauged, note {self.number}.",
            "pipe": {"wall_thickness": f"{self.lot.uniform(7.5, 8.5):.3f} mm"},
            "corrects": in_force["id"],
        }
        if answer := self.written("correction", f"{API}/pipes/{pipe}/corrections/", correction):
            run = answer["recomputation"]["id"]
            self.notes.promise(
                "correction", answer["data"]["id"], recomputation=run, reason=correction["reason"]
            )
            self.pages.read("page", f"/office/recomputations/{run}/")

    def issue(self) -> None:
        surveys = list(self.notes.promised["log"])
        if not surveys:
            return
        survey = self.lot.choice(surveys)
        path, body = f"{API}/surveys/{survey}/reports/", {"reason": "The figures moved."}
        if report := self.written("report", path, body, or_code="nothing-changed"):
            self.notes.promise("report", report["id"], sha256=report["sha256"])
        self.pages.read("page", "/office/review/")


class Reading(Worker):
    """Client user: lists, results with their history, notices, pages, the report."""

    pause_seconds = (0.1, 0.5)

    def __init__(self, place: WorkSite, **options: Any) -> None:
        super().__init__(person=place.reader, **options)
        self.place = place

    def do(self) -> None:
        status, surveys = self.api.read(
            "read", f"{API}/surveys/?measuring_point={self.lot.choice(self.place.points)}"
        )
        if status != 200:
            return
        self.lot.choice((self.notices, self.point))()
        if found := [one for one in surveys["results"] if one["result"]]:
            self.survey(self.lot.choice(found)["id"])

    def notices(self) -> None:
        self.api.read("read", f"{API}/notices/")
        self.pages.read("page", "/notices/")

    def point(self) -> None:
        self.pages.read("page", f"/sites/{self.place.site}/")
        self.pages.read("page", f"/points/{self.lot.choice(self.place.points)}/")

    def survey(self, survey: str) -> None:
        status, results = self.api.read("read", f"{API}/surveys/{survey}/results/")
        current = [one for one in results if one["replaced_at"] is None] if status == 200 else [None]
        if len(current) != 1:
            self.notes.fault(f"a reader saw {len(current)} current results of survey {survey}")
        self.pages.read("page", f"/surveys/{survey}/")
        self.api.read("read", f"{API}/surveys/{survey}/report.pdf")


class Planning(Worker):
    """Dispatcher who makes drafts of a day, has them planned and accepts the plan; a new day each time."""

    def __init__(self, fleet: SmallFleet, **options: Any) -> None:
        super().__init__(person=fleet.planner, **options)
        self.places, self.day = fleet.places, 0

    def do(self) -> None:
        day, jobs = self.next_day(), []
        for _ in range(JOBS_A_PLAN):
            job = self.written("job", f"{API}/jobs/", self.draft(day, len(jobs)))
            if job is None:
                return
            self.notes.promise("job", job["id"], title=job["title"])
            jobs.append(job["id"])
        plan = self.written("plan", f"{API}/dispatch/plans/", {"jobs": jobs, "time_limit_seconds": 1})
        if plan is None:
            return
        self.notes.promise("plan", plan["id"])
        if self.finished(plan["id"]):
            self.accept(plan["id"])

    def next_day(self) -> datetime:
        """Return the next weekday; Monday first."""
        self.day += 1
        weeks, day = divmod(self.day - 1, 5)
        return datetime(2027, 1, 4, tzinfo=STARTED.tzinfo) + timedelta(weeks=weeks, days=day)

    def draft(self, day: datetime, number: int) -> dict[str, Any]:
        place = self.lot.choice(self.places)
        return {
            "site": place.site, "title": f"Draft {self.day}.{number}", "state": "draft",
            "measuring_points": [self.lot.choice(place.points)], "expected_hours": 2,
            "earliest_start": (day + timedelta(hours=8)).isoformat(), "latest_end": (day + timedelta(hours=16)).isoformat(),
            "starts_at": (day + timedelta(hours=9)).isoformat(), "ends_at": (day + timedelta(hours=11)).isoformat(),
        }  # fmt: skip

    def finished(self, plan: str) -> bool:
        """Wait for the end of the plan, also when the drill is about to end."""
        while not self.stopped.wait(0.3):
            status, found = self.api.read("read", f"{API}/dispatch/plans/{plan}/")
            if status == 200 and found["state"] in ("finished", "failed"):
                return bool(found["state"] == "finished" and found["outcome"]["assignments"])
        return False

    def accept(self, plan: str) -> None:
        if accepted := self.written("acceptance", f"{API}/dispatch/plans/{plan}/acceptance/", {}):
            taken = [one for one in accepted["outcome"]["assignments"] if one["job"] in accepted["accepted"]]
            self.notes.promise(
                "acceptance", plan, held={one["job"]: 1 + len(one["instruments"]) for one in taken}
            )


def everybody(fleet: SmallFleet, port: int, notes: Notes, stopped: threading.Event) -> list[Worker]:
    """Return all users, not started yet; each has a separate random generator."""
    created: list[Callable[..., Worker]] = []
    created += [lambda who=who, **o: FieldWorker(who, name="a technician", **o) for who in fleet.technicians]
    created += [lambda place=place, **o: Reading(place, name="a reader", **o) for place in fleet.places]
    created += [lambda **o: OfficeWorker(fleet, name="the office", **o)]
    created += [lambda **o: Planning(fleet, name="the planner", **o)]
    return [make(port=port, notes=notes, stopped=stopped, lot=lot) for lot, make in enumerate(created)]
