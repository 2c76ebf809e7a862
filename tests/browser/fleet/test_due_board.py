"""Board of due calibrations, in a browser."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from surveys.models import Booking, Instrument

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


def test_the_calibration_admin_starts_at_the_due_list(
    page: Page, kit: Any, booked: Booking, accessible: Judge
) -> None:
    page.goto("/")
    overdue = page.get_by_role("region", name="Overdue (1)")
    expect(overdue).to_contain_text("5 days overdue")
    expect(overdue).to_contain_text("Van 2")
    expect(overdue).to_contain_text("held by technician")
    expect(overdue).to_contain_text("Return line survey")
    expect(page.get_by_role("link", name="Label of thickness gauge G-9 (PDF)")).to_be_visible()
    accessible(page)


def test_the_board_is_narrowed_to_a_kind(page: Page, kit: Any, gauge: Instrument) -> None:
    page.goto("/fleet/due/")
    page.get_by_role("link", name="Meters", exact=True).click()
    expect(page.get_by_role("rowheader")).to_have_count(1)
    expect(page.get_by_role("rowheader")).to_contain_text(kit.meter.serial)


def test_an_instrument_shows_its_certificates(page: Page, gauge: Instrument, accessible: Judge) -> None:
    page.goto("/fleet/due/")
    page.get_by_role("link", name="Thickness gauge G-9", exact=True).click()
    expect(page.get_by_role("rowheader")).to_contain_text("HR-1")
    accessible(page)
