"""What is around every page, on a phone and on a wide screen."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


@pytest.fixture
def page(page_of: Callable[..., Page], cast: Any) -> Page:
    """The phone of the one who has the most pages."""
    return page_of(cast.administrator)


def test_on_a_phone_the_pages_are_one_key_away_and_leave_the_screen_to_the_content(
    page: Page, accessible: Judge
) -> None:
    page.goto("/office/review/")
    menu = page.get_by_role("button", name="Menu · Survey review")
    pages = page.get_by_role("navigation", name="Pages")
    expect(pages).to_have_count(0)
    header = page.locator("header").bounding_box()
    assert header
    assert header["height"] <= 64
    accessible(page)
    menu.focus()
    page.keyboard.press("Enter")
    expect(pages.get_by_role("link", name="Survey review")).to_have_attribute("aria-current", "page")
    accessible(page)
    page.keyboard.press("Escape")
    expect(pages).to_have_count(0)
    expect(menu).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(pages.get_by_role("link").first).to_be_focused()
    pages.get_by_role("link", name="Due dates").click()
    expect(page.get_by_role("button", name="Menu · Due dates")).to_be_visible()


def test_on_a_wide_screen_they_are_in_the_header(page: Page) -> None:
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto("/office/review/")
    expect(page.get_by_role("button", name="Menu")).to_have_count(0)
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Sites").click()
    expect(page.get_by_role("heading", name="Sites")).to_be_visible()


@pytest.mark.parametrize("address", ["/office/jobs/", "/sign-in/"])
def test_a_page_has_an_icon_and_requests_no_missing_file(page: Page, address: str) -> None:
    if address == "/sign-in/":
        page.context.clear_cookies()
    missed: list[str] = []
    page.on("response", lambda answer: missed.append(answer.url) if answer.status >= 400 else None)
    page.goto(address)
    icon = page.locator('link[rel="icon"]').get_attribute("href")
    assert icon
    assert page.request.get(icon).headers["content-type"] == "image/svg+xml"
    page.wait_for_load_state("networkidle")
    assert not missed


def test_an_unknown_address_is_a_page_for_people(page: Page, accessible: Judge) -> None:
    answer = page.goto("/sites/00000000-0000-7000-8000-000000000000/")
    assert answer
    assert answer.status == 404
    expect(page.get_by_role("alert")).to_contain_text("nothing at this address, or nothing you may see")
    accessible(page)
    page.get_by_role("link", name="Go to the start page").click()
    expect(page).to_have_url(re.compile("/(sites|office/jobs)/$"))
