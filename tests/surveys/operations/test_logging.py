"""Log lines in JSON, without secrets and personal data."""

from __future__ import annotations

import io
import json
import logging
import logging.config
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.conf import settings
from django.db import IntegrityError
from django.test import Client as Browser
from django.utils import timezone

from surveys.models import Invitation
from surveys.services.people.people import invitation_send
from tests.surveys.people.routes import AN_ID

pytestmark = pytest.mark.django_db
SECRET = "s3cret-that-nobody-may-read"
DETAIL = f'duplicate key\nDETAIL:  Key (email)=({SECRET}) exists.\nCONTEXT:  unnamed portal parameter $1 = "{SECRET}"'


@pytest.fixture
def lines() -> Iterator[Callable[[], list[dict[str, Any]]]]:
    """What was logged since, at every level, as the service would write it."""
    logging.config.dictConfig(settings.LOGGING)
    handler = next(one for one in logging.getLogger().handlers if isinstance(one, logging.StreamHandler))
    written, before = io.StringIO(), handler.setStream(io.StringIO())
    handler.setStream(written)
    level = logging.getLogger().level
    logging.getLogger().setLevel(logging.DEBUG)

    def so_far() -> list[dict[str, Any]]:
        return [json.loads(line) for line in written.getvalue().splitlines()]

    yield so_far
    logging.getLogger().setLevel(level)
    handler.setStream(before)  # type: ignore[arg-type]


def text_of(lines: list[dict[str, Any]]) -> str:
    return json.dumps(lines)


def requests(lines: list[dict[str, Any]]) -> list[tuple[str, int]]:
    return [(one["request"], one["code"]) for one in lines if one["event"] == "request_finished"]


def test_signing_in_is_logged_without_name_or_password(cast: Any, lines: Any) -> None:
    browser = Browser(headers={"user-agent": SECRET})
    for password in (SECRET, "a long enough password"):
        browser.post("/sign-in/", {"username": "owner", "password": password})
        browser.post(
            "/api/v1/sign-in/",
            {"username": "owner", "password": password},
            content_type="application/json",
        )
    assert ("POST /sign-in/", 302) in requests(lines())
    assert SECRET not in text_of(lines())
    assert "a long enough password" not in text_of(lines())
    assert "owner" not in text_of(lines())
    assert "127.0.0.1" not in text_of(lines())


def test_a_feed_is_logged_by_its_route_without_its_token(lines: Any) -> None:
    assert Browser().get(f"/api/v1/calendar-feeds/{SECRET}.ics").status_code == 404
    assert requests(lines()) == [("GET /api/v1/calendar-feeds/<str:token>.ics", 404)]
    assert SECRET not in text_of(lines())


def test_an_invitation_is_logged_without_its_link(cast: Any, lines: Any, mailoutbox: Any) -> None:
    invitation = Invitation(username="new-one", email="new@office.example", role="office")
    link_of = "https://surveys.example/invitations/{}/".format
    invitation_send(invitation=invitation, link_of=link_of, by=cast.administrator, now=timezone.now())
    link = next(word for word in mailoutbox[0].body.split() if "/invitations/" in word)
    token = link.rstrip("/").rsplit("/", 1)[-1]
    Browser().get(f"/invitations/{token}/")
    Browser().get(f"/invitations/{SECRET}/?from={SECRET}")
    assert [route for route, _ in requests(lines())] == ["GET /invitations/<str:token>/"] * 2
    assert token not in text_of(lines())
    assert SECRET not in text_of(lines())
    assert "new@office.example" not in text_of(lines())


def test_an_unknown_address_and_a_wrong_token_are_not_repeated(lines: Any) -> None:
    Browser().get(f"/{SECRET}/", {"token": SECRET})
    Browser().get("/api/v1/sites/", headers={"authorization": f"Token {SECRET}"})
    assert requests(lines()) == [("GET of no address here", 404), ("GET /api/v1/sites/", 401)]
    assert SECRET not in text_of(lines())


def test_a_fault_is_logged_with_its_traceback_but_not_with_the_rows_of_the_database(
    cast: Any, lines: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any, **__: Any) -> None:
        private = SECRET
        raise RuntimeError(f"of no use: {len(private)}") from IntegrityError(DETAIL)

    browser = Browser(raise_request_exception=False)
    browser.force_login(cast.office)
    monkeypatch.setattr("surveys.pages.client.views.get_object_or_404", fail)
    answer = browser.get(f"/results/{AN_ID}/traceability/")
    assert answer.status_code == 500
    line = next(one for one in lines() if one["event"] == "request_failed")
    assert "RuntimeError: of no use" in line["exception"]
    assert "duplicate key" in line["exception"]
    assert line["request_id"] == answer["X-Request-ID"]
    assert SECRET not in text_of(lines())


def test_an_error_logged_by_its_text_loses_the_values_it_repeats(lines: Any) -> None:
    logging.getLogger("surveys").warning("constraint without a sentence: %s", DETAIL)
    assert lines()[-1]["event"] == "constraint without a sentence: duplicate key"


def test_every_line_of_a_request_has_its_id_and_the_next_has_another(cast: Any, lines: Any) -> None:
    first, second = Browser().get("/sign-in/"), Browser().get("/sign-in/")
    ids = [one["request_id"] for one in lines() if one["event"] == "request_finished"]
    assert ids == [first["X-Request-ID"], second["X-Request-ID"]]
    assert len(set(ids)) == 2
    assert {"timestamp", "level", "logger"} <= set(lines()[0])
