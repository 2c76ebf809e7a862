"""Outliers of a survey's log: excluded, listed, included by decision, and marked."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from surveys.models import Recomputation, Survey, SurveyData
from surveys.results.recalculation import recomputation_run
from tests.surveys import scene as scenes
from tests.surveys.scene import STARTED, Scene, current

pytestmark = pytest.mark.django_db
REASON = {"reason": "The pump really stopped."}
SPIKE = 40


@pytest.fixture
def survey(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> Survey:
    """A survey whose log has a spike of 50 us in its 41st reading."""

    def spiked(readings: int, time_difference: int = 170) -> bytes:
        rows = original(readings, time_difference).decode().split("\n")
        time, transit, _ = rows[SPIKE + 1].split(",")
        rows[SPIKE + 1] = f"{time},{transit},50000"
        return "\n".join(rows).encode()

    original = scenes.log
    monkeypatch.setattr(scenes, "log", spiked)
    return scene.survey()


def choose(client: Any, survey: Survey, included: bool, **changes: Any) -> Any:
    body = REASON | {"included": included} | changes
    return client.post(f"/api/v1/surveys/{survey.pk}/outliers/", body, format="json")


def codes(survey: Survey) -> set[str]:
    return {finding["code"] for finding in current(survey).findings}


def test_an_outlier_is_excluded_counted_and_stored(scene: Scene, survey: Survey) -> None:
    result = current(survey)
    assert (result.readings_used, result.readings_excluded, result.outliers) == (79, 1, [[SPIKE, SPIKE]])
    assert "outliers-excluded" in codes(survey)
    clean = current(scene.survey(started_at=STARTED + timedelta(days=1)))
    assert clean.pk != result.pk


def test_included_outliers_recalculate_the_result_and_the_old_one_stays(survey: Survey, as_user: Any) -> None:
    before = current(survey)
    answer = choose(as_user("office"), survey, True)
    assert answer.status_code == 202, answer.json()
    assert answer.json()["data"]["include_outliers"] is True
    recomputation_run(Recomputation.objects.get().pk)
    after = current(survey)
    assert after.replaces_id == before.pk
    assert (after.readings_used, after.readings_excluded, after.cause) == (80, 0, "outliers")
    assert after.volume_flow_m3_s > 2 * before.volume_flow_m3_s
    assert "outliers-included" in codes(survey)
    [cause] = after.change_breakdown["causes"]
    assert cause["field"] == "outliers"
    assert cause["effect"]["si"] == pytest.approx(after.volume_flow_m3_s - before.volume_flow_m3_s)


def test_outliers_included_can_be_excluded_again(survey: Survey, as_user: Any) -> None:
    before, office = current(survey), as_user("office")
    for included in (True, False):
        choose(office, survey, included)
        recomputation_run(Recomputation.objects.first().pk)
    assert current(survey).volume_flow_m3_s == before.volume_flow_m3_s
    assert SurveyData.objects.filter(survey=survey).count() == 3


def test_a_choice_that_changes_nothing_is_a_conflict(survey: Survey, as_user: Any) -> None:
    answer = choose(as_user("office"), survey, False)
    assert (answer.status_code, answer.json()["code"]) == (409, "outliers-unchanged")


@pytest.mark.parametrize("reason", ["", None])
def test_a_choice_needs_a_reason(survey: Survey, as_user: Any, reason: str | None) -> None:
    assert choose(as_user("office"), survey, True, reason=reason).status_code == 400


def test_a_correction_keeps_the_choice(survey: Survey, as_user: Any) -> None:
    office = as_user("office")
    choose(office, survey, True)
    body = {"note": "Rain.", "reason": "Note added."}
    office.post(f"/api/v1/surveys/{survey.pk}/corrections/", body, format="json")
    assert survey.data.get(replaced_at__isnull=True).include_outliers is True


@pytest.mark.parametrize(
    ("who", "status"),
    [("owner", 403), ("colleague", 403), ("stranger", 403), ("nobody", 401), ("technician", 404)],
)
def test_others_do_not_choose(survey: Survey, as_user: Any, who: str, status: int) -> None:
    assert choose(as_user(who), survey, True).status_code == status
    assert current(survey).survey_data.include_outliers is False


def test_the_readings_list_the_outliers_with_time_and_values(survey: Survey, as_user: Any) -> None:
    office = as_user("office")
    shown = office.get(f"/api/v1/surveys/{survey.pk}/readings/").json()
    [outlier] = shown["outliers"]
    assert (outlier["row"], outlier["time"]) == (SPIKE, "2026-10-06T07:30:40Z")
    assert outlier["values"]["time_difference"] == 50000.0
    assert shown["outliers_included"] is False
    later = office.get(f"/api/v1/surveys/{survey.pk}/readings/", {"from": "2026-10-06T07:31:00Z"}).json()
    assert later["outliers"] == []


def test_a_result_has_the_correlation_time_and_the_effective_number(survey: Survey, as_user: Any) -> None:
    [shown] = as_user("office").get(f"/api/v1/surveys/{survey.pk}/results/").json()
    assert shown["readings_excluded"] == 1
    # One reading a second: the product is the length of the log.
    assert shown["correlation_time"]["unit"] == "s"
    assert shown["correlation_time"]["value"] * shown["effective_readings"] == pytest.approx(79, rel=1e-3)


def test_the_chart_marks_the_outlier_and_the_page_includes_it(survey: Survey, cast: Any) -> None:
    office = Client()
    office.force_login(cast.office)
    page = office.get(reverse("portal-survey", args=[survey.pk])).content.decode()
    assert "crosses: excluded readings" in page
    assert "Include excluded readings" in page
    address = f"/office/surveys/{survey.pk}/outliers/"
    assert "<td>2026-10-06 09:30" in office.get(address).content.decode()
    assert office.post(address, {"included": "true", "reason": ""}).status_code == 400
    assert office.post(address, {"included": "true"} | REASON).status_code == 302
    recomputation_run(Recomputation.objects.get().pk)
    page = office.get(reverse("portal-survey", args=[survey.pk])).content.decode()
    assert "crosses: included outliers" in page
    assert "Exclude outliers" in page
