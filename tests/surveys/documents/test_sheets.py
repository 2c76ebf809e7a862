"""Sheets and reports: safety notes by the data, sources of pipe values, digits by the uncertainty."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from compute.base.messages import message
from compute.measuring.location import HAZARDS
from surveys.core.messages import render
from surveys.core.messages.numbers import number_text, percent_text
from surveys.core.stored_quantities import quantity
from surveys.documents.day_sheet import Day, day_sheet
from surveys.documents.formatting import with_uncertainty
from surveys.documents.pdf import PdfDocument
from surveys.documents.pipe_table import pipe_table
from surveys.documents.setup_sheet import setup_sheet
from surveys.models import AuditEntry, Job, MeasuringPoint, Role, Setup, Site, SurveyData, User
from surveys.services.pipes.pipes import wall_measurement_record
from surveys.services.records import record_change
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db

START = datetime(2026, 12, 1, 8, tzinfo=UTC)


def safety_notes(pdf: PdfDocument) -> dict[str, Any]:
    """Return the block of safety notes of a document."""
    (block,) = (block for block in pdf.blocks if block["type"] == "safety_notes")
    return block


def sheet(scene: Scene) -> PdfDocument:
    scene.point.refresh_from_db()
    setup = scene.survey().stated.setup
    return setup_sheet(setup, "metric", "https://x.example/")


def day(scene: Scene) -> PdfDocument:
    """Return the day sheet of a visit to a point without a set-up."""
    job = Job.objects.create(
        site=scene.pipe.site, title="Round", technician=scene.cast.technician, state="planned", starts_at=START,
        ends_at=START.replace(hour=12),
    )  # fmt: skip
    job.measuring_points.add(scene.point)
    return day_sheet(Day(scene.cast.technician, START.date(), scene.cast.technician), "metric", "")


def test_a_hot_pipe_is_on_the_set_up_sheet_with_the_threshold_and_its_source(scene: Scene) -> None:
    # The pipe's water is at 58 degrees: above the 51 of a minute's contact.
    shown = " ".join(safety_notes(sheet(scene))["items"])
    for part in ("58\xa0°C", "51\xa0°C", "a minute", "ASTM C1055", "ISO 13732-1"):
        assert part in shown


def test_every_hazard_of_the_point_and_the_precedence_of_the_permit_are_given_once(scene: Scene) -> None:
    MeasuringPoint.objects.filter(pk=scene.point.pk).update(hazards=list(HAZARDS))
    block = safety_notes(sheet(scene))
    for hazard in HAZARDS:
        assert block["items"].count(render(message(hazard)).text) == 1
    assert block["closing"].endswith("not a permit to work.")
    assert "The site's permit and local rules take precedence." in block["closing"]


def test_the_day_sheet_warns_by_the_pipe_data_without_a_set_up(scene: Scene) -> None:
    assert not Setup.objects.exists()
    shown = safety_notes(day(scene))["items"]
    assert any(item.startswith("After the bend: Hot surface. The pipe may be at 58\xa0°C") for item in shown)
    assert any("gauge pressure is about 5.0\xa0bar" in item for item in shown)


def test_without_recorded_hazards_the_day_sheet_states_that_hazards_are_possible(scene: Scene) -> None:
    assert "No hazards are recorded" in safety_notes(day(scene))["items"][-1]


def test_hazards_of_the_site_come_first(scene: Scene) -> None:
    Site.objects.filter(pk=scene.pipe.site_id).update(hazards="Steam traps blow off.")
    MeasuringPoint.objects.filter(pk=scene.point.pk).update(hazards=["confined-space"])
    shown = safety_notes(day(scene))["items"]
    assert shown[0] == "On site: Steam traps blow off."
    assert f"After the bend: {render(message('confined-space')).text}" in shown
    assert "No hazards are recorded" not in str(shown)


def table(scene: Scene, taken: SurveyData) -> dict[str, tuple[str, str]]:
    pdf = PdfDocument("A", "", "", START)
    pipe_table(pdf, scene.in_force(), taken, "metric")
    return {what: (value, known) for what, value, known in pdf.blocks[0]["rows"]}


def test_each_pipe_value_has_its_source(scene: Scene) -> None:
    shown = table(scene, scene.survey().stated)
    assert shown["Wall thickness"] == ("6.30\xa0mm", "not measured; entered as 6.3 mm")
    assert shown["Outer diameter"] == ("219.1\xa0mm", "entered")
    assert shown["Roughness"] == ("0.045\xa0mm", "not entered; value of the new material is used")
    assert shown["Medium temperature"] == ("58.0\xa0°C", "measured")


def test_a_measured_wall_names_the_gauge_and_its_uncertainty(scene: Scene) -> None:
    wall_measurement = wall_measurement_record(
        pipe=scene.pipe, gauge=scene.kit.gauge, readings_m=[0.0080, 0.0081, 0.0079, 0.0080], gauge_velocity_setting_m_s=None,
        taken_at=START, note="", as_entered={}, by=scene.cast.technician,
    )  # fmt: skip
    data = scene.in_force()
    data.wall_measurement = wall_measurement
    pdf = PdfDocument("A", "", "", START)
    pipe_table(pdf, data, scene.survey().stated, "metric")
    known = {row[0]: row[2] for row in pdf.blocks[0]["rows"]}["Wall thickness"]
    assert "measured at 4 positions on 2026-12-01 with G-0033: mean 8.00\xa0mm" in known


def test_the_shown_temperature_is_the_one_measured_on_the_day(scene: Scene) -> None:
    taken = scene.survey().stated
    taken.medium_temperature_k, taken.medium_temperature_source = 335.15, "estimated"
    assert table(scene, taken)["Medium temperature"] == ("62.0\xa0°C", "estimated during the survey")


@pytest.mark.parametrize(
    ("value", "uncertainty", "shown"),
    [
        (quantity(0.2191, "length"), quantity(0.000379, "length"), ("219.10\xa0mm", "0.38\xa0mm")),
        (quantity(2720.0, "speed"), quantity(12.4, "speed"), ("2720\xa0m/s", "12\xa0m/s")),
        (0.94762, 0.0047381, ("0.9476", "0.0047")),
        (
            quantity(331.15, "temperature"),
            quantity(1.0, "temperature_difference"),
            ("58.0\xa0°C", "1.0\xa0K"),
        ),
        (quantity(0.0, "time_difference"), quantity(0.0, "time_difference"), ("0.00\xa0ns", "0.00\xa0ns")),
    ],
)
def test_a_value_is_written_to_the_second_digit_of_its_uncertainty(
    value: Any, uncertainty: Any, shown: Any
) -> None:
    assert with_uncertainty(value, uncertainty, "metric") == shown


def test_shares_too_small_to_show_are_not_none_and_large_numbers_are_grouped() -> None:
    shown = [percent_text(0.9012), percent_text(0.0002), percent_text(0.0), percent_text(-0.027, sign=True)]
    assert shown == ["90.1\xa0%", "<\xa00.1\xa0%", "0.0\xa0%", "−2.7\xa0%"]
    assert number_text(485_731.0, ".3g") == "486\xa0000"


def test_the_day_sheet_is_the_same_bytes_at_any_time_until_a_record_it_shows_changes(
    client: Any, scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    day(scene)
    scene.survey()
    (job,) = Job.objects.all()
    job.kit.add(scene.kit.meter)
    technician = scene.cast.technician
    address = f"/api/v1/technicians/{technician.pk}/day-sheet.pdf?date={START:%Y-%m-%d}"
    now = timezone.now()

    def checksum(later: timedelta) -> str:
        monkeypatch.setattr(timezone, "now", lambda: now + later)
        client.force_login(technician, backend="surveys.services.people.sign_in.PeopleBackend")
        answer = client.get(address)
        assert answer.status_code == 200
        return hashlib.sha256(answer.content).hexdigest()

    first = checksum(timedelta())
    # To be given out is no change, though the audit log has an entry of it.
    assert AuditEntry.objects.filter(action="exported", record=technician.pk).exists()
    assert checksum(timedelta(minutes=1)) == first
    assert checksum(timedelta(days=40)) == first
    record_change(job, {"note": "Ask for the key."})
    changed = checksum(timedelta(days=41))
    assert changed != first
    assert checksum(timedelta(days=42)) == changed


def test_the_day_sheet_shows_the_time_of_its_latest_change(scene: Scene) -> None:
    first = day(scene)
    records = AuditEntry.objects.filter(record=scene.pipe.pk).latest("at").at
    assert first.stamp == max(records, scene.in_force().recorded_at)
    (job,) = Job.objects.all()
    record_change(job, {"note": "Ask for the key."})
    again = day_sheet(Day(scene.cast.technician, START.date(), scene.cast.technician), "metric", "")
    assert again.stamp == AuditEntry.objects.filter(record=job.pk).latest("at").at
    zone = scene.pipe.site.zone
    assert again.footer.endswith(f"records as of {again.stamp.astimezone(zone):%Y-%m-%d %H:%M %Z}")


def test_the_day_sheet_of_a_day_without_jobs_has_no_clock_either(scene: Scene) -> None:
    idle = User.objects.create_user(username="idle", role=Role.TECHNICIAN)
    free = day_sheet(Day(idle, START.date(), scene.cast.office), "metric", "")
    assert free.stamp == datetime(2026, 12, 1, tzinfo=UTC)
    assert "as of" not in free.footer
