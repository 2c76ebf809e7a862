"""A certificate entered by the calibration admin, in a browser."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from surveys.calibration.due_list import office_today
from surveys.models import Calibration, Document, Instrument
from tests.surveys.fleet.certificates import PDF

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


@pytest.fixture
def form(page: Page, gauge: Instrument) -> Page:
    """The form for the gauge, filled in: found 0.08 mm off, left 0.01 mm off, 0.05 mm permissible."""
    page.goto(f"/fleet/instruments/{gauge.pk}/")
    page.get_by_role("link", name="Enter certificate").click()
    page.get_by_label("Certificate number").fill("HR-2")
    page.get_by_label("Laboratory", exact=True).fill("Harbour Row Calibration")
    yesterday = office_today(timezone.now()) - timedelta(days=1)
    page.get_by_label("Calibrated on").fill(yesterday.isoformat())
    page.get_by_label("Due on").fill((yesterday + timedelta(days=365)).isoformat())
    for moment, indicated in (("As found", "10.08 mm"), ("As left", "10.01 mm")):
        point = page.get_by_role("group", name=f"{moment}, point 1")
        point.get_by_label("Reference").fill("10 mm")
        point.get_by_label("Indicated").fill(indicated)
        point.get_by_label("Expanded uncertainty").fill("0.02 mm")
    page.get_by_label("Maximum permissible error", exact=True).fill("0.05 mm")
    page.get_by_label("Decision rule").select_option("simple-acceptance")
    page.get_by_label("Certificate (PDF)").set_input_files(
        {"name": "hr-2.pdf", "mimeType": "application/pdf", "buffer": PDF}
    )
    return page


def test_the_conformity_is_shown_before_and_after_it_is_recorded(
    form: Page, gauge: Instrument, accessible: Judge
) -> None:
    form.get_by_role("button", name="Check conformity").click()
    preview = form.get_by_role("status")
    expect(preview).to_contain_text("Conformity: pass")
    expect(preview).to_contain_text("As found: fail")
    expect(preview).to_contain_text("conformance probability")
    expect(preview).to_contain_text("opens a review of 0 surveys")
    assert Calibration.objects.filter(instrument=gauge).count() == 1
    accessible(form)
    form.get_by_role("button", name="Record certificate").click()
    expect(form.get_by_role("heading", name="Certificate HR-2")).to_be_visible()
    expect(form.get_by_text("Conformity: pass")).to_be_visible()
    assert Document.objects.get(calibration__certificate="HR-2").file_name == "hr-2.pdf"
    accessible(form)


def test_an_error_is_reported_in_its_field_and_nothing_is_recorded(
    form: Page, gauge: Instrument, accessible: Judge
) -> None:
    point = form.get_by_role("group", name="As found, point 1")
    point.get_by_label("Indicated").fill("10.08")
    point.get_by_label("k", exact=True).fill("two")
    form.get_by_role("button", name="Record certificate").click()
    expect(point).to_contain_text("number without a unit")
    point.get_by_label("k", exact=True).fill("2")
    form.get_by_role("button", name="Record certificate").click()
    expect(point.locator("[aria-invalid]")).to_have_count(1)
    expect(point.get_by_label("Indicated")).to_have_attribute("aria-invalid", "true")
    assert Calibration.objects.filter(instrument=gauge).count() == 1
    accessible(form)


def test_an_added_point_keeps_the_input(form: Page) -> None:
    form.get_by_role("button", name="Add as-left point").click()
    expect(form.get_by_role("group", name="As left, point 2")).to_be_visible()
    expect(form.get_by_label("Certificate number")).to_have_value("HR-2")


def test_after_a_sign_out_the_form_reports_it_and_keeps_the_input(form: Page, accessible: Judge) -> None:
    form.context.clear_cookies(name="sessionid")
    form.get_by_role("button", name="Check conformity").click()
    preview = form.get_by_role("status")
    expect(preview).to_contain_text("You are signed out. Nothing was saved.")
    expect(preview.get_by_role("link", name="Sign in (new tab)")).to_have_attribute("target", "_blank")
    expect(form.get_by_label("Certificate number")).to_have_value("HR-2")
    accessible(form)


def test_without_a_connection_the_form_reports_it_and_keeps_the_input(form: Page) -> None:
    form.context.set_offline(True)
    form.get_by_role("button", name="Check conformity").click()
    expect(form.get_by_role("status")).to_contain_text("No connection. Nothing was saved.")
    expect(form.get_by_label("Certificate number")).to_have_value("HR-2")


def test_a_certificate_entered_wrongly_is_corrected_from_its_instrument(
    form: Page, gauge: Instrument, accessible: Judge
) -> None:
    form.get_by_role("button", name="Record certificate").click()
    expect(form.get_by_role("heading", name="Certificate HR-2")).to_be_visible()
    form.goto(f"/fleet/instruments/{gauge.pk}/")
    form.get_by_role("link", name="Correct certificate HR-2").click()
    # It begins as it was entered.
    point = form.get_by_role("group", name="As found, point 1")
    expect(point.get_by_label("Indicated")).to_have_value("10.08 mm")
    expect(form.get_by_label("Maximum permissible error", exact=True)).to_have_value("0.05 mm")
    point.get_by_label("Indicated").fill("10.008 mm")
    form.get_by_role("button", name="Check conformity").click()
    reason = form.get_by_label("Reason for the correction")
    expect(reason).to_have_attribute("aria-invalid", "true")
    accessible(form)
    reason.fill("A digit was missed.")
    form.get_by_role("button", name="Check conformity").click()
    expect(form.get_by_role("status")).to_contain_text("As found: pass")
    form.get_by_role("button", name="Record correction").click()
    expect(form.get_by_text("This certificate replaces the wrong entry")).to_be_visible()
    accessible(form)
    created = Calibration.objects.get(corrects__isnull=False)
    assert (created.corrects.certificate, created.points.count()) == ("HR-2", 2)  # type: ignore[union-attr]
    form.goto(f"/fleet/instruments/{gauge.pk}/")
    expect(form.get_by_text("wrong entry, replaced by")).to_be_visible()
    accessible(form)


def test_the_form_works_without_a_script(client: Any, gauge: Instrument, cast: Any) -> None:
    client.force_login(cast.calibration_admin)
    address = f"/fleet/instruments/{gauge.pk}/certificate/"
    answer = client.post(address, {"do": "record", "certificate": "HR-3"})
    assert answer.status_code == 400
    assert "Laboratory is required. Enter a value." in answer.content.decode()
    typed = {"certificate": "HR-3", "laboratory": "Harbour Row Calibration", "calibrated_on": "2026-01-05"}
    answer = client.post(address, {"do": "record", "due_on": "2027-01-05", **typed})
    assert answer.status_code == 302
    assert client.get(answer["Location"]).status_code == 200
