"""Readings of a log in responses: downsampled for a plot, complete as CSV and Parquet."""

from __future__ import annotations

import io
from typing import Any

import pyarrow.parquet as pq
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from surveys.logfiles.importing import import_file
from surveys.services.surveys.surveys import SurveyNotes, survey_record
from tests.surveys.scene import STARTED, Scene, current

pytestmark = pytest.mark.django_db


def body(answer: Any) -> bytes:
    return b"".join(answer.streaming_content)


def test_a_plot_gets_so_many_points_and_keeps_the_highest_and_the_lowest(scene: Scene, as_user: Any) -> None:
    survey = scene.survey(readings=500)
    shown = as_user("office").get(f"/api/v1/surveys/{survey.pk}/readings/?points=40").json()
    assert shown["count"] == 500
    series = shown["columns"]["time_difference"]
    assert series["unit"] == "ns"
    assert len(series["values"]) == len(series["times"]) <= 60
    assert (min(series["values"]), max(series["values"])) == (170.0, 174.0)


def test_the_complete_log_as_csv_can_be_imported_again(scene: Scene, as_user: Any) -> None:
    survey = scene.survey(readings=90)
    answer = as_user("office").get(f"/api/v1/surveys/{survey.pk}/readings/?format=csv")
    again = import_file(io.BytesIO(body(answer)), scene.pipe.site.zone, 10**6)
    assert (again.rows_accepted, again.rows_rejected) == (90, 0)
    assert again.first_reading_at == survey.log.first_reading_at
    assert [block for _, block in again.blocks] == [bytes(b.content) for b in survey.log.blocks.all()]


def test_the_complete_log_as_parquet_has_times_in_utc_and_units(scene: Scene, as_user: Any) -> None:
    survey = scene.survey(readings=90)
    answer = as_user("office").get(f"/api/v1/surveys/{survey.pk}/readings/?format=parquet")
    assert answer["Content-Type"] == "application/vnd.apache.parquet"
    table = pq.read_table(io.BytesIO(body(answer)))
    assert table.num_rows == 90
    assert str(table.schema.field("time").type) == "timestamp[us, tz=UTC]"
    assert table.schema.field("transit_time").metadata[b"unit"] == b"us"
    assert table.column("time_difference").to_pylist()[:5] == [170, 171, 172, 173, 174]


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_time_range_of_the_log_is_served_alone(scene: Scene, as_user: Any, form: str) -> None:
    survey = scene.survey(readings=90)
    stretch = "from=2026-10-06T07:30:10Z&to=2026-10-06T07:30:19Z"
    answer = body(as_user("office").get(f"/api/v1/surveys/{survey.pk}/readings/?format={form}&{stretch}"))
    rows = answer.count(b"\n") - 1 if form == "csv" else pq.read_table(io.BytesIO(answer)).num_rows
    assert rows == 10


def test_a_time_range_without_a_reading_is_empty(scene: Scene, as_user: Any) -> None:
    survey = scene.survey(readings=90)
    stretch = "from=2030-01-01T00:00:00Z"
    shown = as_user("office").get(f"/api/v1/surveys/{survey.pk}/readings/?{stretch}").json()
    assert shown["count"] == 0
    assert shown["columns"]["transit_time"]["values"] == []
    answer = as_user("office").get(f"/api/v1/surveys/{survey.pk}/readings/?format=parquet&{stretch}")
    assert pq.read_table(io.BytesIO(body(answer))).num_rows == 0


def test_another_client_gets_no_reading(scene: Scene, as_user: Any) -> None:
    survey = scene.survey()
    for form in ("", "?format=csv", "?format=parquet"):
        assert as_user("stranger").get(f"/api/v1/surveys/{survey.pk}/readings/{form}").status_code == 404


def test_a_log_in_parquet_gives_the_result_of_the_same_log_in_text(scene: Scene, as_user: Any) -> None:
    """There and back: exported, taken in again for another survey, reduced to the same figure."""

    first = scene.survey(readings=90)
    office = as_user("office")
    exported = body(office.get(f"/api/v1/surveys/{first.pk}/readings/?format=parquet"))
    second = survey_record(
        point=scene.point,
        setup=first.stated.setup,
        job=None,
        instruments=[scene.kit.meter],
        notes=SurveyNotes(started_at=STARTED),
        by=scene.cast.technician,
        now=first.recorded_at,
    )
    layout = {
        "form": "parquet",
        "columns": [
            {"name": "transit_time", "at": "transit_time", "unit": "us"},
            {"name": "time_difference", "at": "time_difference", "unit": "ns"},
        ],
    }
    records = office.post("/api/v1/log-formats/", {"name": "Parquet", "format": layout}, format="json").json()
    answer = office.post(
        f"/api/v1/surveys/{second.pk}/log/?log_format={records['id']}",
        {"file": SimpleUploadedFile("a.parquet", exported)},
        format="multipart",
    )
    assert answer.status_code == 201, answer.json()
    assert current(second).volume_flow_m3_s == current(first).volume_flow_m3_s
