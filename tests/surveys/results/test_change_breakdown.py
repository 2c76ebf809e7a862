"""Change breakdown of a stored result: every changed input is named, and the contributions add up to the change."""

from __future__ import annotations

import io
import math
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from compute.results import survey as method
from surveys.models import Result, Survey
from surveys.results.recalculation import recomputation_run
from surveys.services.surveys.logs import Upload, log_import
from surveys.services.surveys.surveys import (
    Segment,
    SurveyNotes,
    SurveyStatement,
    survey_correct,
    survey_mark_segments,
)
from tests.surveys.branches import mounted
from tests.surveys.scene import STARTED, Scene, current

pytestmark = pytest.mark.django_db


def stepped(scene: Scene) -> Survey:
    """A survey whose flow doubles in the middle of the log."""
    rows = ["time,transit_time [us],time_difference [ns]"]
    rows += [
        f"{(STARTED + timedelta(seconds=i)).isoformat()},311.160,{(100 if i < 40 else 200) + i % 5}"
        for i in range(80)
    ]
    survey = mounted(scene)
    log_import(
        survey=survey,
        upload=Upload(io.BytesIO("\n".join(rows).encode()), "a.csv"),
        by=scene.cast.technician,
        now=timezone.now(),
    )
    return survey


def mark_second_half(scene: Scene, survey: Survey) -> Any:
    part = Segment(STARTED + timedelta(seconds=40), STARTED + timedelta(seconds=79), "steady")
    return survey_mark_segments(
        survey=survey, segments=[part], reason="Pump on.", by=scene.cast.technician, now=timezone.now()
    )[1]


def causes(result: Result) -> dict[str, float]:
    assert result.change_breakdown is not None
    return {one["field"]: one["effect"]["si"] for one in result.change_breakdown["causes"]}


def change(before: Result, after: Result) -> float:
    return after.volume_flow_m3_s - before.volume_flow_m3_s


def test_marked_segments_are_the_named_cause_of_a_change(scene: Scene) -> None:
    survey = stepped(scene)
    before = current(survey)
    recomputation_run(mark_second_half(scene, survey).pk)
    after = current(survey)
    # The time difference rises from a mean of 152 to 202 ns.
    assert change(before, after) == pytest.approx(before.volume_flow_m3_s * 50 / 152, rel=0.01)
    assert causes(after) == {"segments": change(before, after)}
    [row] = after.change_breakdown["causes"]  # type: ignore[index]
    assert row["before"] == []
    assert [one["field"] for one in row["after"]] == ["segment_start", "segment_end", "segment_reason"]


def test_several_causes_in_one_recalculation_add_up(scene: Scene) -> None:
    survey = stepped(scene)
    before = current(survey)
    runs = [mark_second_half(scene, survey), scene.correct(0.0071)]
    seen = Survey.objects.get(pk=survey.pk).stated
    notes = SurveyNotes(STARTED, medium_temperature_k=341.15, medium_temperature_source="measured")
    runs.append(
        survey_correct(
            survey=survey,
            corrects=seen,
            statement=SurveyStatement(seen.setup, [scene.kit.meter], notes),
            reason="Misread.",
            by=scene.cast.office,
            now=timezone.now(),
        )[1]
    )
    recomputation_run(runs[-1].pk)
    after = current(survey)
    found = causes(after)
    assert {"pipe.wall_thickness", "medium"} <= set(found)
    assert math.fsum(found.values()) == pytest.approx(change(before, after), rel=1e-9)


def test_a_new_method_and_a_corrected_wall_are_told_apart(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    survey = scene.survey()
    before = current(survey)
    monkeypatch.setattr(method, "METHOD_VERSION", "next-for-this-test")
    recomputation_run(scene.correct(0.0071).pk)
    after = current(survey)
    assert list(causes(after)) == ["method_version", "pipe.wall_thickness"]
    assert causes(after)["method_version"] == 0
    assert causes(after)["pipe.wall_thickness"] == pytest.approx(change(before, after), rel=1e-12)


def test_the_page_of_a_survey_shows_the_causes(scene: Scene, client: Any) -> None:
    survey = stepped(scene)
    recomputation_run(mark_second_half(scene, survey).pk)
    client.force_login(scene.cast.office)
    page = client.get(reverse("portal-survey", args=[survey.pk])).content.decode()
    assert "Change from the replaced result" in page
    assert "Segments of the log" in page
    assert "whole log" in page
