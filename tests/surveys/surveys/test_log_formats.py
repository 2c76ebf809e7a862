"""Log formats: detection, preview, storage and use."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from surveys.models import Log, LogFormat, Recomputation, Survey
from surveys.results import recalculation
from surveys.services.pipes.setups import SetupRequest, setup_calculate
from surveys.services.surveys.surveys import SurveyNotes, survey_record
from tests.surveys.scene import STARTED, Scene, current, log

pytestmark = pytest.mark.django_db

LAYOUT = {
    "encoding": "latin-1",
    "delimiter": ";",
    "decimal_mark": ",",
    "header_line": 2,
    "time": {"at": "Datum", "clock": "Uhr", "form": "pattern", "pattern": "%d.%m.%Y %H:%M:%S"},
    "columns": [
        {"name": "transit_time", "at": "Laufzeit", "unit": "us"},
        {"name": "time_difference", "at": "Differenz", "unit": "ns", "turned": True},
    ],
}


def file(rows: int = 40, name: str = "a.txt") -> SimpleUploadedFile:
    """Two lines before the rows, semicolons, commas for decimals, date and time of day apart."""
    lines = ["Anlage Nord, Rücklauf", "Datum;Uhr;Laufzeit;Differenz"]
    lines += [f"06.10.2026;09:30:{n:02};311,{16 + n % 3};-17{n % 5},0" for n in range(rows)]
    return SimpleUploadedFile(name, "\r\n".join(lines).encode("latin-1"))


@pytest.fixture
def bare(scene: Scene) -> Survey:
    """A survey whose log is not in yet."""
    setup = setup_calculate(
        point=scene.point,
        requested=SetupRequest(scene.kit.pair, traverses=2),
        by=scene.cast.technician,
        now=timezone.now(),
    )
    return survey_record(
        point=scene.point,
        setup=setup,
        job=None,
        instruments=[scene.kit.meter],
        notes=SurveyNotes(started_at=STARTED),
        by=scene.cast.technician,
        now=timezone.now(),
    )


def make(api: Any, **changes: Any) -> Any:
    body = {"name": "Works logger", "format": LAYOUT} | changes
    return api.post("/api/v1/log-formats/", body, format="json")


def test_a_log_format_is_previewed_saved_and_used(bare: Survey, as_user: Any) -> None:
    office = as_user("office")
    records = make(office).json()
    tried = office.post(
        f"/api/v1/log-formats/{records['id']}/previews/?site={bare.measuring_point.pipe.site_id}",
        {"file": file()},
        format="multipart",
    ).json()
    # Half past nine on the site's clocks is half past seven UTC in summer; the logger counts the other way.
    assert tried["rows"][0]["time"].startswith("2026-10-06T07:30:00")
    assert tried["rows"][0]["time_difference"] == 170.0
    assert tried["rejected_rows"] == []
    answer = office.post(
        f"/api/v1/surveys/{bare.pk}/log/?log_format={records['id']}", {"file": file()}, format="multipart"
    )
    assert answer.status_code == 201, answer.json()
    assert (answer.json()["rows_accepted"], answer.json()["log_format"]) == (40, records["id"])
    assert answer.json()["first_reading_at"] == "2026-10-06T07:30:00Z"
    assert current(bare).volume_flow_m3_s > 0


def test_a_log_keeps_its_format_when_the_format_changes(bare: Survey, as_user: Any) -> None:
    office = as_user("office")
    records = make(office).json()
    office.post(
        f"/api/v1/surveys/{bare.pk}/log/?log_format={records['id']}", {"file": file()}, format="multipart"
    )
    kept = Log.objects.get().format
    changed = office.patch(f"/api/v1/log-formats/{records['id']}/", {"format": {}}, format="json")
    assert changed.status_code == 200
    assert Log.objects.get().format == kept
    assert LogFormat.objects.get().format != kept


def test_an_unsaved_log_format_can_be_previewed(scene: Scene, as_user: Any) -> None:
    office = as_user("office")
    tried = office.post(
        "/api/v1/log-formats/previews/", {"file": file(), "format": json.dumps(LAYOUT)}, format="multipart"
    )
    assert tried.status_code == 200
    assert len(tried.json()["rows"]) > 5
    rejected = office.post(
        "/api/v1/log-formats/previews/", {"file": file(), "format": "{"}, format="multipart"
    )
    assert (rejected.status_code, rejected.json()["errors"][0]["field"]) == (400, "format")
    assert LogFormat.objects.count() == 0


def test_a_detection_gives_reasons_and_stores_nothing(scene: Scene, as_user: Any) -> None:
    detection = (
        as_user("technician")
        .post("/api/v1/log-formats/detections/", {"file": file()}, format="multipart")
        .json()
    )
    assert (detection["format"]["delimiter"], detection["format"]["decimal_mark"]) == (";", ",")
    assert detection["reasons"]
    assert LogFormat.objects.count() == 0
    plain = as_user("technician").post("/api/v1/log-formats/detections/", log(30), content_type="text/csv")
    assert plain.json()["format"]["decimal_mark"] == "."


def test_a_file_not_in_the_plain_format_is_rejected_and_not_stored(bare: Survey, as_user: Any) -> None:
    answer = as_user("office").post(f"/api/v1/surveys/{bare.pk}/log/", {"file": file()}, format="multipart")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "file"
    assert Log.objects.count() == 0


@pytest.mark.parametrize(
    ("format", "field"),
    [
        ({"delimiter": "12"}, "format.delimiter"),
        ({"delimiter": ",", "decimal_mark": ","}, "format.delimiter"),
        ({"encoding": "klingon"}, "format.encoding"),
        ({"time": {"zone": "Mars/Olympus"}}, "format.time.zone"),
        ({"colour": "blue"}, "format"),
        ([], "format"),
    ],
)
def test_an_unusable_log_format_is_rejected_with_its_field(
    scene: Scene, as_user: Any, format: Any, field: str
) -> None:
    answer = make(as_user("office"), format=format)
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, field)


def test_log_formats_belong_to_the_office(scene: Scene, as_user: Any) -> None:
    records = make(as_user("technician")).json()
    assert make(as_user("office")).status_code == 409
    assert as_user("owner").get("/api/v1/log-formats/").json()["results"] == []
    assert as_user("owner").get(f"/api/v1/log-formats/{records['id']}/").status_code == 404
    assert make(as_user("owner"), name="mine").status_code == 403
    assert make(as_user("nobody"), name="mine").status_code == 401


def test_the_same_file_for_another_survey_is_recognised(scene: Scene, as_user: Any) -> None:
    first = scene.survey()
    second = scene.survey()
    assert first.log.findings == []
    assert "log-duplicate" in {finding["code"] for finding in second.log.findings}
    assert "log-duplicate" in {finding["code"] for finding in current(second).findings}


def test_only_the_marked_segment_is_used_and_the_result_reports_it(scene: Scene, as_user: Any) -> None:
    survey = scene.survey()
    office = as_user("office")
    before = current(survey)
    body = {
        "segments": [
            {
                "start": "2026-10-06T07:30:10Z",
                "end": "2026-10-06T07:30:39Z",
                "reason": "The valve was still closing before.",
            }
        ],
        "reason": "Steady from here on.",
    }
    answer = office.post(f"/api/v1/surveys/{survey.pk}/segments/", body, format="json")
    assert answer.status_code == 202, answer.json()
    recalculation.recomputation_run(Recomputation.objects.get().pk)
    after = current(survey)
    assert (before.readings_used, after.readings_used, after.readings_outside) == (80, 30, 50)
    assert "segments-used" in {finding["code"] for finding in after.findings}
    shown = office.get(f"/api/v1/surveys/{survey.pk}/results/").json()[0]
    assert shown["segments"][0]["reason"] == "The valve was still closing before."
    assert datetime.fromisoformat(shown["segments"][0]["start"]) == datetime(
        2026, 10, 6, 7, 30, 10, tzinfo=UTC
    )
    # And all of it again.
    office.post(f"/api/v1/surveys/{survey.pk}/segments/", body | {"segments": []}, format="json")
    recalculation.recomputation_run(Recomputation.objects.first().pk)
    assert current(survey).volume_flow_m3_s == before.volume_flow_m3_s


def test_steady_segments_are_proposed(scene: Scene, as_user: Any) -> None:
    survey = scene.survey(readings=300)
    stretches = as_user("technician").get(f"/api/v1/surveys/{survey.pk}/steady-segments/")
    assert stretches.status_code == 404, "the technician has no job at this site"
    proposed = as_user("office").get(f"/api/v1/surveys/{survey.pk}/steady-segments/").json()
    [stretch] = proposed
    assert stretch["start"] == "2026-10-06T07:30:00Z"
    assert stretch["mean"]["unit"] == "m3/h"
