"""The office before a surveyed pipe, in a real Chromium."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.surveys.scene import Scene, scene


@pytest.fixture
def here(site: Any, cast: Any, kit: Any) -> Scene:
    """A pipe with a point."""
    return scene(site, cast, kit)


@pytest.fixture
def page(page_of: Callable[..., Page], cast: Any) -> Page:
    """The office's browser."""
    return page_of(cast.office)
