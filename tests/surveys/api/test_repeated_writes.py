"""A write sent again, at once, or after its first process died; and changes of what was read in either units."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from django.db import connections
from django.test import Client as Browser
from django.utils import timezone
from rest_framework.test import APIClient

from surveys.models import IdempotencyKey, Site

SITES = "/api/v1/sites/"
KEY = {"HTTP_IDEMPOTENCY_KEY": "a-key"}


def started(api: Any, cast: Any, lease: timedelta) -> dict[str, str]:
    """A write whose first request took its key and has not answered; its body."""
    body = {"client": str(cast.client.pk), "name": "Works"}
    api.post(SITES, body, format="json", **KEY)
    Site.objects.all().delete()
    IdempotencyKey.objects.update(status=None, lease_until=timezone.now() + lease)
    return body


@pytest.mark.django_db
def test_a_write_whose_first_request_is_still_running_waits(as_user: Any, cast: Any) -> None:
    office = as_user("office")
    body = started(office, cast, timedelta(seconds=30))
    answer = office.post(SITES, body, format="json", **KEY)
    assert (answer.status_code, answer.json()["code"]) == (409, "still-running")
    assert not Site.objects.exists()


@pytest.mark.django_db
def test_a_key_whose_process_died_is_free_again_when_its_lease_ran_out(as_user: Any, cast: Any) -> None:
    office = as_user("office")
    body = started(office, cast, timedelta(seconds=-1))
    assert office.post(SITES, body, format="json", **KEY).status_code == 201
    assert office.post(SITES, body, format="json", **KEY)["Idempotency-Replayed"] == "true"
    assert Site.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_eight_requests_at_once_with_one_key_make_one_record(cast: Any) -> None:
    body = {"client": str(cast.client.pk), "name": "Works"}

    def send(_: int) -> int:
        api = APIClient()
        api.force_authenticate(cast.office)
        try:
            return int(api.post(SITES, body, format="json", **KEY).status_code)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(8) as pool:
        statuses = set(pool.map(send, range(8)))
    assert 201 in statuses <= {201, 409}
    assert Site.objects.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize(("read", "write"), [("us", "metric"), ("metric", "us"), ("us", "us")])
def test_a_record_read_in_one_system_of_units_is_changed_in_another(
    as_user: Any, kit: Any, read: str, write: str
) -> None:
    office, path = as_user("calibration_admin"), f"/api/v1/instruments/{kit.pair.pk}/"
    tag = office.get(f"{path}?units={read}")["ETag"]
    changed = office.patch(f"{path}?units={write}", {"note": "x"}, format="json", HTTP_IF_MATCH=tag)
    assert changed.status_code == 200
    stale = office.patch(f"{path}?units={write}", {"note": "y"}, format="json", HTTP_IF_MATCH=tag)
    assert stale.status_code == 412


@pytest.mark.django_db
def test_signing_out_by_the_api_ends_a_session_too(cast: Any) -> None:
    browser = Browser()
    browser.force_login(cast.office)
    assert browser.post("/api/v1/sign-out/").status_code == 204
    assert browser.get("/api/v1/me/").status_code == 401
