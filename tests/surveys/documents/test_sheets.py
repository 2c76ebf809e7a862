"""What sheets and reports say beside the figure: what can hurt, by the data; how each pipe figure is known; figures to their doubt."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from compute.base.messages import message
from compute.measuring.location import HAZARDS
from surveys.core.messages import render
from surveys.core.stored_quantities import quantity
from surveys.documents.day_sheet import Day, day_sheet
from surveys.documents.formatting import grouped, percent, with_uncertainty
from surveys.documents.pdf import PdfDocument
from surveys.documents.pipe_table import pipe_table
from surveys.documents.setup_sheet import setup_sheet
from surveys.models import AuditEntry, Job, MeasuringPoint, Role, Setup, Site, SurveyData, User
from surveys.services.pipes.pipes import wall_measurement_record
from surveys.services.records import record_change
from tests.surveys.scene import Scene, scene

pytestmark = pytest.mark.django_db

START = datetime(2026, 12, 1, 8, tzinfo=UTC)


@pytest.fixture
def here(site: Any, cast: Any, kit: Any) -> Scene:
    return scene(site, cast, kit)


def safety_notes(pdf: PdfDocument) -> dict[str, Any]:
    """The one block of safety notes of a paper."""
    (block,) = (block for block in pdf.blocks if block["type"] == "safety_notes")
    return block


def sheet(here: Scene) -> PdfDocument:
    here.point.refresh_from_db()
    setup = here.survey().stated.setup
    return setup_sheet(setup, "metric", "https://x.example/")


def day(here: Scene) -> PdfDocument:
    """The day sheet of a visit to the point, for which no set-up has been worked out."""
    job = Job.objects.create(
        site=here.pipe.site, title="Round", technician=here.cast.technician, state="planned", starts_at=START,
        ends_at=START.replace(hour=12),
    )  # fmt: skip
    job.measuring_points.add(here.point)
    return day_sheet(Day(here.cast.technician, START.date(), here.cast.technician), "metric", "")


def test_a_hot_pipe_is_on_the_set_up_sheet_with_the_threshold_and_its_source(here: Scene) -> None:
    # The pipe's water is at 58 degrees: above the 51 of a minute's contact.
    told = " ".join(safety_notes(sheet(here))["items"])
    for part in ("58\xa0°C", "51\xa0°C", "a minute", "ASTM C1055", "ISO 13732-1"):
        assert part in told


def test_every_hazard_of_the_point_and_the_precedence_of_the_permit_are_given_once(here: Scene) -> None:
    MeasuringPoint.objects.filter(pk=here.point.pk).update(hazards=list(HAZARDS))
    block = safety_notes(sheet(here))
    for hazard in HAZARDS:
        assert block["items"].count(render(message(hazard)).text) == 1
    assert block["closing"].endswith("not a permit to work.")
    assert "The site's permit and local rules take precedence." in block["closing"]


def test_the_day_sheet_warns_by_the_pipes_data_though_no_set_up_was_worked_out(here: Scene) -> None:
    assert not Setup.objects.exists()
    told = safety_notes(day(here))["items"]
    assert any(item.startswith("After the bend: Hot surface. The pipe may be at 58\xa0°C") for item in told)
    assert any("gauge pressure is about 5.0\xa0bar" in item for item in told)


def test_where_no_hazard_is_on_record_the_day_sheet_says_that_this_means_nothing(here: Scene) -> None:
    assert "No hazards are recorded" in safety_notes(day(here))["items"][-1]


def test_hazards_of_the_site_come_first(here: Scene) -> None:
    Site.objects.filter(pk=here.pipe.site_id).update(hazards="Steam traps blow off.")
    MeasuringPoint.objects.filter(pk=here.point.pk).update(hazards=["confined-space"])
    told = safety_notes(day(here))["items"]
    assert told[0] == "On site: Steam traps blow off."
    assert f"After the bend: {render(message('confined-space')).text}" in told
    assert "No hazards are recorded" not in str(told)


def table(here: Scene, taken: SurveyData) -> dict[str, tuple[str, str]]:
    pdf = PdfDocument("A", "", "", START)
    pipe_table(pdf, here.in_force(), taken, "metric")
    return {what: (value, known) for what, value, known in pdf.blocks[0]["rows"]}


def test_each_pipe_figure_stands_with_how_it_is_known(here: Scene) -> None:
    told = table(here, here.survey().stated)
    assert told["Wall thickness"] == ("6.30 mm", "not gauged; entered as 6.3 mm")
    assert told["Outer diameter"] == ("219.1 mm", "entered")
    assert told["Roughness"][1] == "not stated; the usual one of the material is assumed"
    assert told["Its temperature"] == ("58.0 °C", "measured")


def test_a_gauged_wall_names_the_gauge_and_its_doubt(here: Scene) -> None:
    wall_measurement = wall_measurement_record(
        pipe=here.pipe, gauge=here.kit.gauge, readings_m=[0.0080, 0.0081, 0.0079, 0.0080], gauge_velocity_setting_m_s=None,
        taken_at=START, note="", as_entered={}, by=here.cast.technician,
    )  # fmt: skip
    data = here.in_force()
    data.wall_measurement = wall_measurement
    pdf = PdfDocument("A", "", "", START)
    pipe_table(pdf, data, here.survey().stated, "metric")
    known = {row[0]: row[2] for row in pdf.blocks[0]["rows"]}["Wall thickness"]
    assert "gauged at 4 places on 2026-12-01 with G-0033: mean 8.00 mm" in known


def test_the_temperature_told_is_the_one_taken_on_the_day(here: Scene) -> None:
    taken = here.survey().stated
    taken.medium_temperature_k, taken.medium_temperature_source = 335.15, "estimated"
    assert table(here, taken)["Its temperature"] == ("62.0 °C", "estimated, on the day")


@pytest.mark.parametrize(
    ("value", "uncertainty", "told"),
    [
        (quantity(0.2191, "length"), quantity(0.000379, "length"), ("219.10 mm", "0.38 mm")),
        (quantity(2720.0, "speed"), quantity(12.4, "speed"), ("2720 m/s", "12 m/s")),
        (0.94762, 0.0047381, ("0.9476", "0.0047")),
        (quantity(331.15, "temperature"), quantity(1.0, "temperature_difference"), ("58.0 °C", "1.0 K")),
        (quantity(0.0, "time_difference"), quantity(0.0, "time_difference"), ("0.00 ns", "0.00 ns")),
    ],
)
def test_a_figure_is_written_to_the_second_digit_of_its_doubt(
    value: Any, uncertainty: Any, told: Any
) -> None:
    assert with_uncertainty(value, uncertainty, "metric") == told


def test_shares_too_small_to_show_are_not_none_and_large_numbers_are_grouped() -> None:
    assert [percent(0.9012), percent(0.0002), percent(0.0), percent(-0.027, sign=True)] == [
        "90.1 %", "< 0.1 %", "0.0 %", "-2.7 %",
    ]  # fmt: skip
    assert grouped(485_731.0) == "486\N{NO-BREAK SPACE}000"


def test_the_day_sheet_is_the_same_bytes_at_any_time_until_a_record_it_shows_changes(
    client: Any, here: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    day(here)
    here.survey()
    (job,) = Job.objects.all()
    job.kit.add(here.kit.meter)
    technician = here.cast.technician
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


def test_the_day_sheet_says_as_of_when_it_is_by_the_latest_change_of_what_it_shows(here: Scene) -> None:
    first = day(here)
    records = AuditEntry.objects.filter(record=here.pipe.pk).latest("at").at
    assert first.stamp == max(records, here.in_force().recorded_at)
    (job,) = Job.objects.all()
    record_change(job, {"note": "Ask for the key."})
    again = day_sheet(Day(here.cast.technician, START.date(), here.cast.technician), "metric", "")
    assert again.stamp == AuditEntry.objects.filter(record=job.pk).latest("at").at
    assert f"as of {again.stamp:%Y-%m-%d %H:%M} UTC" in again.footer


def test_the_day_sheet_of_a_day_without_jobs_has_no_clock_either(here: Scene) -> None:
    idle = User.objects.create_user(username="idle", role=Role.TECHNICIAN)
    free = day_sheet(Day(idle, START.date(), here.cast.office), "metric", "")
    assert free.stamp == datetime(2026, 12, 1, tzinfo=UTC)
    assert "as of" not in free.footer
