"""Security headers of every response."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.test import override_settings

from tests.surveys.scene import log, make_scene

pytestmark = pytest.mark.django_db


def directives(policy: str) -> dict[str, list[str]]:
    parts = [part.split() for part in policy.split(";") if part.strip()]
    return {part[0]: part[1:] for part in parts}


@pytest.mark.parametrize("path", ["/sign-in/", "/api/v1/me/", "/no/such/page/", "/admin/"])
def test_nothing_inline_and_nothing_from_elsewhere_on_any_answer(client: Any, path: str) -> None:
    answer = client.get(path)
    policy = directives(answer["Content-Security-Policy"])
    assert policy["default-src"] == ["'none'"]
    assert policy["script-src"] == policy["style-src"] == ["'self'"]
    assert policy["frame-ancestors"] == policy["base-uri"] == ["'none'"]
    assert not any("unsafe" in word or "*" in word for words in policy.values() for word in words)
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer["Cross-Origin-Opener-Policy"] == "same-origin"
    assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "camera=()" in answer["Permissions-Policy"]


def test_the_description_of_the_api_may_style_itself_and_no_more(client: Any) -> None:
    policy = directives(client.get("/api/docs/")["Content-Security-Policy"])
    assert policy["style-src"] == ["'self'", "'unsafe-inline'"]
    assert policy["script-src"] == ["'self'"]


def test_the_policy_of_one_answer_is_not_that_of_the_next(client: Any) -> None:
    for _ in range(2):
        allowed = [
            directives(client.get(path)["Content-Security-Policy"])["style-src"]
            for path in ("/api/docs/", "/sign-in/", "/no/such/page/")
        ]
        assert allowed == [["'self'", "'unsafe-inline'"], ["'self'"], ["'self'"]]


@override_settings(SECURE_HSTS_SECONDS=31_536_000, SECURE_HSTS_INCLUDE_SUBDOMAINS=True)
def test_responses_require_https_from_browsers(client: Any) -> None:
    header = client.get("/sign-in/", secure=True)["Strict-Transport-Security"]
    assert header == "max-age=31536000; includeSubDomains"


def test_responses_are_not_shared_by_caches(as_user: Any) -> None:
    assert as_user("owner").get("/api/v1/sites/")["Cache-Control"] == "private, no-cache"


def test_a_file_from_outside_is_saved_not_shown_and_shut_in(
    as_user: Any, cast: Any, site: Any, kit: Any
) -> None:
    survey = make_scene(site, cast, kit).survey()
    for path in ("log/file/", "readings/?format=csv", "readings/?format=parquet"):
        answer = as_user("office").get(f"/api/v1/surveys/{survey.pk}/{path}")
        assert answer["Content-Disposition"].startswith("attachment;")
        assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert answer["X-Content-Type-Options"] == "nosniff"
        # Read to the end, by which the test's client closes it.
        assert b"".join(answer.streaming_content)


def test_the_loggers_file_is_given_back_as_it_came(as_user: Any, cast: Any, site: Any, kit: Any) -> None:
    survey = make_scene(site, cast, kit).survey()
    for who, status in (("owner", 200), ("stranger", 404)):
        answer = as_user(who).get(f"/api/v1/surveys/{survey.pk}/log/file/")
        assert answer.status_code == status
        if status == 200:
            content = b"".join(answer.streaming_content)
            assert content == log(80)
            assert answer["ETag"] == f'"{hashlib.sha256(content).hexdigest()}"'
            assert int(answer["Content-Length"]) == len(content)


def test_a_browser_that_finds_no_icon_named_on_a_page_is_sent_to_ours(client: Any) -> None:
    answer = client.get("/favicon.ico")
    assert (answer.status_code, answer["Location"]) == (302, "/static/surveys/icon.svg")
    assert finders.find("surveys/icon.svg")
    assert client.post("/favicon.ico").status_code == 405
