"""Writes sent again, at the same time, or after their first process died; changes with ETags in either unit system."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError, connections, transaction
from django.test import Client as Browser
from django.utils import timezone
from rest_framework.test import APIClient

from surveys.api import idempotency
from surveys.api.pipes import places
from surveys.models import IdempotencyKey, Site
from tests.surveys.scene import make_scene

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


@pytest.mark.django_db
def test_a_page_of_a_session_may_send_a_write_again_with_its_key(cast: Any) -> None:
    page = Browser(enforce_csrf_checks=True)
    page.force_login(cast.office, backend="surveys.services.people.sign_in.PeopleBackend")
    page.get("/password/")
    token = {"HTTP_X_CSRFTOKEN": page.cookies["csrftoken"].value}
    body = {"client": str(cast.client.pk), "name": "Works"}
    for _ in range(2):
        assert page.post(SITES, body, content_type="application/json", **KEY, **token).status_code == 201
    assert Site.objects.count() == 1
    assert page.post(SITES, body, content_type="application/json", **KEY).status_code == 403


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


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["sites", "clients", "users"])
def test_a_change_requires_the_etag_if_the_setting_requires_it(
    as_user: Any, cast: Any, site: Any, settings: Any, name: str
) -> None:
    settings.REQUIRE_IF_MATCH = True
    row, change = {
        "sites": (site, {"address": "1 Kiln Lane"}),
        "clients": (cast.client, {"contact": "x"}),
        "users": (cast.office, {"role": "technician"}),
    }[name]
    api, path = as_user("administrator"), f"/api/v1/{name}/{row.pk}/"
    absent = api.patch(path, change, format="json")
    assert (absent.status_code, absent.json()["code"]) == (428, "if-match-needed")
    tag = api.get(path)["ETag"]
    assert api.patch(path, change, format="json", HTTP_IF_MATCH=tag).status_code == 200
    assert api.patch(path, change, format="json", HTTP_IF_MATCH='"old"').status_code == 412


@pytest.mark.django_db
def test_another_body_under_a_key_is_rejected_while_the_first_is_still_running(
    as_user: Any, cast: Any
) -> None:
    office = as_user("office")
    started(office, cast, timedelta(seconds=30))
    other = office.post(SITES, {"client": str(cast.client.pk), "name": "Other"}, format="json", **KEY)
    assert (other.status_code, other.json()["code"]) == (422, "idempotency-key-reused")
    assert not Site.objects.exists()


@pytest.mark.django_db
def test_a_process_that_dies_before_the_response_is_stored_has_not_done_the_write(
    as_user: Any, cast: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    office, body = as_user("office"), {"client": str(cast.client.pk), "name": "Works"}

    def die(*_: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr(idempotency, "keep", die)
        with pytest.raises(KeyboardInterrupt):
            office.post(SITES, body, format="json", **KEY)
    assert not Site.objects.exists()
    # The key is taken as long as the lease lasts, for all that others know.
    assert office.post(SITES, body, format="json", **KEY).json()["code"] == "still-running"
    IdempotencyKey.objects.update(lease_until=timezone.now())
    assert office.post(SITES, body, format="json", **KEY).status_code == 201
    assert Site.objects.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("error", "status", "code"),
    [
        (OperationalError("deadlock detected"), 503, "service-unavailable"),
        (ValueError("a slip"), 500, "server-error"),
    ],
)
def test_a_write_that_failed_by_our_fault_can_be_tried_again_at_once(
    as_user: Any, cast: Any, monkeypatch: pytest.MonkeyPatch, error: Exception, status: int, code: str
) -> None:
    office, body = as_user("office"), {"client": str(cast.client.pk), "name": "Works"}
    office.raise_request_exception = False

    def fail(*_: Any, **__: Any) -> None:
        raise error

    with monkeypatch.context() as broken:
        broken.setattr(places, "record_create", fail)
        answer = office.post(SITES, body, format="json", **KEY)
        assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert office.post(SITES, body, format="json", **KEY).status_code == 201


@pytest.mark.django_db
def test_one_who_took_a_key_over_when_its_lease_was_out_is_not_overtaken_by_the_first(
    as_user: Any, cast: Any
) -> None:
    office = as_user("office")
    body = started(office, cast, timedelta(seconds=-1))
    first = IdempotencyKey.objects.get()
    office.post(SITES, body, format="json", **KEY)
    # The first request was only slow: it finds what the second has done.
    with transaction.atomic(), pytest.raises(idempotency.Replay):
        idempotency.hold(first)


@pytest.mark.django_db
def test_a_report_and_a_check_of_an_instrument_are_done_once_too(
    as_user: Any, site: Any, cast: Any, kit: Any
) -> None:
    survey = make_scene(site, cast, kit).survey()
    reports = f"/api/v1/surveys/{survey.pk}/reports/"
    first, again = (as_user("office").post(reports, {}, format="json", **KEY) for _ in range(2))
    assert (first.status_code, again.status_code, again.content) == (201, 201, first.content)
    checks = f"/api/v1/instruments/{kit.gauge.pk}/intermediate-checks/"
    body = {
        "kind": "step-block", "performed_at": "2026-10-05T08:00:00Z", "resolution": "0.01 mm",
        "limits": {"warning": "0.05 mm", "action": "0.1 mm"},
        "steps": [{"certified": "10 mm", "standard_uncertainty": "1 um", "readings": ["10.02 mm"]}],
    }  # fmt: skip
    first, again = (as_user("calibration_admin").post(checks, body, format="json", **KEY) for _ in range(2))
    assert (first.status_code, again.status_code, again.content) == (201, 201, first.content)


def test_an_answer_without_a_body_is_kept_too(as_user: Any) -> None:
    office = as_user("office")
    made = office.post("/api/v1/calendar-feeds/", {"label": "Due"}, format="json")
    for replayed in (False, True):
        answer = office.delete(made["Location"], HTTP_IDEMPOTENCY_KEY="revoke-1")
        assert (answer.status_code, answer.content, "Content-Type" in answer) == (204, b"", False)
        assert ("Idempotency-Replayed" in answer) == replayed
