"""Affected results decided by the calibration administrator, in a browser."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from surveys.models import Notice, OutOfToleranceReview
from surveys.results.recalculation import recomputation_run
from tests.surveys.fleet.test_out_of_tolerance_reviews import BAD, GOOD, certify
from tests.surveys.scene import make_scene

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


@pytest.fixture
def review(site: Any, cast: Any, kit: Any) -> OutOfToleranceReview:
    """Return a survey with a meter found 3 % high afterwards; its corrected flow is not calculated yet."""
    scene = make_scene(site, cast, kit)
    certify(scene, date(2026, 9, 1), GOOD)
    scene.survey()
    certify(scene, date(2026, 11, 1), BAD, GOOD)
    return OutOfToleranceReview.objects.get()


def test_an_affected_result_is_shown_with_its_corrected_flow_and_withdrawn_with_a_reason(
    page: Page, review: OutOfToleranceReview, accessible: Judge
) -> None:
    assert review.recomputation
    recomputation_run(review.recomputation.pk)
    page.goto("/fleet/due/")
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("link", name="Out of tolerance").click()
    expect(page.get_by_text("1 of 1 survey to decide")).to_be_visible()
    accessible(page)
    page.locator(".cards").get_by_role("link").click()
    expect(page.get_by_text("(\N{MINUS SIGN}2.9\N{NO-BREAK SPACE}%)")).to_be_visible()
    accessible(page)
    page.get_by_label("Decision").select_option("withdrawn")
    page.get_by_role("button", name="Save decision").click()
    expect(page.get_by_label("Reason")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Decision")).to_have_value("withdrawn")
    accessible(page)
    page.get_by_label("Reason").fill("The meter cannot be trusted here.")
    page.get_by_role("button", name="Save decision").click()
    expect(page.get_by_text("The meter cannot be trusted here.")).to_be_visible()
    assert Notice.objects.get().reason == "The meter cannot be trusted here."


def test_no_result_is_corrected_before_its_corrected_flow_is_calculated(
    page: Page, review: OutOfToleranceReview
) -> None:
    page.goto(f"/fleet/out-of-tolerance-reviews/{review.pk}/")
    expect(page.get_by_text("not calculated yet")).to_be_visible()
    page.get_by_label("Decision").select_option("corrected")
    page.get_by_label("Reason").fill("Corrected by the points found.")
    page.get_by_role("button", name="Save decision").click()
    expect(page.get_by_role("alert")).to_contain_text(
        "is not calculated yet. Wait until the recalculation is finished"
    )
    assert review.surveys.get().state == "under-review"
