"""Requests built from the examples of the OpenAPI document: none is refused as malformed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from drf_spectacular.generators import SchemaGenerator

from tests.surveys.people.all_records import Everything

pytestmark = pytest.mark.django_db

# Property with an id -> the kind of record it is the id of.
RECORDS = {
    "assignments": "jobs",
    "belongs_to": "instruments",
    "client": "clients",
    "gauge": "gauges",
    "holder": "technicians",
    "instrument": "instruments",
    "instruments": "instruments",
    "job": "jobs",
    "jobs": "jobs",
    "kit": "instruments",
    "measuring_point": "measuring-points",
    "measuring_points": "measuring-points",
    "meter": "instruments",
    "other_instrument": "other-meters",
    "pipe": "pipes",
    "setup": "setups",
    "site": "sites",
    "technician": "technicians",
    "transducers": "transducers",
    "user": "users",
}
# Codes of 400 that judge what a request means, not how it is written.
JUDGEMENTS = {
    "belongs-to-invalid", "both-stated", "client-not-needed", "does-not-exist", "instrument-or-technician", "not-taken", "one-of",
    "other-serial", "outside-log", "password-wrong", "wrong-instrument",
}  # fmt: skip


@pytest.fixture(scope="module")
def document() -> Any:
    return SchemaGenerator().get_schema(request=None, public=True)


@pytest.fixture
def there(cast: Any, site: Any, kit: Any) -> Everything:
    found = Everything(cast, site, kit)
    found.ids |= {"gauges": str(kit.gauge.pk), "other-meters": str(kit.meter.pk)}
    return found


def bodies(document: Any) -> Iterator[tuple[str, str, Any, Any]]:
    """Each operation with a JSON body: its path, method, example and schema."""
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            content = operation.get("requestBody", {}).get("content", {}).get("application/json")
            if content:
                reference = content["schema"]["$ref"].rpartition("/")[2]
                schema = document["components"]["schemas"][reference]
                yield path, method, content["examples"]["request"]["value"], schema


def of_records(body: Any, there: Everything, name: str = "") -> Any:
    """The body with the ids of records there are."""
    if isinstance(body, dict):
        return {key: of_records(value, there, key) for key, value in body.items()}
    if name == "parts" and isinstance(body, list):
        return [there.ids["surveys"], there.other]
    if isinstance(body, list):
        return [of_records(one, there, name) for one in body]
    if isinstance(body, str) and body.startswith("0192f3a0-") and name in RECORDS:
        return there.ids[RECORDS[name]]
    return body


def address(path: str, there: Everything) -> str:
    """The path with the ids of records there are."""
    route = path.removeprefix("/")
    parts = [
        there.id_of(route, part[1:-1]) if part.startswith("{") else part
        for part in path.strip("/").split("/")
    ]
    return f"/{'/'.join(parts)}/"


def refusals(api: Any, method: str, url: str, body: Any) -> list[tuple[str, str]]:
    """Field and code of each error that calls the request malformed."""
    with transaction.atomic():
        answer = getattr(api, method)(url, body, format="json", HTTP_IF_MATCH="*")
        transaction.set_rollback(True)
    assert answer.status_code < 500, (url, answer.content)
    assert answer.status_code not in (404, 405, 415, 428), (url, answer.content)
    errors = answer.json()["errors"] if answer.status_code == 400 else []
    return [(one["field"], one["code"]) for one in errors if one["code"] not in JUDGEMENTS]


def test_the_example_of_each_body_is_not_malformed(document: Any, there: Everything, as_user: Any) -> None:
    found, tried = {}, 0
    for path, method, example, _ in bodies(document):
        body = of_records(example, there)
        if wrong := refusals(as_user("administrator"), method, address(path, there), body):
            found[f"{method} {path}"] = wrong
        tried += 1
    assert tried > 60
    assert found == {}


def test_each_integer_beyond_the_columns_of_a_database_is_rejected(
    document: Any, there: Everything, as_user: Any
) -> None:
    accepted, tried = [], 0
    for path, method, example, schema in bodies(document):
        body = of_records(example, there)
        for name, one in schema.get("properties", {}).items():
            if "integer" not in one.get("type", ""):
                continue
            errors = refusals(as_user("administrator"), method, address(path, there), body | {name: 2**31})
            if (name, "max-value") not in errors:
                accepted.append((path, name, errors))
            tried += 1
    assert tried > 8
    assert accepted == []


def test_the_example_of_each_property_is_not_malformed(
    document: Any, there: Everything, as_user: Any
) -> None:
    found = {}
    for path, method, example, schema in bodies(document):
        body = of_records(example, there)
        for name, one in schema.get("properties", {}).items():
            changed = of_records(body | {name: one["examples"][0]}, there)
            errors = refusals(as_user("administrator"), method, address(path, there), changed)
            if wrong := [error for error in errors if error[0].split(".")[0] == name]:
                found[f"{method} {path} {name}"] = wrong
    assert found == {}
