"""`If-None-Match` answers 304; `Location` names what was created, and `Retry-After` when to ask for a run."""

from __future__ import annotations

from typing import Any

import pytest

from tests.surveys.people.all_records import Everything

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", ["clients", "pipes", "instruments", "surveys", "results"])
def test_an_unchanged_record_or_list_answers_304(
    as_user: Any, cast: Any, site: Any, kit: Any, name: str
) -> None:
    there, office = Everything(cast, site, kit), as_user("office")
    for path in (f"/api/v1/{name}/", f"/api/v1/{name}/{there.ids[name]}/"):
        first = office.get(path)
        again = office.get(path, HTTP_IF_NONE_MATCH=first["ETag"])
        assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"]), path
        assert again["X-Request-ID"]
        other = office.get(path, HTTP_IF_NONE_MATCH='"another"')
        assert (other.status_code, other.content) == (200, first.content), path


def test_a_changed_record_answers_with_its_new_state(as_user: Any, cast: Any) -> None:
    office, path = as_user("office"), f"/api/v1/clients/{cast.client.pk}/"
    tag = office.get(path)["ETag"]
    changed = office.patch(path, {"contact": "Door 2"}, format="json", HTTP_IF_MATCH=tag)
    answer = office.get(path, HTTP_IF_NONE_MATCH=tag)
    assert answer.status_code == 200
    assert answer["ETag"] == changed["ETag"] != tag


def test_the_location_of_a_created_record_answers_with_the_record(as_user: Any) -> None:
    office = as_user("office")
    answer = office.post("/api/v1/clients/", {"name": "Northern Waterworks"}, format="json")
    assert answer.status_code == 201
    assert office.get(answer["Location"]).json() == answer.json()


def test_the_location_of_a_record_without_an_own_address_is_its_collection(as_user: Any, cast: Any) -> None:
    office, path = as_user("office"), f"/api/v1/technicians/{cast.technician.pk}/absences/"
    body = {"starts_at": "2031-01-01T00:00:00Z", "ends_at": "2031-01-02T00:00:00Z"}
    answer = office.post(path, body, format="json")
    assert (answer.status_code, answer["Location"]) == (201, path)
    assert answer.json()["id"] in {row["id"] for row in office.get(path).json()}


def test_a_started_recalculation_is_found_by_its_location(
    as_user: Any, cast: Any, site: Any, kit: Any
) -> None:
    there, office = Everything(cast, site, kit), as_user("office")
    body = {"reason": "Measured again.", "pipe": {"wall_thickness": "8.2 mm"}}
    path = f"/api/v1/pipes/{there.ids['pipes']}/corrections/"
    headers = {"HTTP_IDEMPOTENCY_KEY": "correction-1"}
    for _ in range(2):
        answer = office.post(path, body, format="json", **headers)
        assert (answer.status_code, answer["Retry-After"]) == (202, "2")
        assert office.get(answer["Location"]).json()["id"] == answer.json()["recomputation"]["id"]
