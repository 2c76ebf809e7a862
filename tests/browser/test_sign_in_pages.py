"""Signing in for the first time and ever after, in a browser: invitation, password, second factor."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core import mail
from django_otp.plugins.otp_totp.models import TOTPDevice
from playwright.sync_api import Browser, Page, expect

from surveys.models import User
from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.surveys.people.test_sign_in import code_of

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]
PASSWORD, NEW_PASSWORD = "kelp meadow tide", "quiet gravel lantern"


@pytest.fixture
def page(chromium: Browser, live_server: Any) -> Iterator[Page]:
    """A page of nobody yet, in the dark."""
    context = chromium.new_context(base_url=live_server.url, viewport=PHONE, color_scheme="dark")
    context.set_default_timeout(PATIENCE_MS)
    yield context.new_page()
    context.close()


@pytest.fixture
def person(cast: Any) -> User:
    user: User = cast.office
    user.set_password(PASSWORD)
    user.save()
    return user


def sign_in(page: Page, name: str, password: str, code: str = "") -> None:
    page.get_by_label("User name").fill(name)
    page.get_by_label("Password").fill(password)
    page.get_by_label("One-time code").fill(code)
    page.get_by_role("button", name="Sign in").click()


def test_an_invitation_leads_to_a_password_and_the_first_page(
    page: Page, as_user: Any, cast: Any, accessible: Judge
) -> None:
    body = {
        "username": "new-client",
        "email": "new@client.example",
        "role": "client",
        "client": str(cast.client.pk),
    }
    assert as_user("administrator").post("/api/v1/invitations/", body).status_code == 201
    [address] = re.findall(r"/invitations/\S+/", str(mail.outbox[-1].body))
    page.goto(address)
    expect(page.get_by_text(cast.client.name)).to_be_visible()
    accessible(page)
    page.get_by_label("New password").fill(PASSWORD)
    page.get_by_label("Repeat new password").fill("another one of these")
    page.get_by_role("button", name="Set password").click()
    expect(page.get_by_role("alert")).to_be_visible()
    accessible(page)
    page.get_by_label("New password").fill(PASSWORD)
    page.get_by_label("Repeat new password").fill(PASSWORD)
    page.get_by_role("button", name="Set password").click()
    accessible(page)
    sign_in(page, "new-client", PASSWORD)
    expect(page.get_by_role("heading", name="Sites")).to_be_visible()


def test_a_wrong_password_is_reported_and_the_name_is_kept(
    page: Page, person: User, accessible: Judge
) -> None:
    page.goto("/office/review/")
    sign_in(page, person.username, "not the password")
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.get_by_label("User name")).to_have_value(person.username)
    accessible(page)
    sign_in(page, person.username, PASSWORD)
    # On to where they were going.
    expect(page).to_have_url(re.compile("/office/review/$"))


def test_a_password_is_changed_and_everybody_is_signed_out(
    page: Page, person: User, accessible: Judge
) -> None:
    page.goto("/sign-in/?next=/password/")
    sign_in(page, person.username, PASSWORD)
    accessible(page)
    page.get_by_label("Current password").fill(PASSWORD)
    page.get_by_label("New password").fill(NEW_PASSWORD)
    page.get_by_label("Repeat new password").fill(NEW_PASSWORD)
    page.get_by_role("button", name="Change password").click()
    page.goto("/office/jobs/")
    sign_in(page, person.username, NEW_PASSWORD)
    expect(page).to_have_url(re.compile("/office/jobs/$"))


def test_a_second_factor_is_set_up_and_then_required(page: Page, person: User, accessible: Judge) -> None:
    page.goto("/sign-in/?next=/second-factor/")
    sign_in(page, person.username, PASSWORD)
    accessible(page)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Begin setup").click()
    expect(page.get_by_role("img", name="QR code of the key below")).to_be_visible()
    accessible(page)
    page.get_by_label("One-time code").fill(code_of(TOTPDevice.objects.get()))
    page.get_by_role("button", name="Confirm").click()
    recovery = page.locator(".codes li").first.inner_text()
    accessible(page)
    page.context.clear_cookies()
    page.goto("/sign-in/")
    sign_in(page, person.username, PASSWORD)
    expect(page.get_by_role("alert")).to_be_visible()
    sign_in(page, person.username, PASSWORD, recovery)
    expect(page).to_have_url(re.compile("/office/jobs/$"))


def test_too_many_failures_lock_the_name_with_a_duration(page: Page, person: User, accessible: Judge) -> None:
    page.goto("/sign-in/")
    for _ in range(5):
        sign_in(page, person.username, "not the password")
        expect(page.get_by_role("alert")).to_be_visible()
    sign_in(page, person.username, PASSWORD)
    expect(page.get_by_role("alert")).to_contain_text("minutes")
    accessible(page)
