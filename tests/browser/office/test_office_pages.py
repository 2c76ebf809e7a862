"""Pages of the office in a browser: jobs of the week, technicians, pending reviews."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from surveys.models import Absence, Booking, Job, JobStatusChange, Report, Survey
from surveys.models.job import JobState
from surveys.results.recalculation import recomputation_run
from tests.surveys.scene import Scene

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]
START = datetime(2030, 1, 8, 8, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def job(scene: Scene, cast: Any) -> Job:
    """A planned job on a Tuesday, with its technician booked who is away by now."""
    span = {"starts_at": START, "ends_at": START + 4 * HOUR}
    created = Job.objects.create(
        site=scene.pipe.site,
        title="Round of the boiler house",
        state=JobState.PLANNED,
        technician=cast.technician,
        **span,
    )
    created.measuring_points.add(scene.point)
    Booking.objects.create(
        job=created, technician=cast.technician, booked_by=cast.office, booked_at=START, **span
    )
    Absence.objects.create(technician=cast.technician, recorded_by=cast.office, recorded_at=START, **span)
    return created


def test_a_job_of_the_week_with_a_conflict_changes_its_status_with_a_reason(
    page: Page, job: Job, accessible: Judge
) -> None:
    page.goto("/")
    expect(page.get_by_role("heading", name="Jobs, week")).to_be_visible()
    page.goto("/office/jobs/?week=2030-W02")
    card = page.locator(f"#job-{job.pk}")
    expect(card).to_contain_text(
        "At risk: The technician is absent from 2030-01-08 09:00 CET to 2030-01-08 13:00 CET."
    )
    # On a phone the days with work, on a wide screen the whole week: Tuesday, and no other day.
    days = page.get_by_role("row", name="technician").get_by_role("cell")
    expect(days).to_have_text([job.title])
    accessible(page)
    page.set_viewport_size({"width": 1440, "height": 900})
    expect(days).to_have_text(["free", job.title, *["free"] * 5])
    accessible(page)
    card.get_by_label("New status").select_option("on-site")
    card.get_by_role("button", name="Change status").click()
    expect(card.get_by_role("alert")).to_be_visible()
    expect(card.get_by_label("New status")).to_have_value("on-site")
    accessible(page)
    card.get_by_label("Reason").fill("They have begun.")
    card.get_by_role("button", name="Change status").click()
    expect(page.get_by_role("heading", name="On site (1)")).to_be_visible()
    assert JobStatusChange.objects.get().reason == "They have begun."
    page.get_by_role("link", name="Next week").click()
    expect(page.locator(f"#job-{job.pk}")).to_have_count(0)


def test_the_kit_of_a_job_is_checked_out_and_in_with_its_condition(
    page: Page, scene: Scene, job: Job, accessible: Judge
) -> None:
    booking = Booking.objects.create(
        job=job,
        instrument=scene.kit.meter,
        starts_at=START,
        ends_at=START + HOUR,
        booked_by=scene.cast.office,
        booked_at=START,
    )
    page.goto("/office/jobs/?week=2030-W02")
    card = page.locator(f"#job-{job.pk}")
    card.get_by_text("Meter M-0412: booked").click()
    card.get_by_role("button", name="Check out").click()
    # Without a condition it is not handed out.
    expect(card.get_by_role("alert")).to_be_visible()
    accessible(page)
    card.get_by_label("Condition and missing items").fill("Complete.")
    card.get_by_role("button", name="Check out").click()
    card.get_by_text("Meter M-0412: checked out").click()
    card.get_by_label("Condition and missing items").fill("One cable worn.")
    card.get_by_role("button", name="Check in").click()
    card.get_by_text("Meter M-0412: returned").click()
    expect(card).to_contain_text("One cable worn.")
    accessible(page)
    assert [one.condition for one in booking.events.all()] == ["Complete.", "One cable worn."]


def test_a_week_there_is_not_is_not_found(page: Page) -> None:
    found = page.goto("/office/jobs/?week=2030-W99")
    assert found
    assert found.status == 404


def test_a_result_in_review_is_read_with_its_warnings_and_its_report_issued_and_issued_again(
    page: Page, scene: Scene, job: Job, accessible: Judge
) -> None:
    survey = scene.survey()
    Job.objects.filter(pk=job.pk).update(state=JobState.IN_REVIEW)
    Survey.objects.filter(pk=survey.pk).update(job=job)
    page.goto("/office/review/")
    expect(page.get_by_text("No report has been issued yet.")).to_be_visible()
    accessible(page)
    page.get_by_role("button", name="Issue report").click()
    expect(page.get_by_text("is in force.")).to_be_visible()
    recomputation = scene.correct(0.008)
    while recomputation_run(recomputation.pk):
        pass
    page.reload()
    expect(page.get_by_text("shows an older result")).to_be_visible()
    page.get_by_role("button", name="Reissue report").click()
    expect(page.get_by_role("alert")).to_be_visible()
    accessible(page)
    page.get_by_label("Reason for the reissue").fill("The wall was gauged.")
    page.get_by_role("button", name="Reissue report").click()
    expect(page.get_by_text("shows an older result")).to_have_count(0)
    assert [one.reason for one in Report.objects.order_by("revision")] == ["", "The wall was gauged."]
