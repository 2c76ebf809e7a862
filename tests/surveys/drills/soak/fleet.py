"""Small fleet of the soak: `python -m tests.surveys.drills.soak.fleet` fills the database of its settings and prints the
fleet as JSON.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

import django
from django.apps import apps

if not apps.ready:
    django.setup()

from django.test import Client as Browser
from django.utils import timezone

from surveys.commands.demo import scenario
from surveys.commands.demo.kit import transducer_entry
from surveys.commands.demo.records import AS_ENTERED, si
from surveys.models import Calibration, Client, Instrument, Job, MeasuringPoint, Role, Scope, Site, User
from surveys.models.instrument import Kind
from surveys.models.job import JobState
from surveys.services.fleet.calibrations import calibration_record
from surveys.services.fleet.instruments import instrument_create
from surveys.services.people.tokens import SIGN_IN_LIFE, token_make
from surveys.services.pipes.pipes import pipe_create
from tests.surveys.scene import STARTED, STATEMENT

CLIENTS, PIPES, POINTS, TECHNICIANS, KITS = 3, 3, 2, 4, 4
# Used by this drill only: nothing falls due on the day it runs.
CALIBRATED_ON, DUE_ON = date(2026, 3, 16), date(2046, 3, 16)


@dataclass(frozen=True)
class Person:
    """User with a token for the API or a session cookie for the pages."""

    token: str
    session: str


@dataclass(frozen=True)
class WorkSite:
    """Site of a client with its records and its client users."""

    site: str
    pipes: list[str]
    points: list[str]
    reader: Person


@dataclass(frozen=True)
class Technician:
    """Technician with a job at a site and a kit."""

    person: Person
    job: str
    points: list[str]
    meter: str
    pair: str


@dataclass(frozen=True)
class SmallFleet:
    """Data of the fleet for the users of the soak."""

    places: list[WorkSite]
    technicians: list[Technician]
    office: Person
    planner: Person

    @classmethod
    def of(cls, document: dict[str, Any]) -> SmallFleet:
        """Return the fleet printed by the program below."""
        places = [WorkSite(**{**one, "reader": Person(**one["reader"])}) for one in document["places"]]
        technicians = [
            Technician(**{**one, "person": Person(**one["person"])}) for one in document["technicians"]
        ]
        return cls(places, technicians, Person(**document["office"]), Person(**document["planner"]))


def user(name: str, role: str, client: Client | None = None) -> User:
    """Create a user with a token or a session and without a usable password."""
    one = User(username=name, role=role, client=client)
    one.set_unusable_password()
    one.save()
    return one


def person(one: User) -> Person:
    browser = Browser()
    browser.force_login(one, backend="surveys.services.people.sign_in.PeopleBackend")
    _, token = token_make(user=one, name="soak", scope=Scope.WRITE, life=SIGN_IN_LIFE)
    return Person(token, browser.cookies["sessionid"].value)


def instrument(kind: Kind, serial: str, by: User) -> Instrument:
    pair, now = kind == Kind.TRANSDUCER_PAIR, timezone.now()
    columns = {} if pair else {"minimum_signal_db": si(scenario.MINIMUM_SIGNAL, "ratio_db")}
    created = instrument_create(
        instrument=Instrument(kind=kind, serial=serial, type_name=f"soak {kind}", **columns),
        entry=transducer_entry() if pair else None,
        as_entered=AS_ENTERED if pair else {},
        by=by,
        now=now,
    )
    certificate = Calibration(
        instrument=created, certificate=f"C-{serial}", laboratory="Harbour Row Calibration",
        calibrated_on=CALIBRATED_ON, due_on=DUE_ON,
    )  # fmt: skip
    calibration_record(calibration=certificate, by=by, now=now)
    return created


def place(number: int, office: User) -> WorkSite:
    client = Client.objects.create(name=f"Client {number}")
    site = Site.objects.create(client=client, name=f"Works {number}", time_zone="Europe/Copenhagen")
    pipes = [
        pipe_create(
            site=site, name=f"Line {n}", description="", statement=STATEMENT, valid_from=None, by=office,
            now=timezone.now(),
        )
        for n in range(PIPES)
    ]  # fmt: skip
    points = [
        MeasuringPoint.objects.create(pipe=pipe, name=f"Point {n}") for pipe in pipes for n in range(POINTS)
    ]
    reader = person(user(f"reader-{number}", Role.CLIENT, client))
    return WorkSite(str(site.pk), [str(one.pk) for one in pipes], [str(one.pk) for one in points], reader)


def technician(number: int, at: WorkSite, kit: tuple[Instrument, Instrument]) -> Technician:
    one = user(f"technician-{number}", Role.TECHNICIAN)
    job = Job.objects.create(
        site_id=at.site, title="Standing job", state=JobState.PLANNED, technician=one,
        starts_at=STARTED - timedelta(hours=1), ends_at=STARTED + timedelta(hours=8),
    )  # fmt: skip
    job.measuring_points.set(at.points)
    meter, pair = kit
    return Technician(person(one), str(job.pk), at.points, str(meter.pk), str(pair.pk))


def small_fleet() -> SmallFleet:
    office, planner = user("office", Role.OFFICE), user("planner", Role.OFFICE)
    admin = user("calibration-admin", Role.CALIBRATION_ADMIN)
    places = [place(number, office) for number in range(CLIENTS)]
    kits = [
        (instrument(Kind.METER, f"M-{n}", admin), instrument(Kind.TRANSDUCER_PAIR, f"P-{n}", admin))
        for n in range(KITS)
    ]
    technicians = [technician(n, places[n % CLIENTS], kits[n % KITS]) for n in range(TECHNICIANS)]
    return SmallFleet(places, technicians, person(office), person(planner))


if __name__ == "__main__":
    print(json.dumps(asdict(small_fleet())))  # noqa: T201
