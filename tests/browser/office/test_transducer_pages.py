"""The data of a transducer pair, and of its type, corrected by those who look after the fleet and by the office, in a browser."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from surveys.models import InstrumentType, Recomputation, TransducerData
from surveys.pipes.selectors import transducer_data_now
from tests.browser.office.changing import changes, messages_after_recalculation
from tests.surveys.scene import Scene

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


@pytest.fixture
def admin_page(page_of: Callable[..., Page], cast: Any) -> Page:
    """The calibration admin's browser."""
    return page_of(cast.calibration_admin)


def test_a_wedge_entered_wrongly_is_seen_corrected_before_it_is_done_and_followed_to_its_end(
    admin_page: Page, scene: Scene, accessible: Judge
) -> None:
    page, survey, pair = admin_page, scene.survey(), scene.kit.pair
    page.goto(f"/fleet/instruments/{pair.pk}/")
    page.get_by_role("link", name="Correct transducer data").click()
    # As it was typed, and what nobody typed in the reader's units.
    expect(page.get_by_label("Wedge sound speed", exact=True)).to_have_value("2720 m/s")
    page.get_by_label("Wedge angle").fill("43")
    page.get_by_role("button", name="Preview changes").click()
    expect(page.locator("[aria-invalid]")).to_have_count(2)
    expect(page.get_by_label("Wedge angle")).to_have_value("43")
    accessible(page)
    page.get_by_label("Wedge angle").fill("43 deg")
    page.get_by_label("Reason").fill("The data sheet was of another wedge.")
    assert changes(page) == ["Wedge angle: 42° → 43°"]
    foreseen = page.locator("#sheet-answer").get_by_role("cell").all_inner_texts()
    assert foreseen[2].startswith(("+", "\N{MINUS SIGN}"))
    accessible(page)
    # Seen, and nothing kept of it.
    assert (pair.transducer_data.count(), survey.results.count(), Recomputation.objects.count()) == (1, 1, 0)
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_role("status")).to_contain_text("0 of 1 survey recalculated")
    accessible(page)
    assert messages_after_recalculation(page) == foreseen
    page.get_by_role("link", name=f"Transducer pair {pair.serial}").click()
    history = page.get_by_role("table").get_by_role("row")
    expect(history.nth(1)).to_contain_text("Wedge angle: 42° → 43°")
    expect(history.nth(1)).to_contain_text("in use")
    expect(history.nth(2)).to_contain_text("wrong, corrected")
    accessible(page)


def test_a_survey_links_to_the_version_used_by_its_result(
    page: Page, scene: Scene, accessible: Judge
) -> None:
    survey = scene.survey()
    page.goto(f"/surveys/{survey.pk}/")
    page.get_by_role("link", name="Correct data: transducer pair").click()
    page.get_by_label("Frequency").fill("2 MHz")
    page.get_by_label("Reason").fill("Read off the housing.")
    assert changes(page) == ["Frequency: 1 MHz → 2 MHz"]
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_role("heading", name="Recalculation:")).to_be_visible()
    # The result rests on the version before until it is worked out again.
    page.goto(f"/surveys/{survey.pk}/")
    page.get_by_role("link", name="Correct data: transducer pair").click()
    expect(page.get_by_text("This version was already corrected")).to_be_visible()
    accessible(page)
    page.get_by_role("link", name="its replacement").click()
    expect(page.get_by_label("Frequency")).to_have_value("2 MHz")


def test_a_pair_that_was_refaced_is_another_from_now_on_and_surveys_before_stay(
    admin_page: Page, scene: Scene
) -> None:
    page, survey, pair = admin_page, scene.survey(), scene.kit.pair
    [first] = pair.transducer_data.all()
    page.goto(f"/office/transducers/{pair.pk}/correction/")
    page.get_by_label("Wedge delay").fill("9.5 us")
    page.get_by_label("Reason").fill("Faces ground anew.")
    page.get_by_label("Transducers changed").check()
    changes(page)
    expect(page.locator("#sheet-answer")).to_contain_text("No survey is recalculated")
    page.get_by_role("button", name="Save new data").click()
    expect(page.get_by_label("Wedge delay")).to_have_value("9.5 us")
    expect(page.get_by_role("table").get_by_role("row")).to_have_count(3)
    # What the pair was can be corrected still, and set-ups go on by what it is.
    page.get_by_role("link", name="Correct version of").click()
    expect(page.get_by_text("This is an earlier version")).to_be_visible()
    page.get_by_label("Wedge angle").fill("42.2 deg")
    page.get_by_label("Reason").fill("Misread.")
    changes(page)
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_role("heading", name="Recalculation:")).to_be_visible()
    assert TransducerData.objects.get(corrects=first).wedge_delay_s == first.wedge_delay_s
    assert transducer_data_now(pair).wedge_delay_s == pytest.approx(9.5e-6)
    assert survey.results.count() == 1


def test_a_change_after_the_preview_is_shown_before_it_is_made(page: Page, scene: Scene) -> None:
    page.goto(f"/office/transducers/{scene.kit.pair.pk}/correction/")
    page.get_by_label("Frequency").fill("2 MHz")
    page.get_by_label("Reason").fill("Read off the housing.")
    changes(page)
    page.get_by_label("Frequency").fill("1 kHz")
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_text("have changed since the last preview")).to_be_visible()
    assert TransducerData.objects.count() == 1


def test_the_capabilities_of_a_type_are_corrected_and_earlier_ones_stay_visible(
    page: Page, scene: Scene, accessible: Judge
) -> None:
    pair = scene.kit.pair
    created = InstrumentType.objects.create(
        kind=pair.kind, name=pair.type_name, min_temperature_k=253.15, note="Two lines\nof note."
    )
    page.goto(f"/office/transducers/{pair.pk}/correction/")
    page.get_by_role("link", name=pair.type_name).click()
    page.get_by_label("Maximum spacing of the rail").fill("420")
    page.get_by_label("Certified for hazardous areas").select_option(label="no")
    page.get_by_role("button", name="Preview changes").click()
    expect(page.get_by_label("Maximum spacing of the rail")).to_have_attribute("aria-invalid", "true")
    accessible(page)
    page.get_by_label("Maximum spacing of the rail").fill("420 mm")
    assert changes(page) == [
        "Maximum spacing of the rail: not entered → 420 mm",
        "Certified for hazardous areas: not entered → no",
    ]
    accessible(page)
    page.get_by_role("button", name="Save correction").click()
    expect(page.get_by_label("Maximum spacing of the rail")).to_have_value("420 mm")
    expect(page.get_by_role("table")).to_contain_text("Maximum spacing of the rail: not entered → 420.0 mm")
    accessible(page)
    created.refresh_from_db()
    assert (created.max_spacing_m, created.hazardous_area_certified) == (0.42, False)
    assert (created.min_temperature_k, created.note) == (253.15, "Two lines\nof note.")
