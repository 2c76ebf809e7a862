"""OpenAPI description against the real responses of the service."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from compute.base.unit_table import KINDS
from compute.base.units import express, parse_quantity
from surveys.api.example_values import COMPONENT_EXAMPLES, PROPERTY_EXAMPLES
from surveys.api.operation_texts import OPERATION_TEXTS, TAGS
from surveys.api.property_texts import COMPONENT_TEXTS, PARAMETER_TEXTS, PROPERTY_TEXTS
from surveys.api.quantity_examples import EXAMPLES as QUANTITY_TEXTS
from surveys.api.quantity_examples import QUANTITY_EXAMPLES
from surveys.inputs.quantity_schema import KIND_EXAMPLES
from surveys.models import Site
from tests.surveys.compute.test_compute import SETUP
from tests.surveys.scene import make_scene

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
    described = resolved(schema, schema["paths"][path][method]["responses"][str(answer.status_code)])
    form = described["content"][answer["Content-Type"]]["schema"] | {"components": schema["components"]}
    Draft202012Validator(form).validate(answer.json())


def resolved(schema: Any, part: Any) -> Any:
    """The component a reference names; anything else as it is."""
    return schema["components"]["responses"][part["$ref"].rpartition("/")[2]] if "$ref" in part else part


def calls(schema: Any) -> dict[str, Any]:
    """Each operation by its method and path."""
    return {
        f"{method} {path}": call
        for path, methods in schema["paths"].items()
        for method, call in methods.items()
    }


def described_parts(part: Any) -> Iterator[tuple[str, Any]]:
    """Each property of a schema and of the objects inside, by name."""
    if isinstance(part, dict):
        if isinstance(part.get("properties"), dict):
            yield from part["properties"].items()
        for one in part.values():
            yield from described_parts(one)
    elif isinstance(part, list):
        for one in part:
            yield from described_parts(one)


def test_every_call_describes_its_units_and_its_errors_as_problem_documents(schema: Any) -> None:
    assert len(calls(schema)) > 50
    for name, call in calls(schema).items():
        errors = [code for code in call["responses"] if code >= "400"]
        assert {"400", "503"} < set(errors), name
        for code in errors:
            content = resolved(schema, call["responses"][code])["content"]
            assert set(content) == {"application/problem+json"}, name
        assert "units" in {parameter["name"] for parameter in call["parameters"]}, name


def test_every_operation_has_texts_of_its_own(schema: Any) -> None:
    found = calls(schema).values()
    for part in ("summary", "description", "operationId"):
        texts = [call[part] for call in found]
        assert all(texts)
        assert [text for text, times in Counter(texts).items() if times > 1] == []


def test_every_property_and_every_parameter_has_a_description(schema: Any) -> None:
    components = schema["components"]["schemas"]
    bare = [
        f"{component}.{name}"
        for component, part in (components | schema["paths"]).items()
        for name, one in described_parts(part)
        if not one.get("description")
    ]
    bare += [
        f"{name} {parameter['name']}"
        for name, call in calls(schema).items()
        for parameter in call["parameters"]
        if not parameter.get("description")
    ]
    assert bare == []


def test_texts_and_examples_are_those_of_operations_and_properties_there_are(schema: Any) -> None:
    components = schema["components"]["schemas"]
    serializers = {name.removeprefix("Patched").removesuffix("Request") for name in components}
    properties = {name for part in components.values() for name, _ in described_parts(part)}
    operations = {call["operationId"] for call in calls(schema).values()}
    parameters = {one["name"] for call in calls(schema).values() for one in call["parameters"]}
    assert set(OPERATION_TEXTS) == operations
    assert set(PROPERTY_TEXTS) - properties == set()
    assert set(PARAMETER_TEXTS) - parameters == set()
    assert {name.partition(".")[0] for name in COMPONENT_TEXTS} - serializers == set()
    assert set(COMPONENT_EXAMPLES) - serializers == set()
    assert {name.rpartition(".")[2] for name in PROPERTY_EXAMPLES} - properties == set()
    assert set(KIND_EXAMPLES) == set(KINDS)
    assert [tag["name"] for tag in schema["tags"]] == list(TAGS)


def test_each_quantity_of_an_answer_has_an_example_in_the_unit_of_the_answers(schema: Any) -> None:
    components, used = schema["components"]["schemas"], 0
    for component, part in components.items():
        for name, one in described_parts(part):
            if component.endswith("Request") or "QuantityOut" not in str(one) or "examples" not in one:
                continue
            [example] = one["examples"]
            used += 1
            assert set(example[0] if isinstance(example, list) else example) == {"value", "unit"}, name
    assert used > 150
    for kind, texts in QUANTITY_TEXTS.items():
        for name, text in texts.items():
            shown = express(parse_quantity(text, kind).si, kind)
            assert shown["unit"] == QUANTITY_EXAMPLES[name]["unit"], name
            assert shown["value"] == pytest.approx(QUANTITY_EXAMPLES[name]["value"], rel=1e-6), name
    properties = {f"{c}.{name}" for c, part in components.items() for name, _ in described_parts(part)}
    names = properties | {name.partition(".")[2] for name in properties}
    assert set(QUANTITY_EXAMPLES) - names == set()


@pytest.mark.parametrize(
    ("call", "headers", "statuses"),
    [
        ("patch /api/v1/clients/{id}/", {"If-Match", "Idempotency-Key"}, {"409", "412", "422", "428"}),
        ("get /api/v1/clients/{id}/", {"If-None-Match"}, {"304", "404"}),
        ("post /api/v1/pipes/{id}/corrections/", {"Idempotency-Key"}, {"202", "404", "409", "422"}),
        ("post /api/v1/compute/flow/", set(), {"200", "400", "413", "415", "429"}),
    ],
)
def test_headers_and_statuses_are_those_of_the_operation(
    schema: Any, call: str, headers: set[str], statuses: set[str]
) -> None:
    described = calls(schema)[call]
    assert {one["name"] for one in described["parameters"] if one["in"] == "header"} == headers
    assert statuses <= set(described["responses"])


def test_answers_name_their_headers(schema: Any) -> None:
    for name, call in calls(schema).items():
        for code, answer in call["responses"].items():
            headers = set(resolved(schema, answer)["headers"])
            assert "X-Request-ID" in headers, name
            assert (code in ("201", "202")) == ("Location" in headers), name
            assert (code in ("202", "429", "503")) == ("Retry-After" in headers), name


def test_files_are_described_as_binary_or_text(schema: Any) -> None:
    files = {
        media_type: content["schema"]
        for call in calls(schema).values()
        for answer in call["responses"].values()
        for media_type, content in resolved(schema, answer).get("content", {}).items()
        if "json" not in media_type
    }
    assert {"application/pdf", "text/csv", "image/svg+xml", "application/vnd.apache.parquet"} < set(files)
    for media_type, form in files.items():
        assert form["type"] == "string", media_type
        text = media_type.startswith("text/") or media_type.endswith("+xml")
        assert text or form["format"] == "binary", media_type


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
    make_scene(site, cast, kit).survey()
    path = f"/api/v1/{name}/"
    answer = as_user("office").get(path)
    assert answer.json()["results"]
    check(schema, "get", path, answer)


@pytest.mark.parametrize("part", ["results", "readings", "log"])
def test_the_parts_of_a_survey_answer_as_described(
    schema: Any, as_user: Any, site: Site, cast: Any, kit: Any, part: str
) -> None:
    survey = make_scene(site, cast, kit).survey()
    answer = as_user("office").get(f"/api/v1/surveys/{survey.pk}/{part}/")
    check(schema, "get", f"/api/v1/surveys/{{id}}/{part}/", answer)


def test_results_can_be_listed_without_replaced_ones(as_user: Any, site: Site, cast: Any, kit: Any) -> None:
    survey, office = make_scene(site, cast, kit).survey(), as_user("office")
    for current, count in (("true", 1), ("false", 0)):
        found = office.get("/api/v1/results/", {"survey": str(survey.pk), "current": current})
        assert len(found.json()["results"]) == count
