"""A client of another organisation tries: whatever they call with whatever they overheard, they learn nothing and change nothing.

Attempts are drawn from the API's own description: any call to records, its parameters and fields filled with ids and names of the
other's. Of each answer holds: nothing of the other's is in it that was not sent; it is the same as where the ids and names are nobody's;
and no row is another than before.
"""

from __future__ import annotations

import hashlib
import json
import re
from functools import cache
from typing import Any, NamedTuple
from urllib.parse import urlencode

import pytest
from django.apps import apps
from django.contrib.admin.utils import get_fields_from_path
from django.db import transaction
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from surveys.api.filters import Filters, RecordFilter
from surveys.api.urls import router
from surveys.models import (
    ApiToken,
    AuditEntry,
    Client,
    IdempotencyKey,
    Instrument,
    Job,
    MeasuringPoint,
    Pipe,
    Site,
    Survey,
    User,
)
from tests.surveys.people.access import signed_in
from tests.surveys.people.all_records import Everything

pytestmark = pytest.mark.django_db
ATTEMPTS_EACH = 6
# What one may write in one's own name.
OWN_RECORDS = {ApiToken, AuditEntry, IdempotencyKey}
EXCLUDED_MODELS = tuple(
    f"/api/v1/{name}" for name in ("compute/", "me/", "sign-in/", "sign-out/", "password/", "second-factor/")
)
OPERATORS = ("", "__in", "__gte", "__isnull", "__icontains")
ORDERS = ("name", "-id", "client__name", "site__client", "password")
HEADERS: tuple[dict[str, str], ...] = (
    {}, {"HTTP_IF_MATCH": "*"}, {"HTTP_IF_NONE_MATCH": "*"}, {"HTTP_X_HTTP_METHOD_OVERRIDE": "DELETE"},
)  # fmt: skip


class Operation(NamedTuple):
    """A call as the API describes it: with its parameters and the fields of its body."""

    method: str
    path: str
    parameters: list[str]
    fields: list[str]


class Attempt(NamedTuple):
    """A call as it is made."""

    method: str
    path: str
    query: dict[str, str]
    body: dict[str, Any]
    headers: dict[str, str]


@cache
def operations() -> list[Operation]:
    """Every call to records."""
    schema: Any = SchemaGenerator().get_schema(request=None, public=True)
    found = []
    for path, calls in schema["paths"].items():
        for method, call in calls.items():
            if method in ("get", "post", "put", "patch", "delete") and not path.startswith(EXCLUDED_MODELS):
                named = [one["name"] for one in call.get("parameters", []) if one["in"] == "query"]
                content = call.get("requestBody", {}).get("content", {}).get("application/json", {})
                name = content.get("schema", {}).get("$ref", "").rpartition("/")[2]
                fields = schema["components"]["schemas"].get(name, {}).get("properties", {})
                found.append(Operation(method.upper(), path, sorted(named), sorted(fields)))
    return sorted(found)


@st.composite
def attempts(draw: st.DrawFn, operation: Operation, there: Everything, overheard: list[str]) -> Attempt:
    """The call to the other's own record, with what was overheard in its query and its body."""
    method, path, parameters, fields = operation
    path = there.address(re.sub(r"{(\w+)}", r"<uuid:\1>", path.removeprefix("/")))
    known = st.sampled_from(overheard)
    names = st.sampled_from([*parameters, "search", "id", "client"])
    query = {
        draw(names) + draw(st.sampled_from(OPERATORS)): draw(known) for _ in range(draw(st.integers(0, 2)))
    }
    if draw(st.booleans()):
        query["ordering"] = draw(st.sampled_from(ORDERS))
    body = {
        name: draw(st.one_of(known, st.lists(known, max_size=2))) for name in fields if draw(st.booleans())
    }
    return Attempt(method, path, query, body, draw(st.sampled_from(HEADERS)))


