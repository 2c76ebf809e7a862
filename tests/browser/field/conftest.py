"""A technician with a job today, in a real Chromium."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page

from surveys.models import Job
from surveys.models.job import JobState
from tests.surveys.scene import Scene, make_scene


@pytest.fixture
def work(site: Any, cast: Any, kit: Any) -> Scene:
    """A pipe with a point, and the technician's job there today."""
    records = make_scene(site, cast, kit)
    site.address, site.contacts = "1 Kiln Lane, Aldervale", "Shift leader, extension 12"
    site.hazards = "Hot pipes in the pump hall."
    site.save()
    now = timezone.now()
    job = Job.objects.create(
        site=site,
        title="Flow survey, return line",
        state=JobState.PLANNED,
        starts_at=now - timedelta(minutes=1),
        ends_at=now + timedelta(minutes=1),
        technician=cast.technician,
    )
    job.measuring_points.set([records.point])
    job.kit.set(kit.all)
    return records


@pytest.fixture
def page(page_of: Callable[..., Page], cast: Any) -> Page:
    """The technician's phone."""
    return page_of(cast.technician)


@pytest.fixture
def signed_in(page: Page) -> BrowserContext:
    """What the phone knows beside the page: its connection, its cookies."""
    return page.context
