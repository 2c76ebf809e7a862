"""Inputs of a result, traced step by step in a browser."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from surveys.results.recalculation import recomputation_run
from tests.surveys.scene import Scene, current

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1440, "dark")])
def test_a_result_is_traced_to_its_inputs(
    page: Page, scene: Scene, accessible: Judge, width: int, scheme: str
) -> None:
    survey = scene.survey()
    run = scene.correct(0.008)
    while recomputation_run(run.pk):
        pass
    page.set_viewport_size({"width": width, "height": 900})
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    page.goto(f"/surveys/{survey.pk}/")
    page.get_by_role("link", name="Traceability").click()
    expect(page.get_by_role("main")).to_contain_text("Gauged.")
    expect(page.get_by_role("main")).to_contain_text(current(survey).log.sha256)
    accessible(page)
