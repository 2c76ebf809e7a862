"""The API's description and the administrators' pages, made by libraries, under the strict policy of every answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]


def test_the_description_of_the_api_is_there_to_read_and_loads_nothing_from_elsewhere(
    page_of: Callable[..., Page], cast: Any, live_server: Any
) -> None:
    page, requested = page_of(cast.office), []
    page.on("request", lambda request: requested.append(request.url))
    page.goto("/api/docs/")
    expect(page.locator(".opblock").first).to_be_visible()
    assert all(url.startswith((live_server.url, "data:")) for url in requested)


def test_an_administrator_finds_a_record_in_the_stock_pages(
    page_of: Callable[..., Page], cast: Any, site: Any
) -> None:
    cast.administrator.is_staff = cast.administrator.is_superuser = True
    cast.administrator.save()
    page = page_of(cast.administrator)
    page.goto("/admin/surveys/site/")
    page.get_by_role("link", name=site.name).click()
    expect(page.get_by_role("heading", name=site.name)).to_be_visible()
