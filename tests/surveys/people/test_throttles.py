"""Throttles: 429 with the seconds to wait above the limit, without effect on other users."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from tests.surveys.scene import make_scene

pytestmark = pytest.mark.django_db
PASSWORD = "a long enough password"


@pytest.fixture(autouse=True)
def twice_a_minute(settings: Any) -> Any:
    settings.THROTTLE_RATES = dict.fromkeys(settings.THROTTLE_RATES, "2/min")
    cache.clear()
    yield
    cache.clear()


def sign_in(name: str, address: str, password: str = PASSWORD) -> Any:
    body = {"username": name, "password": password}
    return APIClient(REMOTE_ADDR=address).post("/api/v1/sign-in/", body, format="json")


def rejected(answer: Any) -> bool:
    if answer.status_code != 429:
        return False
    assert answer.json()["code"] == "throttled"
    assert 1 <= int(answer["Retry-After"]) <= 61
    return True


def test_an_address_that_signs_in_too_often_waits_and_another_does_not(cast: Any) -> None:
    first = [sign_in(name, "192.0.2.1") for name in ("owner", "office", "technician")]
    assert [rejected(answer) for answer in first] == [False, False, True]
    assert sign_in("technician", "192.0.2.2").status_code == 200


def test_a_name_tried_from_many_addresses_waits_whether_or_not_it_exists(cast: Any) -> None:
    for name in ("owner", "nobody-of-that-name"):
        tries = [sign_in(name, f"192.0.2.{n}", "wrong") for n in range(3)]
        assert [rejected(answer) for answer in tries] == [False, False, True]
    # Case makes no other name of it.
    assert rejected(sign_in("OWNER", "192.0.2.99", "wrong"))


@pytest.mark.parametrize("page", ["/sign-in/", "/invitations/x/"])
def test_a_throttled_page_states_when_to_try_again(client: Any, cast: Any, page: str) -> None:
    answers = [client.post(page, {"username": f"n{n}", "password": "x"}) for n in range(3)]
    assert answers[1].status_code != 429
    assert answers[2].status_code == 429
    assert f"in {answers[2]['Retry-After']} seconds" in answers[2].content.decode()


def test_a_user_computes_so_often_and_a_colleague_at_another_address_still_does(as_user: Any) -> None:
    def compute(who: str, address: str) -> Any:
        return as_user(who).post("/api/v1/compute/spacing/", {}, format="json", REMOTE_ADDR=address)

    mine = [compute("owner", f"192.0.2.{n}") for n in range(3)]
    assert [rejected(answer) for answer in mine] == [False, False, True]
    assert compute("colleague", "192.0.2.9").status_code == 400
    # Reading the library is no computation of one's own.
    assert as_user("owner").get("/api/v1/compute/media/").status_code == 200


def test_uploads_and_reports_are_counted_each_for_itself(
    as_user: Any, cast: Any, site: Any, kit: Any, settings: Any
) -> None:
    survey, office = make_scene(site, cast, kit).survey(), as_user("office")

    def upload() -> Any:
        file = SimpleUploadedFile("a.csv", b"x")
        return office.post(f"/api/v1/surveys/{survey.pk}/log/", {"file": file}, format="multipart")

    assert [rejected(upload()) for _ in range(3)] == [False, False, True]
    report = f"/api/v1/surveys/{survey.pk}/report.pdf?draft=1"
    assert [rejected(office.get(report)) for _ in range(3)] == [False, False, True]
    assert office.get(f"/api/v1/surveys/{survey.pk}/").status_code == 200


def test_a_wrong_rate_stops_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    from django.core.exceptions import ImproperlyConfigured

    from surveys.settings import _rate

    assert _rate("THROTTLE_X", "60/min") == "60/min"
    monkeypatch.setenv("THROTTLE_X", "off")
    assert _rate("THROTTLE_X", "60/min") is None
    for wrong in ("60", "0/min", "60/week", "a/min", "60/min/x"):
        monkeypatch.setenv("THROTTLE_X", wrong)
        with pytest.raises(ImproperlyConfigured, match="THROTTLE_X"):
            _rate("THROTTLE_X", "60/min")
