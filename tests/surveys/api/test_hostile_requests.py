"""Hostile requests: read-only fields, other hosts, other methods, deep or duplicate JSON, unusual names."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.utils.html import escape
from rest_framework.test import APIClient

from tests.surveys.people.access import signed_in
from tests.surveys.people.all_records import Everything
from tests.surveys.people.test_attempts import operations

pytestmark = pytest.mark.django_db
# What the service sets itself, or nobody does.
FORBIDDEN = {
    "is_superuser": True, "recorded_by": "x", "password_hash": "x", "conformity": "pass", "client_id": "x", "_state": {},
}  # fmt: skip
# Files, forms and calls that have nothing to say take no fields.
SITES = "/api/v1/sites/"


def test_no_call_takes_a_field_that_is_not_its_own(cast: Any, site: Any, kit: Any) -> None:
    there, tried = Everything(cast, site, kit), 0
    api = signed_in(cast, "administrator")
    for one in operations():
        if one.method in ("POST", "PATCH") and one.fields and "file" not in one.fields:
            path = there.address(one.path.removeprefix("/").replace("{", "<uuid:").replace("}", ">"))
            for name, value in FORBIDDEN.items():
                if name not in one.fields:
                    answer = api.generic(
                        one.method, path, json.dumps({name: value}), content_type="application/json"
                    )
                    found = {(error["field"], error["code"]) for error in answer.json().get("errors", [])}
                    assert answer.status_code in (400, 403), (one, name, answer.content)
                    assert answer.status_code == 403 or (name, "unknown-field") in found, (one, name, found)
                    tried += 1
    assert tried > 200


@pytest.mark.parametrize(
    "header", ["HTTP_X_FORWARDED_HOST", "HTTP_FORWARDED", "HTTP_X_ORIGINAL_URL", "HTTP_X_REWRITE_URL"]
)
def test_no_header_makes_the_service_speak_for_another_host_or_address(as_user: Any, header: str) -> None:
    answer = as_user("office").get(SITES, {"page_size": 1}, **{header: "evil.example/admin/"})
    assert answer.status_code == 200
    assert b"evil.example" not in answer.content


def test_an_unknown_host_is_rejected_without_its_name(client: Any) -> None:
    for address in ("/sign-in/", "/api/v1/sites/"):
        answer = client.get(address, HTTP_HOST="evil.example")
        assert answer.status_code == 400
        assert b"evil.example" not in answer.content


def test_the_method_is_that_of_the_request_line(as_user: Any, site: Any) -> None:
    answer = as_user("office").post(
        f"{SITES}{site.pk}/", {"_method": "DELETE"}, format="json", HTTP_X_HTTP_METHOD_OVERRIDE="DELETE"
    )
    assert answer.status_code == 405


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (b"[" * 100_000, "json-too-deep"),
        (b'{"a":' * 5000 + b"1" + b"}" * 5000, "json-too-deep"),
        (b'{"name": "a", "name": "b"}', "json-invalid"),
        (b'{"name": NaN}', "json-invalid"),
        (b'{"name": 1' + b"0" * 10_000 + b"}", "json-invalid"),
        (b'\xff\xfe{"name": 1}', "not-utf-8"),
        (b"{'name': 1}", "json-invalid"),
    ],
)
def test_expensive_and_ambiguous_json_is_rejected(as_user: Any, body: bytes, code: str) -> None:
    answer = as_user("office").generic("POST", SITES, body, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (400, code)


@pytest.mark.parametrize(
    "pk",
    [
        "9" * 400,
        "%00",
        "..%2f..%2fadmin",
        "%ff",
        "0x1",
        "1 OR 1=1",
        "{}",
        "01890000-0000-7000-8000-00000000000g",
    ],
)
def test_an_id_that_is_none_is_not_there(as_user: Any, pk: str) -> None:
    answer = as_user("office").get(f"{SITES}{pk}/")
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


ODD_NAMES = [
    "<script>alert(1)</script>", "{{ 7*7 }}{% debug %}", "\u202egpj.exe", "red \x1b[31m", "a\x7f",
    "A\u0301" * 50, "\U0001f4a7" * 20, "x" * 200, "';--", "&amp;",
]  # fmt: skip


@pytest.mark.parametrize("name", ODD_NAMES)
def test_an_unusual_name_is_shown_as_text_or_rejected(cast: Any, name: str) -> None:
    body = {"client": str(cast.client.pk), "name": name}
    office = APIClient()
    office.force_authenticate(cast.office)
    answer = office.post(SITES, body, format="json")
    assert answer.status_code == (400 if set(name) & set("\u202e\x1b\x7f") else 201), answer.content
    if answer.status_code == 201:
        assert answer.json()["name"] == name
        assert escape(name) in signed_in(cast, "owner").get("/sites/").content.decode()
