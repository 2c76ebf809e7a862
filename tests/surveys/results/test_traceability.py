"""Traceability of a result to all its inputs, by the API and on a page."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client as Browser

from surveys.models import Result
from surveys.results.dependencies import DEPENDENCIES
from surveys.results.recalculation import recomputation_run
from tests.surveys.fleet.test_error_correction import certify, current, policy
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def result(scene: Scene, as_user: Any) -> Result:
    """Surveyed with a certificate whose curve is applied, then recomputed for a corrected wall."""
    certify(scene)
    policy(as_user)
    survey = scene.survey()
    recomputation_run(scene.correct(0.008, reason="Gauged: 8.0 mm.").pk)
    return current(survey)


def steps(as_user: Any, result: Result, who: str = "owner") -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = as_user(who).get(f"/api/v1/results/{result.pk}/traceability/").json()
    return found


def facts(step: dict[str, Any]) -> dict[str, Any]:
    return {fact["name"]: fact["value"] for fact in step["facts"]}


def test_it_names_the_file_by_its_checksum_and_who_sent_it(as_user: Any, result: Result) -> None:
    step = next(one for one in steps(as_user, result) if one["step"] == "log")
    assert facts(step)["sha256"] == result.log.sha256
    assert step["by"] == "technician"


def test_it_names_the_certificate_its_laboratory_and_the_policy_that_applied_its_curve(
    as_user: Any, result: Result, kit: Any
) -> None:
    found = [one for one in steps(as_user, result) if one["step"] == "instrument"]
    meter = next(one for one in found if one["title"] == str(kit.meter))
    assert facts(meter)["certificate"] == "HR-2026-09-01"
    assert facts(meter)["laboratory"] == "Harbour Row Calibration"
    assert facts(meter)["error_correction_applied"] is True
    assert facts(meter)["error_correction_policy"] is not None


def test_it_shows_the_correction_its_reason_and_the_replaced_result(as_user: Any, result: Result) -> None:
    found = steps(as_user, result)
    data = next(one for one in found if one["step"] == "pipe-data")
    assert data["reason"] == "Gauged: 8.0 mm."
    assert facts(data)["wall_thickness"] == {"value": 8.0, "unit": "mm"}
    assert [one["record"] for one in found if one["step"] == "earlier-result"] == [str(result.replaces_id)]


def test_a_later_policy_is_not_shown_for_an_earlier_result(scene: Scene, as_user: Any) -> None:
    certify(scene)
    before = current(scene.survey())
    recomputation_run(policy(as_user).json()["recomputation"])
    found = [one for one in steps(as_user, before) if facts(one).get("certificate") == "HR-2026-09-01"]
    assert facts(found[0])["error_correction_policy"] is None
    after = [
        one
        for one in steps(as_user, current(before.survey))
        if facts(one).get("certificate") == "HR-2026-09-01"
    ]
    assert facts(after[0])["error_correction_applied"] is True


def test_it_takes_as_many_queries_for_a_long_history_as_for_a_short_one(
    as_user: Any, result: Result, scene: Scene, django_assert_num_queries: Any
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def count(of: Result) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert steps(as_user, of)
        return len(queries)

    before = count(result)
    for wall in (0.0081, 0.0082, 0.0083):
        recomputation_run(scene.correct(wall).pk)
    assert count(current(result.survey)) == before


@pytest.mark.parametrize(
    ("who", "status"),
    [("owner", 200), ("colleague", 200), ("office", 200), ("stranger", 404), ("nobody", 401)],
)
def test_users_who_see_the_result_can_trace_it(as_user: Any, result: Result, who: str, status: int) -> None:
    assert as_user(who).get(f"/api/v1/results/{result.pk}/traceability/").status_code == status


def test_the_page_shows_the_same(cast: Any, result: Result) -> None:
    browser = Browser()
    address = f"/results/{result.pk}/traceability/"
    assert browser.get(address).status_code == 302
    browser.force_login(cast.owner)
    page = browser.get(address).content.decode()
    assert result.log.sha256 in page
    assert "Gauged: 8.0 mm." in page
    assert "8\xa0mm" in page
    assert "0.31496\xa0in" in browser.get(f"{address}?units=us").content.decode()
    browser.force_login(cast.stranger)
    assert browser.get(address).status_code == 404


def test_each_dependency_of_a_result_is_in_its_traceability(as_user: Any, result: Result) -> None:
    records = {step["record"] for step in steps(as_user, result)}
    for dependency in DEPENDENCIES:
        part = dependency.of_result(result)
        named = {str(key) for key in part} if isinstance(part, frozenset) else {str(part)}
        # An instrument whose error curve is applied stands with its certificate; the data of a survey with the survey.
        if dependency.name not in ("error_corrections", "survey_data"):
            assert named <= records, dependency.name