@pytest.mark.parametrize("quarter", range(4))
def test_no_attempt_of_another_organisation_reads_infers_or_changes_anything(
    cast: Any, site: Any, kit: Any, quarter: int
) -> None:
    there = Everything(cast, site, kit)
    secrets = [*there.ids.values(), *names_told(kit, cast)]
    nobodys = {one: of_nobody(one) for one in secrets}
    api, before, rejected = signed_in(cast, "stranger"), rows(cast.stranger), []

    def tried(attempt: Attempt) -> None:
        sent = json.dumps(attempt)
        with transaction.atomic():
            status, text = send(api, attempt)
            assert rows(cast.stranger) == before, attempt
            transaction.set_rollback(True)
        assert status < 500, attempt
        assert [one for one in secrets if one in text and one not in sent] == [], attempt
        for secret, other in nobodys.items():
            sent, text = sent.replace(secret, other), text.replace(secret, other)
        assert send(api, Attempt(*json.loads(sent))) == (status, text), attempt
        rejected.append(status >= 400)

    for operation in operations()[quarter::4]:
        draw = given(attempt=attempts(operation, there, secrets))
        settings(max_examples=ATTEMPTS_EACH, suppress_health_check=list(HealthCheck))(draw(tried))()
    # Both answers that refuse and such that say that there is nothing were met.
    assert 0 < sum(rejected) < len(rejected)


def test_no_filter_by_id_reveals_the_existence_of_a_record(cast: Any, site: Any, kit: Any) -> None:
    Everything(cast, site, kit)
    api, tried = signed_in(cast, "stranger"), set()
    for prefix, view, _ in router.registry:
        offered = Filters().get_filterset_class(view(), view.model._default_manager.all())
        for name, one in offered.base_filters.items() if offered else ():
            related = isinstance(one, RecordFilter) and related_model(view.model, str(one.field_name))
            there = related and related._default_manager.exclude(pk=cast.stranger.pk).first()
            if there and there.pk != cast.other_client.pk:
                told_of = [
                    send(api, Attempt("GET", f"/api/v1/{prefix}/", {name: key}, {}, {}))
                    for key in (str(there.pk), of_nobody(str(there.pk)))
                ]
                assert told_of[0] == told_of[1], (prefix, name)
                tried.add(related)
    assert {Client, Site, Pipe, MeasuringPoint, Survey, Instrument, Job} <= tried


def related_model(model: Any, path: str) -> Any:
    return get_fields_from_path(model, path)[-1].related_model


def send(api: APIClient, attempt: Attempt) -> tuple[int, str]:
    """The answer to an attempt: its status, and all else there is to read. What it did is undone."""
    method, path, query, body, headers = attempt
    with transaction.atomic():
        answer: Any = api.generic(
            method,
            f"{path}?{urlencode(query)}",
            b"" if method == "GET" else json.dumps(body).encode(),
            content_type="application/json",
            **headers,
        )
        content = b"".join(answer.streaming_content) if answer.streaming else answer.content
        transaction.set_rollback(answer.streaming or False)
    del answer["X-Request-ID"]  # of each request its own
    return answer.status_code, f"{sorted(answer.headers.items())} {content.decode('utf-8', 'replace')}"


def rows(stranger: User) -> str:
    """A digest of every row but what the stranger may write in their own name."""
    digest = hashlib.sha256()
    for model in apps.get_app_config("surveys").get_models():
        if model not in OWN_RECORDS:
            found = model._default_manager.exclude(pk=stranger.pk).order_by("pk")
            digest.update(repr(list(found.values_list())).encode())
    return digest.hexdigest()


def names_told(kit: Any, cast: Any) -> list[str]:
    """What names the other's records, and the fleet's."""
    return [
        "Return line", "Flow line", "After the bend", "Round of the boiler house", "Mean of the house", "Columns of ours",
        "new-colleague", "new@client.example", "Wiring", "office-brass", "Brine of the plant", cast.client.name,
        *(one.serial for one in kit.all),
    ]  # fmt: skip


def of_nobody(name: str) -> str:
    """An id or a name that is nobody's, different at its end alone: an error may tell the beginning of what was sent."""
    return name[:-1] + ("0123456789abcdef".replace(name[-1], "")[-1])
