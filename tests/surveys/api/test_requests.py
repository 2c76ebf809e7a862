"""Common behaviour of every address of the API."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client as Browser
from django.test import RequestFactory
from rest_framework.test import APIClient

from surveys.api.unread import read_remaining_body
from surveys.models import Site

pytestmark = pytest.mark.django_db

SITE = "/api/v1/sites/"


def site_body(cast: Any, name: str = "Works") -> dict[str, str]:
    return {"client": str(cast.client.pk), "name": name}


def test_signing_in_gives_a_token_that_works_under_both_names_of_the_scheme(cast: Any) -> None:
    api = APIClient()
    answer = api.post(
        "/api/v1/sign-in/", {"username": "office", "password": "a long enough password"}, format="json"
    )
    assert answer.status_code == 200
    token = answer.json()["token"]
    for scheme in ("Token", "Bearer"):
        me = api.get("/api/v1/me/", HTTP_AUTHORIZATION=f"{scheme} {token}")
        assert me.json()["role"] == "office"
    assert api.post("/api/v1/sign-out/", HTTP_AUTHORIZATION=f"Token {token}").status_code == 204
    assert api.get("/api/v1/me/", HTTP_AUTHORIZATION=f"Token {token}").status_code == 401


@pytest.mark.parametrize("name", ["office", "nobody-of-that-name"])
def test_a_wrong_password_and_an_unknown_name_get_the_same_answer(cast: Any, name: str) -> None:
    answer = APIClient().post("/api/v1/sign-in/", {"username": name, "password": "wrong"}, format="json")
    assert answer.status_code == 401
    assert answer.json()["errors"] == [
        {
            "field": "",
            "code": "sign-in-failed",
            "detail": "The user name or the password is wrong. Check both and try again.",
        }
    ]


def test_a_session_signs_in_on_the_page_and_serves_the_api(cast: Any) -> None:
    browser = Browser()
    page = browser.post("/sign-in/", {"username": "office", "password": "a long enough password"})
    assert page.status_code == 302
    assert browser.get("/api/v1/me/").json()["username"] == "office"


@pytest.mark.parametrize(
    "path",
    ["/api/nothing/", "/api/v1/sites/not-a-uuid/", "/api/v1/sites/01890000-0000-7000-8000-000000000000/"],
)
def test_a_missing_resource_is_a_problem_document(as_user: Any, path: str) -> None:
    answer = as_user("office").get(path)
    assert answer.status_code == 404
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["code"] == "not-found"


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (b'{"name": ', "json-invalid"),
        (b'{"name": NaN}', "json-invalid"),
        (b'{"name": 1, "name": 2}', "json-invalid"),
        (b"[" * 100 + b"]" * 100, "json-too-deep"),
        (b"[" * 100_000, "json-too-deep"),
        (b"\xff\xfe", "not-utf-8"),
        (b"9" * 5000, "json-invalid"),
    ],
)
def test_bad_json_is_a_400_with_the_reason(as_user: Any, body: bytes, code: str) -> None:
    answer = as_user("office").post(SITE, data=body, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_unknown_fields_are_rejected_with_a_hint_not_ignored(as_user: Any, cast: Any) -> None:
    answer = as_user("office").post(SITE, site_body(cast) | {"adress": "x", "id": "y"}, format="json")
    errors = {error["field"]: error for error in answer.json()["errors"]}
    assert errors["adress"]["code"] == "unknown-field"
    assert "address" in errors["adress"]["detail"]
    assert "id" in errors


def test_an_existing_name_is_a_conflict_with_its_field(as_user: Any, cast: Any) -> None:
    office = as_user("office")
    assert office.post(SITE, site_body(cast), format="json").status_code == 201
    again = office.post(SITE, site_body(cast), format="json")
    assert again.status_code == 409
    assert again.json()["errors"][0]["field"] == "name"


def test_a_record_of_another_client_cannot_be_referenced(as_user: Any, cast: Any, site: Site) -> None:
    technician = as_user("technician")
    body = {"site": str(site.pk), "name": "x", "pipe": {}, "medium": {}}
    answer = technician.post("/api/v1/pipes/", body, format="json")
    assert {"field": "site", "code": "does-not-exist"}.items() <= answer.json()["errors"][0].items()


def test_a_stale_change_is_rejected_and_a_current_one_is_made(as_user: Any, site: Site) -> None:
    office, path = as_user("office"), f"{SITE}{site.pk}/"
    tag = office.get(path)["ETag"]
    first = office.patch(path, {"address": "1 Kiln Lane"}, format="json", HTTP_IF_MATCH=tag)
    assert first.status_code == 200
    stale = office.patch(path, {"address": "2 Kiln Lane"}, format="json", HTTP_IF_MATCH=tag)
    assert (stale.status_code, stale.json()["code"]) == (412, "edited-meanwhile")
    assert (
        office.patch(path, {"address": "2 Kiln Lane"}, format="json", HTTP_IF_MATCH=first["ETag"]).status_code
        == 200
    )


def test_a_write_sent_again_with_its_key_is_done_once_and_answered_the_same(as_user: Any, cast: Any) -> None:
    office, key = as_user("office"), {"HTTP_IDEMPOTENCY_KEY": "a-key"}
    first = office.post(SITE, site_body(cast), format="json", **key)
    again = office.post(SITE, site_body(cast), format="json", **key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    assert again["Idempotency-Replayed"] == "true"
    assert Site.objects.count() == 1
    other = office.post(SITE, site_body(cast, "Other"), format="json", **key)
    assert (other.status_code, other.json()["code"]) == (422, "idempotency-key-reused")


def test_a_key_is_each_users_own(as_user: Any, cast: Any) -> None:
    key = {"HTTP_IDEMPOTENCY_KEY": "a-key"}
    as_user("office").post(SITE, site_body(cast), format="json", **key)
    assert (
        as_user("administrator").post(SITE, site_body(cast, "Other"), format="json", **key).status_code == 201
    )


@pytest.mark.parametrize(
    ("query", "field"),
    [("units=furlongs", "units"), ("ordering=address", "ordering"), ("client=x", "client")],
)
def test_an_invalid_query_is_rejected_with_its_field(as_user: Any, query: str, field: str) -> None:
    answer = as_user("office").get(f"{SITE}?{query}")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, field)


def test_lists_are_paged_by_cursor_and_lose_nothing(as_user: Any, cast: Any) -> None:
    for number in range(7):
        Site.objects.create(client=cast.client, name=f"Site {number}")
    office, names, path = as_user("office"), [], f"{SITE}?page_size=3"
    while path:
        page = office.get(path).json()
        names += [row["name"] for row in page["results"]]
        path = page["next"]
    assert names == [f"Site {number}" for number in range(7)]


def test_a_method_or_a_type_not_offered_is_a_problem_document(as_user: Any) -> None:
    office = as_user("office")
    assert office.put(SITE, {}, format="json").status_code == 405
    rejected = office.post(SITE, data="<x/>", content_type="application/xml")
    assert (rejected.status_code, rejected["Content-Type"]) == (415, "application/problem+json")


def test_only_the_schema_the_docs_and_signing_in_answer_a_stranger(client: Any) -> None:
    for path in ("/api/schema/", "/api/docs/", "/sign-in/"):
        assert client.get(path).status_code == 200
    assert client.get("/api/v1/clients/").status_code == 401
    assert client.get("/api/v1/clients/")["WWW-Authenticate"] == "Token"
    assert (
        client.post("/api/v1/compute/spacing/", data="{}", content_type="application/json").status_code == 401
    )


def test_the_docs_page_loads_nothing_from_elsewhere_and_runs_no_inline_script(client: Any) -> None:
    page = client.get("/api/docs/").content.decode()
    loaded = re.findall(r"""(?:src|href)\s*=\s*["']([^"']+)""", page)
    assert len(loaded) >= 3
    assert all(address.startswith("/") and not address.startswith("//") for address in loaded), loaded
    assert re.findall(r"<script(?![^>]*\bsrc=)", page) == []


def test_the_schema_is_openapi_3_1_and_every_call_documents_its_errors(client: Any) -> None:
    schema = client.get("/api/schema/", {"format": "json"}).json()
    assert schema["openapi"] == "3.1.0"
    for path, methods in schema["paths"].items():
        for method, call in methods.items():
            if method in {"get", "post", "patch"} and path.startswith("/api/v1/compute"):
                assert "400" in call["responses"], path
    assert json.dumps(schema).count("#/components/schemas/") > 50


def test_a_rejected_upload_is_read_to_its_end_so_that_the_connection_stays_usable() -> None:
    request = RequestFactory().post("/", b"x" * 3_000_000, content_type="text/csv")
    rejection = HttpResponse(status=403)
    assert read_remaining_body(lambda request: rejection)(request) is rejection
    assert request.read() == b""
