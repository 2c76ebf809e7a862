"""Pipe data corrected by the office, and pipes that changed, in a browser."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from surveys.models import PipeData, Recomputation
from tests.browser.office.changing import changes, messages_after_recalculation
from tests.surveys.scene import STARTED, Scene

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


def test_a_correction_is_seen_before_it_is_done_and_followed_to_its_end(
    page: Page, scene: Scene, accessible: Judge
) -> None:
    survey = scene.survey()
    page.goto(f"/sites/{scene.pipe.site.pk}/")
    page.get_by_role("link", name="Correct pipe data").click()
    page.get_by_label("Wall thickness", exact=True).fill("7.9")
    page.get_by_role("button", name="Preview changes").click()
    # A bare number has no unit, and a correction has a reason.
    expect(page.locator("[aria-invalid]")).to_have_count(2)
    expect(page.get_by_label("Wall thickness", exact=True)).to_have_value("7.9")
    accessible(page)
    page.get_by_label("Wall thickness", exact=True).fill("7.9 mm")
    page.get_by_label("Reason").fill("Gauged.")
    assert changes(page) == ["Wall thickness: 6.3 mm → 7.9 mm"]
    foreseen = page.get_by_role("table").get_by_role("cell").all_inner_texts()
    on_record = survey.results.get().volume_flow_m3_s
    assert foreseen[0].startswith(f"{on_record * 3600:.1f}")
    assert foreseen[2].startswith("\N{MINUS SIGN}")
    accessible(page)
    # Seen, and nothing kept of it.
    assert (scene.pipe.data.count(), survey.results.count(), Recomputation.objects.count()) == (1, 1, 0)
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_role("status")).to_contain_text("0 of 1 survey recalculated")
    accessible(page)
    assert messages_after_recalculation(page) == foreseen
    assert survey.results.count() == 2


def test_every_recorded_value_can_be_corrected_with_the_fields_of_each_choice(
    page: Page, scene: Scene, accessible: Judge
) -> None:
    page.goto(f"/office/pipes/{scene.pipe.pk}/correction/")
    page.get_by_label("Outer diameter", exact=True).fill("220 mm")
    page.get_by_label("Material", exact=True).select_option(label="entered sound speeds")
    page.get_by_label("Material: longitudinal sound speed").fill("5900 m/s")
    page.get_by_label("Material: shear sound speed (optional)").fill("3200 m/s")
    page.get_by_label("Lining", exact=True).select_option("cement-mortar")
    page.get_by_label("Lining thickness").fill("4 mm")
    page.get_by_label("Roughness").fill("0.3 mm")
    page.get_by_label("Wave mode in the wall").select_option("longitudinal")
    page.get_by_label("Medium", exact=True).select_option("seawater")
    page.get_by_label("Salinity").fill("35 g/kg")
    page.get_by_label("Medium temperature", exact=True).fill("12 degC")
    page.get_by_label("Source of the medium temperature").select_option("estimated")
    page.get_by_label("Medium pressure (absolute)").fill("")
    page.get_by_label("Valid from").fill("2026-01-05")
    page.get_by_label("Reason").fill("All of it was another pipe's.")
    changed = changes(page)
    assert "Medium: Water → Seawater" in changed
    assert "Lining: none → cement mortar lining" in changed
    assert len(changed) == 14
    accessible(page)
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_role("heading", name="Recalculation:")).to_be_visible()
    created = PipeData.objects.get(change="correction")
    pipe, medium = created.pipe_entry(), created.medium_entry()
    assert (pipe.outer_diameter, pipe.wall_thickness) == (0.22, 0.0063)
    assert (pipe.material.name, pipe.material.longitudinal_sound_speed) == ("", 5900)
    assert pipe.lining
    assert (pipe.lining.material.name, pipe.lining.thickness) == ("cement-mortar", 0.004)
    assert (pipe.roughness, pipe.wave_mode) == (0.0003, "longitudinal")
    assert (medium.name, medium.salinity, medium.temperature_source) == ("seawater", 35, "estimated")
    assert (medium.temperature, medium.pressure) == (285.15, None)
    assert created.valid_from == date(2026, 1, 5)


def test_unchanged_values_keep_every_digit(page: Page, scene: Scene) -> None:
    first = scene.in_force()
    page.goto(f"/office/pipes/{scene.pipe.pk}/correction/?units=us")
    page.get_by_label("Medium temperature", exact=True).fill("140 degF")
    page.get_by_label("Reason").fill("Misread.")
    assert changes(page) == [
        "Medium temperature: 136.4\N{NO-BREAK SPACE}°F, measured → 140\N{NO-BREAK SPACE}°F"
    ]
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_role("heading", name="Recalculation:")).to_be_visible()
    created = PipeData.objects.get(change="correction")
    assert created.pipe_entry() == first.pipe_entry()
    assert created.medium_pressure_pa == first.medium_pressure_pa
    assert created.as_entered == {"pipe.wall_thickness": "6.3 mm", "medium.temperature": "140 degF"}
    assert created.medium_temperature_k == pytest.approx(333.15)


def test_a_pipe_that_changed_on_a_date_leaves_surveys_before_it_as_they_are(
    page: Page, scene: Scene, accessible: Judge
) -> None:
    before = scene.survey()
    after = scene.survey(STARTED + timedelta(days=30))
    page.goto(f"/office/pipes/{scene.pipe.pk}/correction/")
    page.get_by_label("Wall thickness", exact=True).fill("8 mm")
    page.get_by_label("Reason").fill("The run was renewed.")
    page.get_by_label("Pipe was modified").check()
    page.get_by_role("button", name="Preview changes").click()
    expect(page.get_by_label("Modified on", exact=True)).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Wall thickness", exact=True)).to_have_value("8 mm")
    accessible(page)
    page.get_by_label("Modified on", exact=True).fill("2026-10-20")
    changes(page)
    expect(page.get_by_role("table").get_by_role("rowheader")).to_have_count(1)
    page.get_by_role("button", name="Save modification").click()
    expect(page.get_by_role("status")).to_contain_text("of 1 survey recalculated")
    messages_after_recalculation(page)
    assert (before.results.count(), after.results.count()) == (1, 2)
    # Each version can be corrected from here on.
    page.goto(f"/office/pipes/{scene.pipe.pk}/correction/")
    expect(page.get_by_label("Wall thickness", exact=True)).to_have_value("8 mm")
    page.get_by_role("link", name="Since installation").click()
    expect(page.get_by_label("Wall thickness", exact=True)).to_have_value("6.3 mm")


def test_a_change_after_the_preview_is_shown_before_it_is_made(page: Page, scene: Scene) -> None:
    page.goto(f"/office/pipes/{scene.pipe.pk}/correction/")
    page.get_by_label("Wall thickness", exact=True).fill("7.9 mm")
    page.get_by_label("Reason").fill("Gauged.")
    changes(page)
    page.get_by_label("Wall thickness", exact=True).fill("79 mm")
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_text("have changed since the last preview")).to_be_visible()
    assert PipeData.objects.count() == 1


def test_a_version_corrected_meanwhile_is_not_corrected_again(page: Page, scene: Scene) -> None:
    page.goto(f"/office/pipes/{scene.pipe.pk}/correction/")
    scene.correct(0.008)
    page.get_by_label("Wall thickness", exact=True).fill("7.9 mm")
    page.get_by_label("Reason").fill("Gauged.")
    page.get_by_role("button", name="Preview changes").click()
    expect(page.get_by_role("status")).to_contain_text("already been corrected")
    expect(page.get_by_label("Wall thickness", exact=True)).to_have_value("7.9 mm")
    assert PipeData.objects.count() == 2


def test_signed_out_meanwhile_the_entries_stay_and_go_on_after_signing_in_elsewhere(
    page: Page, scene: Scene, cast: Any
) -> None:
    page.goto(f"/office/pipes/{scene.pipe.pk}/correction/")
    page.get_by_label("Wall thickness", exact=True).fill("7.9 mm")
    page.get_by_label("Reason").fill("Gauged.")
    page.context.clear_cookies(name="sessionid")
    page.get_by_role("button", name="Preview changes").click()
    expect(page.get_by_role("status")).to_contain_text("You are signed out")
    cast.office.set_password("a-long-pass-phrase")
    cast.office.save()
    with page.expect_popup() as opened:
        page.get_by_role("link", name="Sign in (new tab)").click()
    tab = opened.value
    tab.get_by_label("User").fill("office")
    tab.get_by_label("Password").fill("a-long-pass-phrase")
    tab.get_by_role("button", name="Sign in").click()
    expect(tab.get_by_role("heading", name="Jobs, week")).to_be_visible()
    tab.close()
    assert changes(page) == ["Wall thickness: 6.3 mm → 7.9 mm"]


def test_the_form_works_without_a_script(client: Any, scene: Scene, cast: Any) -> None:
    client.force_login(cast.office)
    address = f"/office/pipes/{scene.pipe.pk}/correction/"
    typed = {"pipe.wall_thickness": "7.9 mm", "reason": "Gauged.", "do": "show"}
    shown = client.post(address, typed).content.decode()
    seen = shown.partition('name="seen" value="')[2].partition('"')[0]
    answer = client.post(address, typed | {"do": "commit", "seen": seen})
    assert answer.status_code == 302
    assert client.get(answer["Location"]).status_code == 200
    assert client.post(address, {"reason": "Nothing to say."}).status_code == 400


def test_linings_inside_the_first_are_added_changed_and_removed(
    page: Page, scene: Scene, accessible: Judge
) -> None:
    address = f"/office/pipes/{scene.pipe.pk}/correction/"
    page.goto(address)
    page.get_by_label("Lining", exact=True).select_option("cement-mortar")
    page.get_by_label("Lining thickness").fill("4 mm")
    more = page.get_by_role("button", name="Add inner lining")
    more.focus()
    more.press("Enter")
    # Who pressed it stays there, to press again.
    expect(page.get_by_label("Lining 2, inside lining 1")).to_be_visible()
    expect(more).to_be_focused()
    page.get_by_label("Lining 2, inside lining 1").select_option("epoxy")
    page.get_by_label("Thickness of lining 2").fill("0.5 mm")
    more.press("Enter")
    page.get_by_label("Lining 3, inside lining 2").select_option(label="entered sound speeds")
    page.get_by_label("Lining 3: longitudinal sound speed").fill("2300 m/s")
    page.get_by_label("Thickness of lining 3").fill("1 mm")
    page.get_by_label("Roughness").fill("0.01 mm")
    page.get_by_label("Reason").fill("Cut open.")
    changed = changes(page)
    assert "Lining 2, inside lining 1: none → epoxy" in changed
    assert "Thickness of lining 3: not entered → 1 mm" in changed
    accessible(page)
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_role("heading", name="Recalculation:")).to_be_visible()
    [created] = PipeData.objects.filter(change="correction")
    assert [(one.material.name, one.thickness) for one in created.pipe_entry().further_linings] == [
        ("epoxy", 0.0005),
        ("", 0.001),
    ]
    # As it was typed; taken away by choosing none, the one inside it stays.
    page.goto(address)
    expect(page.get_by_label("Thickness of lining 2")).to_have_value("0.5 mm")
    page.get_by_label("Lining 2, inside lining 1").select_option(label="none")
    page.get_by_label("Reason").fill("There was no coat between them.")
    assert changes(page) == ["Lining 2, inside lining 1: epoxy → none"]
    accessible(page)
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_role("heading", name="Recalculation:")).to_be_visible()
    last = PipeData.objects.get(corrects=created)
    assert last.pipe_entry().further_linings == created.pipe_entry().further_linings[1:]
