"""Causes of a recalculation: a correction of any input gives a new result and keeps the old one with its inputs."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from compute.results import survey as method
from surveys.core.errors import Conflict, ServiceError
from surveys.models import Calibration, Instrument, Notice, Recomputation, Result, Survey
from surveys.results import recalculation
from surveys.services.fleet.instruments import calibration_record, transducer_data_correct
from surveys.services.surveys.surveys import (
    Segment,
    SurveyNotes,
    SurveyStatement,
    survey_correct,
    survey_mark_segments,
)
from tests.surveys.scene import STARTED, Scene, current

pytestmark = pytest.mark.django_db


def worked_off(recomputation: Recomputation) -> Recomputation:
    recalculation.recomputation_run(recomputation.pk)
    recomputation.refresh_from_db()
    assert recomputation.state == Recomputation.State.FINISHED
    return recomputation


def read_again(survey: Survey) -> Survey:
    return Survey.objects.get(pk=survey.pk)


def corrected(scene: Scene, survey: Survey, notes: SurveyNotes, reason: str = "Misread.") -> Recomputation:
    stated = read_again(survey).stated
    statement = SurveyStatement(stated.setup, [scene.kit.meter], notes)
    _, recomputation = survey_correct(
        survey=survey,
        corrects=stated,
        statement=statement,
        reason=reason,
        by=scene.cast.office,
        now=timezone.now(),
    )
    return recomputation


def test_a_corrected_temperature_changes_the_expected_sound_speed_and_keeps_the_other_entries(
    scene: Scene,
) -> None:
    survey = scene.survey()
    before = current(survey)
    notes = SurveyNotes(STARTED, medium_temperature_k=341.15, medium_temperature_source="measured")
    worked_off(corrected(scene, survey, notes))
    after = current(survey)
    # Water at one atmosphere: 1551 m/s at 60 degC and 1555 at 70 (Bilaniuk and Wong 1993, from memory); 0.9 m/s more at 6 bar.
    assert before.expected_sound_speed_m_s == pytest.approx(1551, abs=1.5)
    assert after.expected_sound_speed_m_s == pytest.approx(1555, abs=1.5)
    assert before.survey_data.medium_temperature_k is None
    assert after.survey_data.medium_temperature_k == 341.15
    assert after.cause == "survey-correction"


def test_a_corrected_day_moves_a_survey_between_versions_of_the_pipe(scene: Scene) -> None:
    survey = scene.survey()
    worked_off(scene.alter(0.0071, date(2026, 10, 15)))
    assert current(survey).pipe_data.wall_thickness_m == 0.0063
    worked_off(corrected(scene, survey, SurveyNotes(datetime(2026, 10, 20, 7, 30, tzinfo=UTC))))
    assert current(survey).pipe_data.wall_thickness_m == 0.0071
    assert read_again(survey).started_at == datetime(2026, 10, 20, 7, 30, tzinfo=UTC)


def test_of_two_users_who_correct_one_survey_the_second_gets_a_conflict(scene: Scene) -> None:
    survey = scene.survey()
    seen = survey.stated
    corrected(scene, survey, SurveyNotes(STARTED, note="first"))
    with pytest.raises(Conflict) as caught:
        survey_correct(
            survey=survey,
            corrects=seen,
            statement=SurveyStatement(seen.setup, [scene.kit.meter], SurveyNotes(STARTED)),
            reason="second",
            by=scene.cast.office,
            now=timezone.now(),
        )
    assert caught.value.code == "already-corrected"


def test_corrected_transducer_data_reaches_the_surveys_made_with_it(scene: Scene) -> None:
    survey = scene.survey()
    before = current(survey)
    old = before.transducer_data
    entry = old.entry()
    wrong_delay = replace(entry, transducers=replace(entry.transducers, wedge_delay=11e-6))
    _, recomputation = transducer_data_correct(
        corrects=old,
        entry=wrong_delay,
        reason="The delay was of another pair.",
        as_entered={},
        by=scene.cast.calibration_admin,
        now=timezone.now(),
    )
    worked_off(recomputation)
    after = current(survey)
    assert after.transducer_data.corrects == old
    # A longer way in the wedges leaves less time in the water: the sound speed found is higher.
    assert after.measured_sound_speed_m_s > before.measured_sound_speed_m_s
    assert [effect["field"] for effect in after.change_breakdown["causes"]] == ["transducers"]


def test_a_certificate_recorded_late_is_in_force_for_the_surveys_after_it(scene: Scene) -> None:
    survey = scene.survey()
    calibration = Calibration(
        instrument=scene.kit.meter,
        certificate="C-M-0412-B",
        laboratory="Harbour Row Calibration",
        calibrated_on=date(2026, 9, 1),
        due_on=date(2027, 9, 1),
    )
    calibration, recomputation = calibration_record(
        calibration=calibration, by=scene.cast.calibration_admin, now=timezone.now()
    )
    assert recomputation is not None
    worked_off(recomputation)
    assert calibration in current(survey).calibrations.all()


def test_a_certificate_corrected_takes_the_others_place(scene: Scene) -> None:
    survey = scene.survey()
    wrong = Calibration.objects.get(instrument=scene.kit.meter)
    # Typed a year too late: on the day of the survey the meter was past its due date.
    right = Calibration(
        instrument=scene.kit.meter,
        corrects=wrong,
        certificate=wrong.certificate,
        laboratory=wrong.laboratory,
        calibrated_on=date(2025, 3, 16),
        due_on=date(2026, 3, 16),
    )
    right, recomputation = calibration_record(
        calibration=right, by=scene.cast.calibration_admin, now=timezone.now(), reason="Year misread."
    )
    assert recomputation is not None
    worked_off(recomputation)
    after = current(survey)
    assert right in after.calibrations.all()
    assert wrong not in after.calibrations.all()
    assert "calibration-expired" in {finding["code"] for finding in after.findings}


def test_a_certificate_affects_a_survey_whose_instrument_was_just_corrected(scene: Scene) -> None:
    survey = scene.survey()
    other = Instrument.objects.create(kind="meter", type_name="spare", serial="M-0500")
    stated = survey.stated
    survey_correct(
        survey=survey,
        corrects=stated,
        statement=SurveyStatement(stated.setup, [other], SurveyNotes(STARTED)),
        reason="It was the spare.",
        by=scene.cast.office,
        now=timezone.now(),
    )
    # Not worked off yet: the result still rests on the statement before.
    calibration = Calibration(
        instrument=other,
        certificate="C-M-0500",
        laboratory="Harbour Row Calibration",
        calibrated_on=date(2026, 3, 1),
        due_on=date(2027, 3, 1),
    )
    calibration, recomputation = calibration_record(
        calibration=calibration, by=scene.cast.calibration_admin, now=timezone.now()
    )
    assert recomputation is not None
    worked_off(recomputation)
    assert calibration in current(survey).calibrations.all()


def test_a_certificate_that_touches_no_survey_sets_nothing_going(scene: Scene) -> None:
    scene.survey()
    calibration = Calibration(
        instrument=scene.kit.meter,
        certificate="C-NEXT",
        laboratory="Harbour Row Calibration",
        calibrated_on=date(2026, 11, 1),
        due_on=date(2027, 11, 1),
    )
    _, recomputation = calibration_record(
        calibration=calibration, by=scene.cast.calibration_admin, now=timezone.now()
    )
    assert recomputation is None


def test_a_new_method_shows_its_changes_in_a_dry_run_and_then_makes_them(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    early, late = scene.survey(), scene.survey(datetime(2026, 11, 2, 7, 30, tzinfo=UTC))
    monkeypatch.setattr(method, "METHOD_VERSION", "next-for-this-test")
    out = io.StringIO()
    call_command("recompute", since="2026-11-01", dry_run=True, stdout=out)
    assert f"{late.pk}" in out.getvalue()
    assert f"{early.pk}" not in out.getvalue()
    assert "surveys to recalculate: 1;" in out.getvalue()
    assert Result.objects.count() == 2
    call_command("recompute", since="2026-11-01", by="office", reason="New method.", stdout=out)
    worked_off(Recomputation.objects.get())
    assert current(late).method_version == "next-for-this-test"
    assert current(early).method_version == method.METHODS[-1].version
    with pytest.raises(CommandError, match="Enter --by USERNAME"):
        call_command("recompute", since="2026-11-01")
    with pytest.raises(CommandError, match="not a date"):
        call_command("recompute", since="last week", dry_run=True)


def test_a_correction_alone_leaves_results_of_an_earlier_method_alone(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    survey = scene.survey()
    worked_off(scene.alter(0.0071, date(2026, 10, 15)))
    monkeypatch.setattr(method, "METHOD_VERSION", "next-for-this-test")
    assert scene.alter(0.0072, date(2026, 10, 25)).state == Recomputation.State.FINISHED
    assert current(survey).method_version == method.METHODS[-1].version


def marked(scene: Scene, survey: Survey, *segments: tuple[int, int]) -> Recomputation:
    _, recomputation = survey_mark_segments(
        survey=survey,
        segments=[
            Segment(STARTED + timedelta(seconds=a), STARTED + timedelta(seconds=b), "steady")
            for a, b in segments
        ],
        reason="The pump was started in between.",
        by=scene.cast.technician,
        now=timezone.now(),
    )
    return recomputation


@pytest.mark.parametrize(
    ("segments", "code"),
    [
        ([(30, 10)], "ends-too-early"),
        ([(200, 300)], "outside-log"),
        ([(0, 30), (20, 50)], "segments-overlap"),
    ],
)
def test_impossible_segments_are_rejected(scene: Scene, segments: list[tuple[int, int]], code: str) -> None:
    survey = scene.survey()
    with pytest.raises(ServiceError) as caught:
        marked(scene, survey, *segments)
    assert caught.value.code == code


def test_changes_are_listed_for_each_survey_and_in_a_summary(scene: Scene, as_user: Any) -> None:
    surveys = [scene.survey(), scene.survey()]
    recomputation = worked_off(scene.correct(0.008))
    office = as_user("office")
    detail = office.get(f"/api/v1/recomputations/{recomputation.pk}/").json()
    assert detail["counts"] == {"waiting": 0, "running": 0, "done": 2, "failed": 0}
    assert detail["per_second"] > 0
    for item in detail["items"]:
        before, after = (item[name]["value"] for name in ("before", "after"))
        assert item["difference"]["value"] == pytest.approx(after - before)
        assert item["relative_change"] == pytest.approx((after - before) / before)
        # A wall 1.7 mm thicker all round takes 3.3 % off the bore's area: more than the client's 1 %.
        assert item["exceeds_threshold"] is True
        assert item["notice"]
    short = office.get(f"/api/v1/recomputations/{recomputation.pk}/summary/").json()
    assert (short["surveys"], short["done"], short["exceeding_threshold"]) == (2, 2, 2)
    assert short["clients"] == [
        {
            "client": str(scene.cast.client.pk),
            "name": scene.cast.client.name,
            "surveys": 2,
            "notices": 2,
            "acknowledged": 0,
        }
    ]
    assert {one["survey"] for one in short["largest"]} == {str(survey.pk) for survey in surveys}
    assert Notice.objects.count() == 2


def test_over_the_api_a_technician_corrects_a_survey_and_reads_its_versions(
    scene: Scene, as_user: Any
) -> None:
    survey = scene.survey()
    office = as_user("office")
    path = f"/api/v1/surveys/{survey.pk}"
    rejected = office.post(f"{path}/corrections/", {"mounted_spacing": "160 mm"}, format="json")
    assert (rejected.status_code, rejected.json()["errors"][0]["field"]) == (400, "reason")
    answer = office.post(
        f"{path}/corrections/",
        {
            "medium_temperature": "60 degC",
            "medium_temperature_source": "measured",
            "reason": "Read from the second thermometer.",
        },
        format="json",
    )
    assert answer.status_code == 202
    worked_off(Recomputation.objects.get(pk=answer.json()["recomputation"]["id"]))
    versions = office.get(f"{path}/data/").json()
    assert [version["change"] for version in versions] == ["correction", "first"]
    assert versions[0]["medium_temperature"] == {"value": 60.0, "unit": "degC"}
    assert versions[1]["medium_temperature"] is None
    assert as_user("stranger").get(f"{path}/data/").status_code == 404
    assert as_user("owner").post(f"{path}/corrections/", {"reason": "x"}, format="json").status_code == 403
