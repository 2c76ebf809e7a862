"""The office before a surveyed pipe, in a real Chromium."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page


@pytest.fixture
def page(page_of: Callable[..., Page], cast: Any) -> Page:
    """The office's browser."""
    return page_of(cast.office)
