"""Whatever is booked, moved and cancelled in whatever order: never twice at once, never out of date, never unqualified."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import combinations
from typing import Any

import pytest
from django.utils import timezone

from surveys.core.errors import Conflict
from surveys.models import Absence, Booking, Calibration, Instrument, Job, Qualification, User
from surveys.services.dispatch.bookings import booking_cancel, booking_make, booking_move
from surveys.services.fleet.calibrations import calibration_record
from tests.conftest import person

pytestmark = pytest.mark.django_db

START = datetime(2026, 12, 1, tzinfo=UTC)
HOLDS_TO = date(2026, 12, 6)
AWAY = (START + timedelta(days=2), START + timedelta(days=3))
DAYS, STEPS = 9, 60


@pytest.fixture
def fleet(cast: Any) -> list[Instrument]:
    """Two meters, one of them in calibration for the first days only."""
    meters = [
        Instrument.objects.create(kind="meter", type_name="Portable", serial=serial) for serial in ("A", "B")
    ]
    for meter, due in zip(meters, (HOLDS_TO, date(2027, 6, 1)), strict=True):
        calibration_record(
            calibration=Calibration(
                instrument=meter,
                certificate=f"C-{meter.serial}",
                laboratory="Harbour Row",
                calibrated_on=date(2026, 6, 1),
                due_on=due,
            ),
            by=cast.calibration_admin,
            now=timezone.now(),
        )
    return meters


@pytest.fixture
def people(cast: Any) -> list[User]:
    """One away for a day, one whose qualification ends, one without any."""
    found = [person(name, "technician") for name in ("away", "ending", "unqualified")]
    Absence.objects.create(
        technician=found[0], starts_at=AWAY[0], ends_at=AWAY[1], recorded_by=cast.office, recorded_at=START
    )
    for one, end in ((found[0], None), (found[1], HOLDS_TO)):
        Qualification.objects.create(
            technician=one,
            slug="confined-space",
            name="Confined space",
            issued_on=date(2026, 1, 1),
            expires_on=end,
        )
    return found


@pytest.mark.parametrize("seed", range(6))
def test_no_history_breaks_the_rules_of_bookings(
    seed: int, site: Any, cast: Any, fleet: list[Instrument], people: list[User]
) -> None:
    draw = random.Random(seed)
    job = Job.objects.create(
        site=site,
        title="x",
        starts_at=START,
        ends_at=START + timedelta(days=DAYS),
        required_qualifications=["confined-space"],
    )
    done = 0
    for _ in range(STEPS):
        done += attempted(lambda: step(draw, job, fleet, people, cast.office))
    assert done > 5, "a history in which nothing is allowed shows nothing"
    live = list(Booking.objects.filter(cancelled_at__isnull=True))
    for a, b in combinations(live, 2):
        same = (a.instrument_id, a.technician_id) == (b.instrument_id, b.technician_id)
        assert not (same and a.starts_at < b.ends_at and b.starts_at < a.ends_at)
    for one in live:
        last = (one.ends_at - timedelta(microseconds=1)).date()
        if one.instrument_id == fleet[0].pk or one.technician_id == people[1].pk:
            assert last <= HOLDS_TO
        if one.technician_id == people[0].pk:
            assert one.ends_at <= AWAY[0] or one.starts_at >= AWAY[1]
        assert one.technician_id != people[2].pk


def attempted(do: Callable[[], object]) -> bool:
    try:
        do()
    except Conflict:
        return False
    return True


def step(draw: random.Random, job: Job, fleet: list[Instrument], people: list[User], by: User) -> None:
    """Book, move or cancel something."""
    start = START + timedelta(hours=draw.randrange(DAYS * 24 - 30))
    end = start + timedelta(hours=draw.randrange(1, 30))
    now = timezone.now()
    live = list(Booking.objects.filter(cancelled_at__isnull=True))
    what = draw.random()
    if live and what < 0.2:
        booking_cancel(booking=draw.choice(live), now=now)
    elif live and what < 0.4:
        booking_move(booking=draw.choice(live), starts_at=start, ends_at=end, by=by, now=now)
    else:
        held: dict[str, Any] = (
            {"instrument": draw.choice(fleet)} if draw.random() < 0.5 else {"technician": draw.choice(people)}
        )
        booking_make(booking=Booking(job=job, starts_at=start, ends_at=end, **held), by=by, now=now)
