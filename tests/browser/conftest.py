"""A real Chromium, one for each process of a run; people signed in on a phone; axe as the judge of a page."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client as Visitor
from playwright.sync_api import Browser, Page, expect, sync_playwright

# Playwright runs an event loop of its own in the thread of the test; Django would refuse the database there.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
# What is waited for comes sooner; a machine at work on much else may take its time.
PATIENCE_MS = 20_000
expect.set_options(timeout=PATIENCE_MS)
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def page_of(chromium: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """A page of somebody signed in; none may have an error of a script or try what its policy forbids."""
    contexts, wrong = [], []

    def opened(user: Any) -> Page:
        visitor = Visitor()
        visitor.force_login(user, backend="surveys.services.people.sign_in.PeopleBackend")
        context = chromium.new_context(base_url=live_server.url, viewport=PHONE)
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        session = visitor.cookies["sessionid"].value
        context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on(
            "console",
            lambda message: wrong.append(message.text) if "Security Policy" in message.text else None,
        )
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not wrong


@pytest.fixture
def accessible() -> Callable[[Page], None]:
    """Asserts that axe has no serious or critical finding on a page, and that it need not be moved sideways to be read."""

    def judge(page: Page) -> None:
        found = Axe().run(page).response["violations"]
        significant = [
            (one["id"], one["nodes"][0]["html"]) for one in found if one["impact"] in {"serious", "critical"}
        ]
        assert not significant
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")

    return judge
