"""Tokens: scope, validity and revocation."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone
from rest_framework.test import APIClient

from surveys.api.urls import router
from surveys.models import ApiToken, AuditEntry, Scope, User
from surveys.services.people.tokens import token_make
from tests.surveys.compute.test_compute import SETUP
from tests.surveys.people.routes import address, routes

pytestmark = pytest.mark.django_db

PASSWORD = "a long enough password"
TOKENS = "/api/v1/tokens/"
ROUTES = sorted(set(routes()))
# Addresses that no token opens or closes: signing in itself, and a calendar's own address.
WITHOUT_TOKEN = {"api/v1/sign-in/", "api/v1/calendar-feeds/<str:token>.ics"}
SIGN_OUT_PATH = "api/v1/sign-out/"


def with_token(user: User, scope: str, life: timedelta = timedelta(days=1)) -> APIClient:
    _, secret = token_make(user=user, name="test", scope=scope, life=life)
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Token {secret}")
    return api


def test_the_walk_meets_every_kind_of_record() -> None:
    assert {f"api/v1/{prefix}/" for prefix, _, _ in router.registry} <= set(ROUTES)
    assert len(ROUTES) > 80


def test_a_token_to_read_writes_nowhere(cast: Any) -> None:
    api = with_token(cast.administrator, Scope.READ)
    for route in ROUTES:
        if route in WITHOUT_TOKEN or route == SIGN_OUT_PATH:
            continue
        for method in ("post", "put", "patch", "delete"):
            answer = getattr(api, method)(address(route), {}, format="json")
            assert (answer.status_code, answer.json()["code"]) == (403, "scope-too-narrow"), (method, route)
    assert api.get("/api/v1/clients/").status_code == 200


def test_a_token_to_compute_does_nothing_else(cast: Any) -> None:
    api = with_token(cast.administrator, Scope.COMPUTE)
    for route in ROUTES:
        if route in WITHOUT_TOKEN or route == SIGN_OUT_PATH or route.startswith("api/v1/compute/"):
            continue
        assert api.get(address(route)).status_code == 403, route
    assert api.get("/api/v1/compute/methods/").status_code == 200
    spacing = {name: SETUP[name] for name in SETUP if name != "readings"}
    assert api.post("/api/v1/compute/spacing/", spacing, format="json").status_code == 200


def test_a_field_token_has_the_permissions_of_technicians_only(cast: Any) -> None:
    api = with_token(cast.office, Scope.FIELD)
    # Past the permission, an empty body is refused for what it lacks.
    assert api.post("/api/v1/surveys/", {}, format="json").status_code == 400
    assert api.get("/api/v1/jobs/").status_code == 200
    assert api.post("/api/v1/jobs/", {}, format="json").status_code == 403
    assert api.post("/api/v1/invitations/", {}, format="json").status_code == 403
    assert api.post("/api/v1/password/", {}, format="json").status_code == 403


@pytest.mark.parametrize("scope", Scope.values)
def test_a_token_of_any_scope_may_end_itself(cast: Any, scope: str) -> None:
    api = with_token(cast.office, scope)
    assert api.post("/api/v1/sign-out/").status_code == 204
    assert api.get("/api/v1/compute/methods/").status_code == 401


def test_a_role_still_holds_under_a_token_that_may_write(cast: Any) -> None:
    api = with_token(cast.owner, Scope.WRITE)
    assert api.post("/api/v1/sites/", {}, format="json").status_code == 403


def test_a_token_ends_on_its_day(cast: Any) -> None:
    api = with_token(cast.office, Scope.READ)
    assert api.get("/api/v1/me/").status_code == 200
    ApiToken.objects.update(expiry=timezone.now() - timedelta(seconds=1))
    assert api.get("/api/v1/me/").status_code == 401


def test_the_last_use_is_noted_once_a_minute(cast: Any, django_assert_num_queries: Any) -> None:
    api = with_token(cast.office, Scope.READ)
    api.get("/api/v1/me/")
    first = ApiToken.objects.get().last_used_at
    assert first is not None
    with django_assert_num_queries(1):
        api.get("/api/v1/me/")
    assert ApiToken.objects.get().last_used_at == first
    ApiToken.objects.update(last_used_at=first - timedelta(seconds=61))
    api.get("/api/v1/me/")
    assert ApiToken.objects.get().last_used_at >= first


def test_a_token_is_shown_once_and_stored_as_a_digest(cast: Any) -> None:
    browser = Browser()
    browser.force_login(cast.office)
    created = browser.post(
        TOKENS, {"name": "sheet", "scope": "read", "days": 5}, content_type="application/json"
    )
    assert created.status_code == 201, created.content
    assert created["Cache-Control"] == "no-store"
    secret = created.json()["token"]
    [kept] = ApiToken.objects.values()
    assert secret not in {str(value) for value in kept.values()}
    assert (kept["name"], kept["scope"]) == ("sheet", "read")
    assert timedelta(days=4) < kept["expiry"] - timezone.now() < timedelta(days=5, minutes=1)
    [listed] = browser.get(TOKENS).json()["results"]
    assert not {"token", "digest", "token_key"} & listed.keys()
    assert secret not in str(list(AuditEntry.objects.values()))


def test_a_session_makes_a_token_only_with_its_csrf_token(cast: Any) -> None:
    browser = Browser(enforce_csrf_checks=True)
    browser.force_login(cast.office)
    created = browser.post(TOKENS, {"name": "sheet", "scope": "read"}, content_type="application/json")
    assert created.status_code == 403
    assert not ApiToken.objects.exists()


def test_a_token_alone_makes_no_other_but_with_the_password(cast: Any) -> None:
    api = with_token(cast.office, Scope.WRITE)
    wish = {"name": "sheet", "scope": "read"}
    alone = api.post(TOKENS, wish, format="json")
    assert (alone.status_code, alone.json()["errors"][0]["field"]) == (400, "password")
    wrong = api.post(TOKENS, wish | {"password": "not mine at all"}, format="json")
    assert (wrong.status_code, wrong.json()["code"]) == (400, "password-wrong")
    assert api.post(TOKENS, wish | {"password": PASSWORD}, format="json").status_code == 201


def test_a_revoked_token_is_rejected_and_stays_in_the_list(cast: Any, as_user: Any) -> None:
    api = with_token(cast.office, Scope.READ)
    token = ApiToken.objects.get()
    assert as_user("office").delete(f"{TOKENS}{token.pk}/").status_code == 204
    assert api.get("/api/v1/me/").status_code == 401
    [listed] = as_user("office").get(TOKENS).json()["results"]
    assert listed["revoked_at"] is not None


@pytest.mark.parametrize("who", ["owner", "colleague", "stranger", "technician", "calibration_admin"])
def test_tokens_of_others_are_not_there_but_for_an_administrator(cast: Any, as_user: Any, who: str) -> None:
    with_token(cast.office, Scope.READ)
    path = f"{TOKENS}{ApiToken.objects.get().pk}/"
    assert as_user(who).get(path).status_code == 404
    assert as_user(who).delete(path).status_code == 404
    assert as_user(who).get(TOKENS, {"user": str(cast.office.pk)}).json()["results"] == []
    administrator = as_user("administrator")
    assert administrator.get(TOKENS).json()["results"] == []
    assert len(administrator.get(TOKENS, {"user": str(cast.office.pk)}).json()["results"]) == 1
    assert administrator.delete(path).status_code == 204


def test_a_service_account_has_tokens_and_no_password(cast: Any, as_user: Any) -> None:
    administrator = as_user("administrator")
    body = {"username": "scada", "role": "client", "client": str(cast.client.pk)}
    account = administrator.post("/api/v1/users/", body, format="json").json()
    assert account["is_service_account"] is True
    wish = {"name": "scada", "scope": "read", "user": account["id"]}
    assert as_user("office").post(TOKENS, wish, format="json").status_code == 403
    secret = administrator.post(TOKENS, wish, format="json").json()["token"]
    api = APIClient()
    assert api.get("/api/v1/me/", HTTP_AUTHORIZATION=f"Token {secret}").json()["username"] == "scada"
    # Not even a password put there by hand lets it in.
    user = User.objects.get(username="scada")
    user.set_password(PASSWORD)
    user.save()
    tried = api.post("/api/v1/sign-in/", {"username": "scada", "password": PASSWORD}, format="json")
    assert tried.status_code == 401


def test_no_token_is_made_for_another_person(cast: Any, as_user: Any) -> None:
    wish = {"name": "x", "scope": "read", "user": str(cast.office.pk)}
    answer = as_user("administrator").post(TOKENS, wish, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, "user")
