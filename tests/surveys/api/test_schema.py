"""OpenAPI description against the real responses of the service."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from surveys.models import Site
from tests.surveys.compute.test_compute import SETUP
from tests.surveys.scene import scene

pytestmark = pytest.mark.django_db

READINGS: dict[str, Any] = {"transit_time": "314 us", "time_difference": "150 ns"}
SERIES: dict[str, Any] = {
    "transit_time": "314 us",
    "time_difference": {"values": [150, 151], "unit": "ns"},
}


@pytest.fixture
def schema(client: Any) -> Any:
    return client.get("/api/schema/", {"format": "json"}).json()


def check(schema: Any, method: str, path: str, answer: Any) -> None:
    """The answer is one the description foresees for this call, of the type and the form it says."""
    described = schema["paths"][path][method]["responses"]
    content = (described.get(str(answer.status_code)) or described["default"])["content"]
    form = content[answer["Content-Type"]]["schema"] | {"components": schema["components"]}
    Draft202012Validator(form).validate(answer.json())


def test_every_call_describes_its_units_and_its_errors_as_problem_documents(schema: Any) -> None:
    calls = [
        (path, call)
        for path, methods in schema["paths"].items()
        for name, call in methods.items()
        if name != "parameters"
    ]
    assert len(calls) > 50
    for path, call in calls:
        assert set(call["responses"]["default"]["content"]) == {"application/problem+json"}, path
        assert "units" in {parameter["name"] for parameter in call["parameters"]}, path


@pytest.mark.parametrize("readings", [READINGS, SERIES, {"transit_time": 314}])
def test_flow_answers_as_described_for_one_reading_many_and_an_error(
    schema: Any, as_user: Any, readings: Any
) -> None:
    path = "/api/v1/compute/flow/"
    check(schema, "post", path, as_user("owner").post(path, SETUP | {"readings": readings}, format="json"))


def test_a_stale_edit_answers_as_described(schema: Any, as_user: Any, cast: SimpleNamespace) -> None:
    answer = as_user("office").patch(
        f"/api/v1/clients/{cast.client.pk}/", {"contact": "x"}, format="json", HTTP_IF_MATCH='"old"'
    )
    assert answer.status_code == 412
    check(schema, "patch", "/api/v1/clients/{id}/", answer)


@pytest.mark.parametrize(
    "name", ["pipes", "measuring-points", "instruments", "surveys", "results", "technicians"]
)
def test_lists_follow_the_schema_with_null_for_unknown_values(
    schema: Any, as_user: Any, site: Site, cast: Any, kit: Any, name: str
) -> None:
    scene(site, cast, kit).survey()
    path = f"/api/v1/{name}/"
    answer = as_user("office").get(path)
    assert answer.json()["results"]
    check(schema, "get", path, answer)


@pytest.mark.parametrize("part", ["results", "readings", "log"])
def test_the_parts_of_a_survey_answer_as_described(
    schema: Any, as_user: Any, site: Site, cast: Any, kit: Any, part: str
) -> None:
    survey = scene(site, cast, kit).survey()
    answer = as_user("office").get(f"/api/v1/surveys/{survey.pk}/{part}/")
    check(schema, "get", f"/api/v1/surveys/{{id}}/{part}/", answer)


def test_results_can_be_listed_without_replaced_ones(as_user: Any, site: Site, cast: Any, kit: Any) -> None:
    survey, office = scene(site, cast, kit).survey(), as_user("office")
    for current, count in (("true", 1), ("false", 0)):
        found = office.get("/api/v1/results/", {"survey": str(survey.pk), "current": current})
        assert len(found.json()["results"]) == count
