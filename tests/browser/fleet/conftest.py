"""The calibration admin before a fleet with something overdue, in a real Chromium."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page

from surveys.calibration.due_list import office_today
from surveys.models import Booking, Instrument, Job
from surveys.models.calibration import Calibration
from surveys.models.job import JobState
from surveys.services.fleet.calibrations import calibration_record


@pytest.fixture
def gauge(cast: Any) -> Instrument:
    """Return a thickness gauge overdue by five days, with the technician, booked for tomorrow."""
    now = timezone.now()
    today = office_today(now)
    created = Instrument.objects.create(
        kind="thickness-gauge", type_name="Wall gauge", serial="G-9", location="Van 2", holder=cast.technician
    )
    calibration_record(
        calibration=Calibration(
            instrument=created,
            certificate="HR-1",
            laboratory="Harbour Row Calibration",
            calibrated_on=today - timedelta(days=370),
            due_on=today - timedelta(days=5),
        ),
        by=cast.calibration_admin,
        now=now,
    )
    return created


@pytest.fixture
def booked(gauge: Instrument, site: Any, cast: Any) -> Booking:
    """Return the overdue gauge, booked for a job tomorrow."""
    starts = timezone.now() + timedelta(days=1)
    ends = starts + timedelta(hours=4)
    job = Job.objects.create(
        site=site, title="Return line survey", state=JobState.PLANNED, starts_at=starts, ends_at=ends
    )
    return Booking.objects.create(
        job=job, instrument=gauge, starts_at=starts, ends_at=ends, booked_by=cast.office, booked_at=starts
    )


@pytest.fixture
def page(page_of: Callable[..., Page], cast: Any) -> Page:
    """The calibration admin's browser."""
    return page_of(cast.calibration_admin)
