"""The help page of every code, which problem documents lead to."""

from __future__ import annotations

import html
import json
from http import HTTPStatus
from typing import Any

import pytest
from rest_framework.test import APIClient

from compute.results.equations import EQUATIONS
from compute.results.survey import METHODS
from compute.results.uncertainty import DEFAULT_UNCERTAINTIES
from surveys.core.messages.catalogue import CATALOGUE
from surveys.core.messages.fields import label_of
from surveys.core.messages.severities import BACKGROUND, SEVERITIES
from surveys.pages.help.codes import entries_by_code, kind_of, statuses_of, texts_of
from surveys.pages.help.method import with_subscripts

pytestmark = pytest.mark.django_db


def test_the_list_leads_to_a_page_for_every_code(client: Any) -> None:
    listed = client.get("/help/codes/").content.decode()
    for code in {key.partition("/")[0] for key in CATALOGUE}:
        address = f"/help/codes/{code}/"
        assert f'href="{address}"' in listed
        found = client.get(address)
        assert found.status_code == 200, address
        shown = html.unescape(found.content.decode())
        for entry in entries_by_code()[code]:
            for text in (entry.title, entry.detail, entry.remedy):
                assert all(one in shown for one in texts_of(text)), address


SEVERITY_WORDS = {"error": "Error: do not", "warning": "Warning: check", "info": "Information: no"}


def test_every_code_shows_its_severities_or_its_http_statuses(client: Any) -> None:
    for code in entries_by_code():
        shown = html.unescape(client.get(f"/help/codes/{code}/").content.decode())
        severities = {severity for severity, words in SEVERITY_WORDS.items() if f"<li>{words}" in shown}
        assert severities == set(SEVERITIES.get(code, ())), code
        assert bool(severities) == (kind_of(code) == "finding"), code
        statuses = [f"{one} {HTTPStatus(one).phrase}" for one in statuses_of(code)]
        assert ("HTTP status:" in shown) == bool(statuses), code
        assert ", ".join(statuses) in shown, code
        assert (kind_of(code) == "error") == (bool(statuses) or code in BACKGROUND), code


@pytest.mark.parametrize(
    ("code", "texts"),
    [
        (
            "spacing-wrong",
            ["Error: do not use the result.", "Warning: check before use.", "depending on the case"],
        ),
        ("nothing-changed", ["400 Bad Request, 409 Conflict"]),
        ("throttled", ["429 Too Many Requests"]),
        ("worker-stopped", ["has no HTTP status"]),
    ],
)
def test_a_page_names_the_severity_or_the_status_in_words(client: Any, code: str, texts: list[str]) -> None:
    shown = client.get(f"/help/codes/{code}/").content.decode()
    assert [text for text in texts if text not in shown] == []


def test_an_unknown_code_has_no_page(client: Any) -> None:
    assert client.get("/help/codes/no-such-code/").status_code == 404


def test_a_text_names_its_parameters_and_a_code_its_kind(client: Any) -> None:
    page = html.unescape(client.get("/help/codes/wall-not-in-tables/").content.decode())
    assert "No standard pipe of [outer diameter] has a wall of [wall]." in page
    kinds = {code: kind_of(code) for code in ("wall-not-in-tables", "hot-surface", "unknown-field")}
    assert kinds == {"wall-not-in-tables": "finding", "hot-surface": "safety", "unknown-field": "error"}


def test_the_page_is_framed_for_visitors_and_for_users(client: Any, cast: Any) -> None:
    anonymous = client.get("/help/codes/").content.decode()
    assert 'href="/sign-in/"' in anonymous
    assert "/sign-out/" not in anonymous
    client.force_login(cast.office)
    signed_in = client.get("/help/codes/").content.decode()
    assert "/sign-out/" in signed_in
    assert "/office/jobs/" in signed_in


@pytest.mark.parametrize(
    ("method", "path", "body", "code"),
    [
        ("GET", "/api/v1/nothing/", None, "not-found"),
        ("POST", "/api/v1/sites/", {"nmae": "x"}, "unknown-field"),
        ("POST", "/api/v1/sites/", {}, "required"),
        ("DELETE", "/api/v1/sites/", None, "method-not-allowed"),
        ("GET", "/api/v1/sites/?colour=red", None, "unknown-filter"),
    ],
)
def test_the_type_of_a_problem_document_leads_to_the_help(
    client: Any, as_user: Any, method: str, path: str, body: Any, code: str
) -> None:
    answer = as_user("office").generic(
        method, path, *([] if body is None else [json.dumps(body), "application/json"])
    )
    problem = answer.json()
    assert problem["code"] == code
    assert answer.status_code in statuses_of(code)
    assert client.get(problem["type"]).status_code == 200


@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "PATCH", "DELETE"])
def test_an_unknown_address_of_the_api_is_not_found_whatever_the_method(method: str) -> None:
    for path in ("/api/v1/nothing/", "/api/", "/api/nothing"):
        answer = APIClient(enforce_csrf_checks=True).generic(method, path, b"{}", "application/json")
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
        assert answer.json()["code"] == "not-found"


def test_letters_after_an_underscore_are_subscripts() -> None:
    assert with_subscripts("p = sin θ_w / c_w < 1") == "p = sin θ<sub>w</sub> / c<sub>w</sub> &lt; 1"


def test_the_method_lists_every_equation_version_and_default_uncertainty(client: Any) -> None:
    shown = html.unescape(client.get("/help/method/").content.decode())
    for equation in EQUATIONS:
        assert equation.name in shown
        assert html.unescape(with_subscripts(equation.formula)) in shown
    assert all(method.change in shown for method in METHODS)
    assert all(label_of(path) in shown for path in DEFAULT_UNCERTAINTIES)
