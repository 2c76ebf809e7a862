"""Work done offline: ids chosen by the client, and a day's surveys sent as one batch."""

from __future__ import annotations

import itertools
import time
import uuid
from concurrent.futures import ThreadPoolExecutor
from threading import Event
from typing import Any

import pytest
from django.db import connections
from rest_framework.test import APIClient

from surveys.api.surveys import batch
from surveys.models import MeasuringPoint, Setup, Survey, WallMeasurement, uuid7
from surveys.services.pipes.setups import SetupRequest, setup_calculate
from tests.surveys.scene import STARTED, make_scene

BATCH = "/api/v1/surveys/batch/"


@pytest.fixture
def ground(cast: Any, site: Any, kit: Any) -> dict[str, Any]:
    """What every survey here has: its point, set-up, meter and hour."""
    scene = make_scene(site, cast, kit)
    setup = setup_calculate(
        point=scene.point, requested=SetupRequest(kit.pair, traverses=2), by=cast.technician, now=STARTED
    )
    return {
        "measuring_point": str(scene.point.pk),
        "setup": str(setup.pk),
        "instruments": [str(kit.meter.pk)],
        "started_at": STARTED.isoformat(),
        "mounted_spacing": "159.0 mm",
    }


def entry(ground: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return ground | {"id": str(uuid7())} | changes


def send(api: Any, *entries: Any) -> list[dict[str, Any]]:
    answer = api.post(BATCH, {"surveys": list(entries)}, format="json")
    assert answer.status_code == 200, answer.content
    return list(answer.json()["results"])


@pytest.mark.django_db
def test_a_batch_sent_twice_gets_the_first_answers_again(as_user: Any, ground: Any) -> None:
    office, day = as_user("office"), [entry(ground), entry(ground, note="second")]
    first, again = send(office, *day), send(office, *day)
    assert [one["status"] for one in first] == [201, 201]
    assert [one["survey"]["id"] for one in first] == [one["id"] for one in day]
    assert [one["replayed"] for one in again] == [True, True]
    assert [one["survey"] for one in again] == [one["survey"] for one in first]
    assert Survey.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_an_entry_that_another_request_is_just_storing_gets_its_answer(
    as_user: Any, ground: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    day, record, storing = entry(ground), batch.survey_record, Event()
    # One that did not wait for the other would look whether the id is free when it has just been taken.
    pauses = iter([0.3, 1.0])

    def delayed_record(**arguments: Any) -> Any:
        storing.set()
        time.sleep(next(pauses))
        return record(**arguments)

    def first() -> list[dict[str, Any]]:
        try:
            return send(as_user("office"), day)
        finally:
            connections.close_all()

    monkeypatch.setattr(batch, "survey_record", delayed_record)
    with ThreadPoolExecutor(1) as pool:
        sent = pool.submit(first)
        assert storing.wait(30)
        (again,) = send(as_user("office"), day)
        assert [one["status"] for one in sent.result()] == [201]
    assert (again["status"], again["replayed"]) == (201, True)
    assert Survey.objects.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_a_batch_in_any_order_has_the_same_end(as_user: Any, ground: Any, order: tuple[int, ...]) -> None:
    first = entry(ground)
    day = [
        first,
        entry(ground, primary_survey=first["id"], path_angle="90 deg"),
        entry(ground, primary_survey=first["id"].upper()),
    ]
    results = send(as_user("office"), *(day[place] for place in order))
    assert [one["id"] for one in results] == [day[place]["id"] for place in order]
    assert [one["status"] for one in results] == [201] * 3
    assert Survey.objects.filter(primary_survey=first["id"]).count() == 2


@pytest.mark.django_db
def test_one_invalid_entry_does_not_lose_the_others(as_user: Any, ground: Any) -> None:
    good, bad = entry(ground), entry(ground, mounted_spacing="159")
    results = send(as_user("office"), bad, good, "no object", {"note": "x"})
    assert [one["status"] for one in results] == [400, 201, 400, 400]
    assert results[0]["problem"]["errors"][0] == {
        "field": "mounted_spacing",
        "code": "unit-missing",
        "detail": results[0]["problem"]["detail"],
    }
    # What was refused may be sent again, put right.
    assert [one["status"] for one in send(as_user("office"), bad | {"mounted_spacing": "159 mm"}, good)] == [
        201,
        201,
    ]
    assert Survey.objects.count() == 2


@pytest.mark.django_db
def test_another_survey_with_an_existing_id_is_rejected(as_user: Any, ground: Any) -> None:
    office, one = as_user("office"), entry(ground)
    send(office, one)
    [other] = send(office, one | {"note": "another"})
    assert (other["status"], other["problem"]["code"]) == (409, "id-taken")
    # Somebody else's, or one sent alone: the id is taken all the same.
    [of_another] = send(as_user("administrator"), one)
    assert (of_another["status"], of_another["problem"]["code"]) == (409, "id-taken")
    alone = office.post("/api/v1/surveys/", one, format="json")
    assert (alone.status_code, alone.json()["errors"][0]["field"]) == (409, "id")
    assert [Survey.objects.get().stated.note, Survey.objects.count()] == ["", 1]


@pytest.mark.django_db(transaction=True)
def test_one_batch_sent_by_six_at_once_makes_each_survey_once(cast: Any, ground: Any) -> None:
    day = [entry(ground) for _ in range(2)]

    def once(_: int) -> list[int]:
        api = APIClient()
        api.force_authenticate(cast.office)
        try:
            return [one["status"] for one in send(api, *day)]
        finally:
            connections.close_all()

    with ThreadPoolExecutor(6) as pool:
        assert list(pool.map(once, range(6))) == [[201, 201]] * 6
    assert Survey.objects.count() == 2


@pytest.mark.django_db
def test_a_batch_is_for_those_who_write_surveys(as_user: Any, ground: Any) -> None:
    for who, status in (("owner", 403), ("stranger", 403), ("calibration_admin", 403), ("nobody", 401)):
        answer = as_user(who).post(BATCH, {"surveys": [entry(ground)]}, format="json")
        assert answer.status_code == status


@pytest.mark.django_db
def test_a_batch_names_no_record_its_sender_may_not_see(as_user: Any, ground: Any) -> None:
    [rejected] = send(as_user("technician"), entry(ground))
    assert rejected["status"] == 400
    assert {"measuring_point", "setup"} <= {one["field"] for one in rejected["problem"]["errors"]}


@pytest.mark.django_db
@pytest.mark.parametrize("size", [0, 201])
def test_a_batch_has_from_one_to_two_hundred_entries(as_user: Any, size: int) -> None:
    answer = as_user("office").post(BATCH, {"surveys": [{}] * size}, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, "surveys")


def creations(ground: dict[str, Any], kit: Any) -> dict[str, tuple[str, Any, dict[str, Any]]]:
    """Each kind of record whose id a client may choose: where to, the kind, the body."""
    point = MeasuringPoint.objects.get()
    return {
        "survey": ("surveys/", Survey, ground),
        "setup": (f"measuring-points/{point.pk}/setups/", Setup, {"transducers": str(kit.pair.pk)}),
        "wall_measurement": (
            f"pipes/{point.pipe_id}/wall-measurements/",
            WallMeasurement,
            {"gauge": str(kit.gauge.pk), "readings": ["8.0 mm", "8.1 mm"]},
        ),
        "point": ("measuring-points/", MeasuringPoint, {"pipe": str(point.pipe_id), "name": "Another"}),
    }


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["survey", "setup", "wall_measurement", "point"])
def test_a_client_chooses_the_id_of_a_new_record(as_user: Any, ground: Any, kit: Any, kind: str) -> None:
    office, (path, model, body) = as_user("office"), creations(ground, kit)[kind]
    wanted = str(uuid7())
    records = office.post(f"/api/v1/{path}", body | {"id": wanted}, format="json")
    assert (records.status_code, records.json()["id"]) == (201, wanted)
    again = office.post(f"/api/v1/{path}", body | {"id": wanted}, format="json")
    assert (again.status_code, again.json()["code"], again.json()["errors"][0]["field"]) == (
        409,
        "id-taken",
        "id",
    )
    assert model.objects.filter(pk=uuid.UUID(wanted)).count() == 1


@pytest.mark.django_db
def test_an_id_that_is_not_a_uuid_is_rejected(as_user: Any, ground: Any) -> None:
    for odd in ("x", 7, None, "{01890000-0000-7000-8000-000000000000}", "0" * 32, ["a"]):
        answer = as_user("office").post("/api/v1/surveys/", ground | {"id": odd}, format="json")
        assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, "id"), odd
