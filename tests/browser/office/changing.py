"""What people do on pages where a change is seen before it is done."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from surveys.models import Recomputation
from surveys.results.recalculation import recomputation_run


def changes(page: Page) -> list[str]:
    """What the page says would change."""
    page.get_by_role("button", name="Preview changes").click()
    expect(page.get_by_role("heading", name="Preview: not saved yet")).to_be_visible()
    return page.get_by_role("status").get_by_role("listitem").all_inner_texts()


def messages_after_recalculation(page: Page) -> list[str]:
    """Once the one recomputation is done, which the page finds out by itself: what it says of each survey."""
    while recomputation_run(Recomputation.objects.get().pk):
        pass
    expect(page.get_by_role("status")).to_contain_text("Finished: 1 of 1")
    return page.get_by_role("table").get_by_role("cell").all_inner_texts()
