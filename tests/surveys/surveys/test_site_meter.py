"""Site meter readings in comparison with a survey's result."""

from __future__ import annotations

import math
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.utils import DatabaseError

from surveys.models import SiteMeterReading, Survey
from surveys.results.recalculation import recomputation_run
from tests.surveys.scene import Scene, current

pytestmark = pytest.mark.django_db
STATED = {"meter": "FT-101", "volume_flow": "140 m3/h", "relative_expanded_uncertainty": 0.02}


@pytest.fixture
def survey(scene: Scene) -> Survey:
    return scene.survey()


def state(as_user: Any, survey: Survey, who: str = "office", **body: Any) -> Any:
    return as_user(who).post(f"/api/v1/surveys/{survey.pk}/site-meter-readings/", STATED | body)


def test_the_en_number_is_the_difference_over_both_expanded_uncertainties(
    as_user: Any, survey: Survey
) -> None:
    answer = state(as_user, survey).json()
    # ISO 13528:2015 9.7, from memory: En = (x - X) / sqrt(U(x)^2 + U(X)^2), here in m3/h by hand.
    ours, theirs = current(survey).volume_flow_m3_s * 3600, 140.0
    uncertainty = current(survey).expanded_uncertainty_m3_s * 3600 * 2 / current(survey).coverage_factor
    en = (ours - theirs) / math.hypot(uncertainty, 0.02 * theirs)
    assert answer["comparison"]["en"] == pytest.approx(en)
    assert answer["comparison"]["agrees"] == (abs(en) <= 1)
    assert answer["comparison"]["difference"] == {
        "value": pytest.approx(ours - theirs),
        "unit": "m3/h",
    }
    assert answer["expanded_uncertainty"]["value"] == pytest.approx(2.8)


def test_a_site_meter_that_disagrees_is_reported_without_a_judgement(as_user: Any, survey: Survey) -> None:
    document = state(as_user, survey, volume_flow="90 m3/h").json()["comparison"]
    assert document["agrees"] is False
    assert "cannot show which" in document["detail"]


def test_without_an_uncertainty_of_the_site_meter_there_is_no_conclusion(
    as_user: Any, survey: Survey
) -> None:
    body = {"meter": "FT-101", "reading_type": "spot", "volume_flow": "140 m3/h"}
    document = as_user("office").post(f"/api/v1/surveys/{survey.pk}/site-meter-readings/", body).json()
    assert (document["comparison"]["en"], document["comparison"]["agrees"]) == (None, None)
    assert "agreement cannot be assessed" in document["comparison"]["detail"]
    assert "read once" in document["comparison"]["detail"]


def test_a_replacement_needs_a_reason_and_the_old_row_is_kept(as_user: Any, survey: Survey) -> None:
    first = state(as_user, survey).json()
    rejected = state(as_user, survey, volume_flow="141 m3/h")
    assert (rejected.status_code, rejected.json()["errors"][0]["field"]) == (400, "reason")
    second = state(as_user, survey, volume_flow="141 m3/h", reason="Misread.").json()
    address = f"/api/v1/surveys/{survey.pk}/site-meter-readings/"
    newest, oldest = as_user("owner").get(address).json()
    assert (newest["id"], oldest["id"]) == (second["id"], first["id"])
    assert oldest["replaced_at"]
    assert oldest["comparison"] is None


def test_it_is_shown_with_the_current_result(as_user: Any, survey: Survey, scene: Scene) -> None:
    before = state(as_user, survey).json()["comparison"]
    recomputation_run(scene.correct(0.009).pk)
    [now] = as_user("owner").get(f"/api/v1/surveys/{survey.pk}/site-meter-readings/").json()
    assert now["comparison"]["result"] != before["result"]
    assert now["comparison"]["difference"] != before["difference"]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"volume_flow": "140"}, "volume_flow"),
        ({"volume_flow": "140 mm"}, "volume_flow"),
        ({"meter": " "}, "meter"),
        ({"expanded_uncertainty": "2 m3/h"}, "relative_expanded_uncertainty"),
        ({"relative_expanded_uncertainty": -0.1}, "relative_expanded_uncertainty"),
        ({"volume_flow": "0 m3/h"}, "relative_expanded_uncertainty"),
        ({"reading_type": "often"}, "reading_type"),
    ],
)
def test_impossible_values_are_rejected_with_their_field(
    as_user: Any, survey: Survey, body: dict[str, Any], field: str
) -> None:
    answer = state(as_user, survey, **body)
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, field)
    assert not SiteMeterReading.objects.exists()


def test_an_absolute_uncertainty_is_above_zero(as_user: Any, survey: Survey) -> None:
    body = {"meter": "FT-101", "volume_flow": "140 m3/h", "expanded_uncertainty": "0 m3/h"}
    answer = as_user("office").post(f"/api/v1/surveys/{survey.pk}/site-meter-readings/", body)
    assert answer.json()["errors"][0]["field"] == "expanded_uncertainty"


def test_the_database_keeps_one_in_force_and_changes_none(as_user: Any, survey: Survey) -> None:
    reading = SiteMeterReading.objects.get(pk=state(as_user, survey).json()["id"])
    with pytest.raises(IntegrityError), transaction.atomic():
        SiteMeterReading.objects.create(
            survey=survey,
            meter="x",
            reading_type="average",
            volume_flow_m3_s=1.0,
            recorded_at=reading.recorded_at,
            recorded_by=reading.recorded_by,
        )
    with pytest.raises(DatabaseError), transaction.atomic():
        SiteMeterReading.objects.filter(pk=reading.pk).update(volume_flow_m3_s=1.0)
