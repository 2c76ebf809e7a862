"""An interval proposed and decided by the calibration admin, in a browser."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from surveys.models import Instrument, IntervalReview
from tests.surveys.fleet.test_interval_reviews import found

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


@pytest.fixture
def drifting(cast: Any, kit: Any) -> Instrument:
    """The kit's gauge, found 0.01 mm further off each year."""
    for n in range(1, 5):
        found(cast, kit.gauge, date(2021 + n, 10, 1), n * 1e-5)
    gauge: Instrument = kit.gauge
    return gauge


def test_a_proposal_shows_its_reasoning_and_is_accepted_with_a_reason(
    page: Page, drifting: Instrument, accessible: Judge
) -> None:
    page.goto(f"/fleet/instruments/{drifting.pk}/")
    page.get_by_role("link", name="Calibration interval").click()
    page.get_by_label("Method").select_option("control-chart")
    accessible(page)
    page.get_by_role("button", name="Propose interval").click()
    expect(page.locator("figure svg")).to_be_visible()
    accessible(page)
    page.get_by_role("button", name="Accept interval").click()
    expect(page.get_by_role("alert")).to_contain_text("The decision was not saved")
    expect(page.get_by_label("Reason")).to_have_attribute("aria-invalid", "true")
    accessible(page)
    page.get_by_label("Reason").fill("The drift is slow.")
    page.get_by_role("button", name="Accept interval").click()
    expect(page.get_by_text("The drift is slow.")).to_be_visible()
    assert IntervalReview.objects.get().interval_policy


def test_a_history_that_is_too_short_is_reported_at_the_method(page: Page, gauge: Instrument) -> None:
    page.goto(f"/fleet/instruments/{gauge.pk}/intervals/")
    page.get_by_role("button", name="Propose interval").click()
    expect(page.locator("#method-wrong")).to_be_visible()
    assert not IntervalReview.objects.exists()
