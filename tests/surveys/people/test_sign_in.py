"""Signing in: the lock after failures, the second factor, passwords."""

from __future__ import annotations

import re
import time
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.contrib.auth.hashers import MD5PasswordHasher
from django.test import Client as Browser
from django.utils import timezone
from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice
from rest_framework.test import APIClient

from surveys.models import AuditEntry, RecoveryCode, Scope, User
from surveys.services.people.tokens import token_make

pytestmark = pytest.mark.django_db

PASSWORD = "a long enough password"
NEW = "quite another passphrase"
SIGN_IN = "/api/v1/sign-in/"
FACTOR = "/api/v1/second-factor/"


def sign_in(name: str, password: str = PASSWORD, code: str = "", address: str = "192.0.2.1") -> Any:
    body = {"username": name, "password": password, "one_time_code": code}
    return APIClient().post(SIGN_IN, body, format="json", REMOTE_ADDR=address)


def actions() -> list[str]:
    return list(AuditEntry.objects.order_by("at", "id").values_list("action", flat=True))


@pytest.mark.parametrize("name", ["office", "nobody-of-that-name"])
def test_a_name_is_locked_after_five_failures_whether_or_not_it_exists(cast: Any, name: str) -> None:
    assert [sign_in(name, "wrong").status_code for _ in range(4)] == [401] * 4
    locked = sign_in(name, "wrong")
    assert (locked.status_code, locked["Content-Type"]) == (429, "application/problem+json")
    assert locked.json()["code"] == "sign-in-locked"
    assert 0 < int(locked["Retry-After"]) <= 15 * 60 + 1
    # Not even the right password tells that it is right.
    assert sign_in(name).status_code == 429


def test_the_lock_is_for_that_name_and_address_and_ends(cast: Any) -> None:
    for _ in range(5):
        sign_in("office", "wrong")
    assert sign_in("technician").status_code == 200
    assert sign_in("office", address="192.0.2.2").status_code == 200
    AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(minutes=16))
    assert sign_in("office").status_code == 200


def test_an_attempt_while_locked_does_not_prolong_the_lock(cast: Any) -> None:
    for _ in range(5):
        sign_in("office", "wrong")
    AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(minutes=10))
    assert int(sign_in("office", "wrong")["Retry-After"]) <= 5 * 60 + 1


def test_signing_in_makes_earlier_failures_forgotten(cast: Any) -> None:
    for _ in range(3):
        for _ in range(4):
            sign_in("office", "wrong")
        assert sign_in("office").status_code == 200


def test_the_page_reports_a_locked_name(cast: Any) -> None:
    browser = Browser()
    for _ in range(5):
        page = browser.post("/sign-in/", {"username": "office", "password": "wrong"})
    assert page.status_code == 429
    assert "Try again in 15 minutes." in page.content.decode()
    assert "Retry-After" in page


def test_behind_a_proxy_the_address_is_the_one_added_by_the_proxy(cast: Any, settings: Any) -> None:
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    body = {"username": "office", "password": "wrong"}
    for number in range(5):
        answer = APIClient().post(
            SIGN_IN, body, format="json", HTTP_X_FORWARDED_FOR=f"203.0.113.{number}, 198.51.100.7"
        )
    assert answer.status_code == 429
    assert AccessAttempt.objects.get().ip_address == "198.51.100.7"


@pytest.mark.parametrize("name", ["office", "nobody-of-that-name", "gone", "machine"])
def test_every_failure_hashes_one_password_so_that_the_time_reveals_nothing(
    cast: Any, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    User.objects.create_user("gone", password=PASSWORD, role="office", is_active=False)
    User.objects.create_user("machine", role="office", is_service_account=True)
    hashed: list[str] = []
    encode = MD5PasswordHasher.encode

    def counted(self: MD5PasswordHasher, password: str, salt: str) -> str:
        hashed.append(password)
        return encode(self, password, salt)

    monkeypatch.setattr(MD5PasswordHasher, "encode", counted)
    assert sign_in(name, "wrong").status_code == 401
    assert len(hashed) == 1


def test_sign_ins_and_failures_are_in_the_audit_log_without_the_input(cast: Any) -> None:
    sign_in("office", "my-secret-typo")
    sign_in("typed-by-mistake", "x")
    sign_in("office")
    entries = list(AuditEntry.objects.order_by("at", "id").values())
    assert [(e["action"], e["record"]) for e in entries[:3]] == [
        ("sign-in-failed", cast.office.pk),
        ("sign-in-failed", None),
        ("signed-in", cast.office.pk),
    ]
    assert "typo" not in str(entries)
    assert "typed-by-mistake" not in str(entries)
    assert "192.0.2.1" not in str(entries)


def test_a_lock_is_in_the_audit_log_once(cast: Any) -> None:
    for _ in range(9):
        sign_in("office", "wrong")
    assert actions() == ["sign-in-failed"] * 4 + ["locked-out"]


def code_of(device: TOTPDevice, later: int = 0) -> str:
    """The code an authenticator would show, some steps from now (RFC 6238)."""
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits)
    totp.time = time.time() + later * device.step
    return f"{totp.token():06}"


