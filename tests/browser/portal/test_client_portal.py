"""What a client does in the portal, in a browser."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client as Visitor
from playwright.sync_api import Page, expect

from surveys.documents.formatting import finding_texts
from surveys.models import Notice, Site
from surveys.results.recalculation import recomputation_run
from tests.surveys.scene import STARTED, Scene, make_scene

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


@pytest.fixture
def surveyed(site: Any, cast: Any, kit: Any) -> Scene:
    """A point surveyed twice, then its wall corrected, so that both results changed."""
    records = make_scene(site, cast, kit)
    records.survey()
    records.survey(STARTED + timedelta(days=30))
    recomputation_run(records.correct(0.009, reason="Gauged: 9.0 mm.").pk)
    return records


@pytest.fixture
def page(page_of: Any, cast: Any) -> Page:
    opened: Page = page_of(cast.owner)
    return opened


def test_home_leads_from_sites_to_a_point_and_its_history(
    page: Page, surveyed: Scene, accessible: Judge
) -> None:
    page.goto("/")
    expect(page.get_by_role("heading", name="Sites")).to_be_visible()
    accessible(page)
    page.get_by_role("link", name=surveyed.pipe.site.name).click()
    accessible(page)
    page.get_by_role("link", name="After the bend").click()
    expect(page.get_by_role("img", name="Volume flow of 2 surveys")).to_be_visible()
    expect(page.get_by_text("the same as at the previous survey")).to_be_visible()
    accessible(page)


def test_units_are_chosen_once_for_all_pages(page: Page, surveyed: Scene) -> None:
    page.goto(f"/points/{surveyed.point.pk}/")
    expect(page.get_by_role("table")).to_contain_text("m³/h")
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("button", name="Show US units").click()
    expect(page.get_by_role("table")).not_to_contain_text("m³/h")
    page.get_by_role("row").nth(1).get_by_role("link").click()
    expect(page.locator(".figure")).not_to_contain_text("m³/h")


def test_a_survey_shows_its_uncertainty_and_its_instruments(
    page: Page, surveyed: Scene, accessible: Judge
) -> None:
    page.goto(f"/points/{surveyed.point.pk}/")
    page.get_by_role("row").nth(1).get_by_role("link").click()
    expect(page.locator(".figure")).to_contain_text("±")
    result = surveyed.point.surveys.latest("started_at").results.latest("computed_at")
    [finding, *_] = finding_texts(result.findings, "metric")
    expect(page.locator(".findings li").first).to_contain_text(finding["body"])
    expect(page.get_by_role("heading", name="Instruments and certificates")).to_be_visible()
    with page.expect_download() as readings:
        page.get_by_role("link", name="All readings (CSV)").click()
    assert len(Path(readings.value.path()).read_text().splitlines()) == 81
    accessible(page)


def test_readings_are_looked_at_closer_by_link_form_and_drag(
    page: Page, surveyed: Scene, accessible: Judge
) -> None:
    survey = surveyed.point.surveys.latest("started_at")
    page.goto(f"/surveys/{survey.pk}/")
    status = page.locator("#readings [role=status]")
    expect(status).to_contain_text("80 of 80 readings")
    page.get_by_role("link", name="Zoom in").click()
    expect(status).to_contain_text("40 of 80 readings")
    assert "from=" in page.url
    page.get_by_role("link", name="Later").click()
    expect(page.get_by_role("link", name="Later")).to_have_count(0)
    page.go_back()
    expect(status).to_contain_text("40 of 80 readings")
    page.get_by_role("link", name="Whole log").click()
    expect(status).to_contain_text("80 of 80 readings")
    box = page.locator("#readings svg").bounding_box()
    assert box
    page.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 60, steps=4)
    page.mouse.up()
    expect(status).not_to_contain_text("80 of 80 readings")
    page.get_by_label("From", exact=True).fill("2031-01-01T00:00:00")
    page.get_by_label("To", exact=True).fill("2031-01-02T00:00:00")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page.get_by_text("No readings in this time range.")).to_be_visible()
    accessible(page)


def test_an_impossible_time_range_is_reported_beside_the_complete_log(page: Page, surveyed: Scene) -> None:
    survey = surveyed.point.surveys.latest("started_at")
    answer = page.goto(f"/surveys/{survey.pk}/?from=yesterday")
    assert answer
    assert answer.status == 400
    expect(page.get_by_role("alert")).to_contain_text("Enter a time such as")
    expect(page.locator("#readings [role=status]")).to_contain_text("80 of 80 readings")


def test_the_history_is_had_as_a_table_for_a_spreadsheet(page: Page, surveyed: Scene) -> None:
    page.goto(f"/points/{surveyed.point.pk}/")
    with page.expect_download() as table:
        page.get_by_role("link", name="Complete history (CSV)").click()
    head, *rows = Path(table.value.path()).read_text().splitlines()
    assert head.split(",")[2] == "volume_flow [m3/h]"
    assert len(rows) == 2
    flow = surveyed.point.surveys.earliest("started_at").results.get(replaced_at__isnull=True)
    assert float(rows[0].split(",")[2]) == pytest.approx(flow.volume_flow_m3_s * 3600)


def test_sites_with_coordinates_have_a_plan_whose_spots_lead_to_them(
    page: Page, surveyed: Scene, accessible: Judge
) -> None:
    client = surveyed.pipe.site.client
    Site.objects.filter(pk=surveyed.pipe.site_id).update(latitude_deg=56.0, longitude_deg=10.0)
    Site.objects.create(client=client, name="Works <b>two</b>", latitude_deg=56.2, longitude_deg=10.1)
    Site.objects.create(client=client, name="No coordinates")
    page.goto("/sites/")
    plan = page.get_by_label("Map of the sites")
    expect(plan.get_by_role("link")).to_have_count(2)
    accessible(page)
    plan.get_by_role("link", name="Works <b>two</b>").click()
    expect(page.get_by_role("heading", name="Works <b>two</b>")).to_be_visible()


def test_many_sites_come_in_pages_and_are_sought(page: Page, surveyed: Scene) -> None:
    client = surveyed.pipe.site.client
    Site.objects.bulk_create(Site(client=client, name=f"Works {n:03}") for n in range(70))
    page.goto("/sites/")
    expect(page.get_by_role("listitem")).to_have_count(60)
    page.get_by_role("link", name="Next page").click()
    expect(page.get_by_role("listitem")).to_have_count(11)
    page.get_by_role("searchbox").fill("works 069")
    page.get_by_role("button", name="Search").click()
    expect(page.get_by_role("listitem")).to_have_count(1)
    page.get_by_role("searchbox").fill("nowhere")
    page.get_by_role("button", name="Search").click()
    expect(page.get_by_text("No site has")).to_be_visible()


def test_the_site_meter_is_shown_with_the_result(
    page_of: Any, cast: Any, surveyed: Scene, accessible: Judge
) -> None:
    survey = surveyed.point.surveys.latest("started_at")
    office = page_of(cast.office)
    office.goto(f"/surveys/{survey.pk}/")
    office.get_by_role("link", name="Enter reading").click()
    accessible(office)
    office.get_by_label("Name of the site meter").fill("FT-101")
    office.get_by_label("Volume flow with unit").fill("140")
    office.get_by_label("Expanded uncertainty").fill("2 %")
    office.get_by_role("button", name="Save reading").click()
    expect(office.get_by_role("alert")).to_contain_text("unit")
    office.get_by_label("Volume flow with unit").fill("140 m3/h")
    office.get_by_role("button", name="Save reading").click()
    client = page_of(cast.owner)
    client.goto(f"/surveys/{survey.pk}/")
    expect(client.get_by_text("140.0 m³/h ± 2.8 m³/h")).to_be_visible()
    expect(client.get_by_text("En = ")).to_be_visible()
    expect(client.get_by_role("link", name="Replace reading")).to_have_count(0)
    accessible(client)


def test_a_notice_is_acknowledged_by_a_click(page: Page, surveyed: Scene, accessible: Judge) -> None:
    page.goto("/notices/")
    expect(page.get_by_text("Gauged: 9.0 mm.")).to_have_count(2)
    accessible(page)
    page.get_by_role("button", name="Acknowledge").first.click()
    expect(page.get_by_text("Acknowledged by owner")).to_have_count(1)
    assert Notice.objects.filter(acknowledged_at__isnull=False).count() == 1


def test_another_organisation_finds_none_of_it(surveyed: Scene, cast: Any) -> None:
    stranger, office = Visitor(), Visitor()
    stranger.force_login(cast.stranger)
    office.force_login(cast.office)
    notice = Notice.objects.first()
    survey = surveyed.point.surveys.first()
    assert notice
    assert survey
    acknowledgement = f"/notices/{notice.pk}/acknowledgement/"
    places = [f"/sites/{surveyed.pipe.site_id}/", f"/points/{surveyed.point.pk}/", f"/surveys/{survey.pk}/"]
    for address in places:
        assert stranger.get(address).status_code == 404
        assert office.get(address).status_code == 200
        assert Visitor().get(address).status_code == 302
    assert stranger.post(acknowledgement).status_code == 404
    assert office.post(acknowledgement).status_code == 404
    assert surveyed.pipe.site.name not in stranger.get("/sites/").content.decode()
    assert not Notice.objects.filter(acknowledged_at__isnull=False).exists()
