"""Filters of lists: public names, no look-ups of the database."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator

from surveys.models import LogFormat, Pipe
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db
API = "/api/v1/"


def ids(api: Any, path: str, query: dict[str, Any]) -> list[str]:
    answer = api.get(f"{API}{path}/", query)
    assert answer.status_code == 200, answer.json()
    return [row["id"] for row in answer.json()["results"]]


def test_no_query_parameter_names_a_look_up_of_the_database() -> None:
    schema: Any = SchemaGenerator().get_schema(request=None, public=True)
    calls = [call for path in schema["paths"].values() for call in path.values() if isinstance(call, dict)]
    named = {one["name"] for call in calls for one in call.get("parameters", []) if one["in"] == "query"}
    assert {"site", "client", "from", "to", "updated_since", "search", "acknowledged"} <= named
    assert [name for name in named if "__" in name] == []


def test_a_search_finds_a_part_of_a_name_in_any_case(scene: Scene, as_user: Any) -> None:
    pipe = Pipe.objects.get(pk=scene.point.pipe_id)
    for text, found in ((pipe.name[1:].upper(), [str(pipe.pk)]), ("no such name", [])):
        assert ids(as_user("office"), "pipes", {"search": text}) == found


def test_surveys_are_found_by_pipe_site_client_and_time(scene: Scene, as_user: Any) -> None:
    survey = scene.survey()
    pipe, start = survey.measuring_point.pipe, survey.started_at
    of = {"pipe": pipe.pk, "site": pipe.site_id, "client": pipe.site.client_id}
    for name, key in of.items():
        assert ids(as_user("office"), "surveys", {name: key}) == [str(survey.pk)]
        assert ids(as_user("office"), "surveys", {name: survey.pk}) == []
    later = (start + timedelta(seconds=1)).isoformat()
    assert ids(as_user("office"), "surveys", {"from": start.isoformat(), "to": later}) == [str(survey.pk)]
    assert ids(as_user("office"), "surveys", {"from": later}) == []
    assert ids(as_user("office"), "surveys", {"is_further_path": "false"}) == [str(survey.pk)]
    assert ids(as_user("office"), "surveys", {"is_further_path": "true"}) == []


def test_results_are_found_by_time_of_calculation(scene: Scene, as_user: Any) -> None:
    result = scene.survey().results.get()
    office, at = as_user("office"), result.computed_at
    assert ids(office, "results", {"updated_since": at.isoformat()}) == [str(result.pk)]
    assert ids(office, "results", {"updated_since": (at + timedelta(seconds=1)).isoformat()}) == []


def test_a_retired_record_is_distinguished_from_one_in_use(cast: Any, as_user: Any) -> None:
    now = timezone.now()
    rows = [
        LogFormat.objects.create(name=name, format={}, created_by=cast.office, created_at=now, retired_at=at)
        for name, at in (("in use", None), ("old", now))
    ]
    for query, row in (("false", rows[0]), ("true", rows[1])):
        assert ids(as_user("office"), "log-formats", {"retired": query}) == [str(row.pk)]