@pytest.fixture
def enrolled(cast: Any, as_user: Any, settings: Any) -> list[str]:
    """The office has a second factor; its recovery codes."""
    settings.OTP_TOTP_THROTTLE_FACTOR = 0
    api = as_user("office")
    begun = api.post(FACTOR, {"password": PASSWORD}, format="json")
    assert begun.status_code == 201
    code = code_of(TOTPDevice.objects.get(), -1)
    done = api.post(f"{FACTOR}confirmations/", {"one_time_code": code}, format="json")
    assert done.status_code == 201, done.content
    return list(done.json()["recovery_codes"])


def test_a_second_factor_is_enrolled_with_a_qr_code_that_holds_its_address(cast: Any, as_user: Any) -> None:
    api = as_user("office")
    assert api.post(FACTOR, {"password": "wrong password"}, format="json").status_code == 400
    begun = api.post(FACTOR, {"password": PASSWORD}, format="json").json()
    assert begun["address"].startswith("otpauth://totp/Flow%20Surveys%3Aoffice?secret=" + begun["secret"])
    assert begun["qr_svg"].startswith("<svg")
    assert "<script" not in begun["qr_svg"]
    # Not in force before it is confirmed.
    assert sign_in("office").status_code == 200
    assert api.get(FACTOR).json() == {
        "confirmed": False,
        "enrolment_required": False,
        "recovery_codes_left": 0,
    }


def test_signing_in_then_takes_a_code_that_serves_once(enrolled: list[str]) -> None:
    without = sign_in("office")
    assert (without.status_code, without.json()["code"]) == (401, "one-time-code-needed")
    wrong = sign_in("office", code="000000")
    assert (wrong.status_code, wrong.json()["code"]) == (401, "one-time-code-wrong")
    code = code_of(TOTPDevice.objects.get())
    assert sign_in("office", code=code).status_code == 200
    assert sign_in("office", code=code).status_code == 401


def test_codes_are_those_of_the_published_method(cast: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    # RFC 6238, appendix B: at 59 s the key 12345678901234567890 gives 94287082, of which six digits are the last six.
    key = b"12345678901234567890".hex()
    TOTPDevice.objects.create(user=cast.office, name="x", key=key, confirmed=True)
    monkeypatch.setattr("django_otp.plugins.otp_totp.models.time", SimpleNamespace(time=lambda: 59.0))
    assert sign_in("office", code="287082").status_code == 200


def test_wrong_codes_lock_as_wrong_passwords_do(enrolled: list[str]) -> None:
    assert [sign_in("office", code="000000").status_code for _ in range(5)][-1] == 429


def test_a_recovery_code_is_stored_as_a_digest_and_works_once(enrolled: list[str], as_user: Any) -> None:
    assert len(set(enrolled)) == 10
    assert not set(enrolled) & set(RecoveryCode.objects.values_list("code_sha256", flat=True))
    assert sign_in("office", code=enrolled[0].upper()).status_code == 200
    assert sign_in("office", code=enrolled[0]).status_code == 401
    assert as_user("office").get(FACTOR).json()["recovery_codes_left"] == 9


def test_the_page_requires_the_code_too(enrolled: list[str]) -> None:
    browser, form = Browser(), {"username": "office", "password": PASSWORD}
    assert "one-time code" in browser.post("/sign-in/", form).content.decode()
    assert browser.get("/api/v1/me/").status_code == 401
    assert browser.post("/sign-in/", form | {"one_time_code": enrolled[1]}).status_code == 302
    assert browser.get("/api/v1/me/").json()["username"] == "office"


def test_the_admin_has_no_separate_sign_in_without_the_code(client: Any, cast: Any) -> None:
    answer = client.post("/admin/login/?next=/admin/", {"username": "administrator", "password": PASSWORD})
    assert (answer.status_code, answer["Location"]) == (302, "/sign-in/?next=/admin/")


def test_a_second_factor_is_removed_with_the_password_or_by_an_administrator(
    enrolled: list[str], as_user: Any, cast: Any
) -> None:
    path = f"/api/v1/users/{cast.office.pk}/second-factor/"
    assert as_user("technician").delete(path).status_code == 403
    assert as_user("office").delete(FACTOR, {"password": "wrong one"}, format="json").status_code == 400
    assert as_user("administrator").delete(path).status_code == 204
    assert sign_in("office").status_code == 200
    assert actions().count("second-factor-changed") == 2


def test_where_it_is_required_nothing_else_is_open_until_it_is_enrolled(
    cast: Any, as_user: Any, settings: Any, client: Any
) -> None:
    settings.SECOND_FACTOR_REQUIRED = True
    office = as_user("office")
    rejected = office.get("/api/v1/clients/")
    assert (rejected.status_code, rejected.json()["code"]) == (403, "second-factor-needed")
    assert office.get(FACTOR).json()["enrolment_required"] is True
    assert as_user("owner").get("/api/v1/clients/").status_code == 200
    cast.administrator.is_staff = cast.administrator.is_superuser = True
    cast.administrator.save()
    client.force_login(cast.administrator)
    assert client.get("/admin/").status_code == 302
    for name in ("office", "administrator"):
        TOTPDevice.objects.create(user=getattr(cast, name), name="x", confirmed=True)
    assert office.get("/api/v1/clients/").status_code == 200
    assert client.get("/admin/").status_code == 200


def change(api: Any, new: str, current: str = PASSWORD) -> Any:
    return api.post("/api/v1/password/", {"current_password": current, "new_password": new}, format="json")


@pytest.mark.parametrize("weak", ["short", "123456789012345", "calibration-admin2"])
def test_a_weak_password_is_rejected_with_the_reason(as_user: Any, weak: str) -> None:
    answer = change(as_user("calibration_admin"), weak)
    assert (answer.status_code, answer.json()["code"]) == (400, "password-weak")
    assert answer.json()["errors"][0]["field"] == "new_password"


def test_a_new_password_ends_every_token_and_session(cast: Any) -> None:
    _, secret = token_make(user=cast.office, name="x", scope=Scope.WRITE, life=timedelta(days=1))
    api, browser = APIClient(), Browser()
    api.credentials(HTTP_AUTHORIZATION=f"Token {secret}")
    browser.force_login(cast.office)
    assert browser.get("/api/v1/me/").status_code == 200
    assert change(api, NEW, "not my password").status_code == 400
    assert change(api, NEW).status_code == 204
    assert api.get("/api/v1/me/").status_code == 401
    assert browser.get("/api/v1/me/").status_code == 401
    assert sign_in("office", NEW).status_code == 200
    assert "password-changed" in actions()


def test_the_password_page_changes_it_with_a_csrf_token(cast: Any) -> None:
    browser = Browser(enforce_csrf_checks=True)
    assert browser.get("/password/").status_code == 302
    browser.force_login(cast.office)
    page = browser.get("/password/").content.decode()
    token = page.partition('name="csrfmiddlewaretoken" value="')[2].partition('"')[0]
    form = {"current_password": PASSWORD, "new_password": NEW, "again": NEW}
    assert browser.post("/password/", form).status_code == 403
    differing = browser.post("/password/", form | {"again": "x", "csrfmiddlewaretoken": token})
    assert "not the same" in differing.content.decode()
    done = browser.post("/password/", form | {"csrfmiddlewaretoken": token})
    assert (done.status_code, done["Location"]) == (302, "/sign-in/")
    assert sign_in("office", NEW).status_code == 200


def test_the_page_enrols_a_second_factor_and_shows_the_recovery_codes_once(cast: Any, settings: Any) -> None:
    settings.OTP_TOTP_THROTTLE_FACTOR, settings.SECOND_FACTOR_REQUIRED = 0, True
    browser, path = Browser(), "/second-factor/"
    # Whoever has yet to enrol is led here.
    assert browser.post("/sign-in/", {"username": "office", "password": PASSWORD})["Location"] == path
    wrong = browser.post(path, {"password": "wrong"})
    assert (wrong.status_code, "The password is wrong." in wrong.content.decode()) == (400, True)
    begun = browser.post(path, {"password": PASSWORD}).content.decode()
    assert begun.count("<svg") == 1
    assert "style=" not in begun
    again = browser.post(path, {"one_time_code": "000000"})
    assert (again.status_code, again.content.decode().count("<svg")) == (400, 1)
    done = browser.post(path, {"one_time_code": code_of(TOTPDevice.objects.get())}).content.decode()
    assert done.count("<li>") == 10
    assert "<li>" not in browser.get(path).content.decode()
    assert browser.get("/api/v1/clients/").status_code == 200


def test_the_pages_need_no_script_and_no_style_of_their_own(cast: Any, client: Any) -> None:
    client.force_login(cast.office)
    for page in ("/sign-in/", "/password/", "/second-factor/"):
        html = client.get(page).content.decode()
        assert "<form" in html
        assert not re.search(r"<script|<style|style=", html)
