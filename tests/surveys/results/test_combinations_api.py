"""Further paths and combinations over the API: creation, reading, rejection and access."""

from __future__ import annotations

from typing import Any

import pytest

from surveys.models import Combination, Recomputation, Site
from surveys.results import recalculation
from tests.surveys.api.test_schema import check, schema
from tests.surveys.branches import Mounting, branch, logged, mounted
from tests.surveys.scene import Scene, current, make_scene

pytestmark = pytest.mark.django_db

__all__ = ["schema"]
PATH = "/api/v1/combinations/"


def combination_body(scene: Scene, surveys: list[Any], kind: str = "sum") -> dict[str, Any]:
    parts = [str(survey.pk) for survey in surveys]
    return {"site": str(scene.pipe.site_id), "name": "Both branches", "kind": kind, "parts": parts}


def two_branches(scene: Scene) -> list[Any]:
    return [logged(mounted(scene)), logged(mounted(branch(scene, "West branch")), 90)]


def test_a_technician_records_a_crossed_path_and_reads_the_combination(
    scene: Scene, as_user: Any, schema: Any
) -> None:
    first = logged(mounted(scene))
    technician = as_user("office")
    body = {
        "measuring_point": str(scene.point.pk),
        "setup": str(first.stated.setup_id),
        "instruments": [str(scene.kit.meter.pk)],
        "started_at": "2026-10-06T07:30:00Z",
        "primary_survey": str(first.pk),
        "path_angle": "90 deg",
    }
    answer = technician.post("/api/v1/surveys/", body, format="json")
    assert answer.status_code == 201, answer.content
    check(schema, "post", "/api/v1/surveys/", answer)
    records = answer.json()
    assert records["primary_survey"] == str(first.pk)
    assert records["path_angle"] == {"value": pytest.approx(90), "unit": "deg"}
    logged(scene.point.surveys.get(pk=records["id"]))
    seen = technician.get(f"/api/v1/surveys/{first.pk}/").json()
    assert seen["paths"] == [records["id"]]
    assert seen["primary_survey"] is None
    combination = technician.get(f"{PATH}{seen['combination']}/").json()
    assert [part["survey"] for part in combination["parts"]] == [str(first.pk), records["id"]]
    assert combination["kind"] == "multipath"
    assert combination["up_to_date"] is True
    assert technician.get(f"/api/v1/surveys/{records['id']}/").json()["combination"] == combination["id"]


def test_a_path_angle_noted_wrongly_is_corrected(scene: Scene, as_user: Any) -> None:
    survey = logged(mounted(scene, Mounting(path_angle_deg=0)))
    answer = as_user("office").post(
        f"/api/v1/surveys/{survey.pk}/corrections/",
        {"path_angle": "45 deg", "reason": "Read off the photo."},
        format="json",
    )
    assert answer.status_code == 202
    assert answer.json()["data"]["path_angle"] == {"value": pytest.approx(45), "unit": "deg"}
    rejected = as_user("office").post(
        f"/api/v1/surveys/{survey.pk}/corrections/",
        {"primary_survey": str(survey.pk), "reason": "x"},
        format="json",
    )
    assert (rejected.status_code, rejected.json()["errors"][0]["field"]) == (400, "primary_survey")


def test_two_branches_are_summed_and_every_answer_is_as_described(
    scene: Scene, as_user: Any, schema: Any
) -> None:
    office, surveys = as_user("office"), two_branches(scene)
    records = office.post(PATH, combination_body(scene, surveys), format="json")
    assert records.status_code == 201, records.content
    check(schema, "post", PATH, records)
    run = scene.correct(0.008)
    recalculation.recomputation_run(run.pk)
    own = f"{PATH}{records.json()['id']}/"
    for path, form in ((PATH, PATH), (own, f"{PATH}{{id}}/"), (f"{own}results/", f"{PATH}{{id}}/results/")):
        check(schema, "get", form, office.get(path))
    new, old = office.get(f"{own}results/").json()
    assert new["replaces"] == old["id"]
    assert new["change_breakdown"]["change"]["unit"] == "m3/h"
    flows = [current(survey).volume_flow_m3_s * 3600 for survey in surveys]
    assert new["volume_flow"] == {"value": pytest.approx(sum(flows)), "unit": "m3/h"}
    assert [part["volume_flow"]["value"] for part in new["parts"]] == pytest.approx(flows)
    assert sum(row["variance_fraction"] for row in new["budget"]) == pytest.approx(1)


def test_a_run_and_its_notices_name_the_combinations(scene: Scene, as_user: Any, schema: Any) -> None:
    office = as_user("office")
    combination = office.post(PATH, combination_body(scene, two_branches(scene)), format="json").json()["id"]
    run = scene.correct(0.008)
    recalculation.recomputation_run(run.pk)
    path = f"/api/v1/recomputations/{run.pk}/"
    answer = office.get(path)
    check(schema, "get", "/api/v1/recomputations/{id}/", answer)
    of_survey, of_both = answer.json()["items"]
    assert (of_survey["combination"], of_both["survey"], of_both["combination"]) == (None, None, combination)
    moved = of_both["after"]["value"] - of_both["before"]["value"]
    assert of_both["difference"]["value"] == pytest.approx(moved)
    assert of_both["difference"]["value"] == pytest.approx(of_survey["difference"]["value"])
    short = office.get(f"{path}summary/")
    check(schema, "get", "/api/v1/recomputations/{id}/summary/", short)
    assert (short.json()["surveys"], short.json()["combinations"]) == (1, 1)
    notices = as_user("owner").get("/api/v1/notices/", {"combination": combination})
    check(schema, "get", "/api/v1/notices/", notices)
    [notice] = notices.json()["results"]
    assert notice["id"] == of_both["notice"]
    assert (notice["survey"], notice["combination"]) == (None, combination)
    assert notice["flow_after"] == of_both["after"]


def test_a_waiting_combination_has_no_result_and_the_status_waiting(
    scene: Scene, as_user: Any, schema: Any
) -> None:
    surveys = [logged(mounted(scene)), mounted(branch(scene, "West branch"))]
    answer = as_user("office").post(PATH, combination_body(scene, surveys, "difference"), format="json")
    check(schema, "post", PATH, answer)
    records = answer.json()
    assert (records["result"], records["up_to_date"]) == (None, False)
    assert [part["result"] for part in records["parts"]] == [str(current(surveys[0]).pk), None]


def test_a_combination_is_renamed_retired_and_restored(scene: Scene, as_user: Any, schema: Any) -> None:
    office = as_user("office")
    records = office.post(PATH, combination_body(scene, two_branches(scene)), format="json")
    own = f"{PATH}{records.json()['id']}/"
    retired = office.patch(own, {"name": "Old sum", "retired_at": "2026-11-01T00:00:00Z"}, format="json")
    check(schema, "patch", f"{PATH}{{id}}/", retired)
    assert retired.json()["name"] == "Old sum"
    run: Recomputation = scene.correct(0.008)
    recalculation.recomputation_run(run.pk)
    assert office.get(own).json()["up_to_date"] is False
    again = office.patch(own, {"retired_at": None}, format="json").json()
    assert (again["retired_at"], again["up_to_date"]) == (None, True)
    assert len(office.get(f"{own}results/").json()) == 2
    stale = office.patch(own, {"note": "x"}, format="json", HTTP_IF_MATCH=records["ETag"])
    assert stale.status_code == 412


@pytest.mark.parametrize(
    ("change", "field", "code"),
    [
        ({"parts": []}, "parts", "parts-number"),
        ({"kind": "multipath"}, "kind", "invalid-choice"),
        ({"kind": "product"}, "kind", "invalid-choice"),
        ({"parts": ["no id"]}, "parts.0", "invalid"),
        ({"parts": ["00000000-0000-0000-0000-000000000000"] * 2}, "parts.0", "does-not-exist"),
        ({"parts": ["00000000-0000-0000-0000-000000000000"] * 25}, "parts", "max-length"),
        ({"parts": "all"}, "parts", "not-a-list"),
        ({"survey": "x"}, "survey", "unknown-field"),
    ],
)
def test_bad_input_is_rejected_with_its_field(
    scene: Scene, as_user: Any, change: dict[str, Any], field: str, code: str
) -> None:
    answer = as_user("office").post(PATH, combination_body(scene, []) | change, format="json")
    assert answer.status_code == 400
    error = answer.json()["errors"][0]
    assert (error["field"], error["code"]) == (field, code)
    assert not Combination.objects.exists()


def test_surveys_of_two_sites_a_part_twice_and_logs_of_two_days_are_rejected(
    scene: Scene, as_user: Any, cast: Any, kit: Any
) -> None:
    office, one = as_user("office"), logged(mounted(scene))
    far = logged(mounted(make_scene(Site.objects.create(client=cast.client, name="Far"), cast, kit)))
    late = logged(mounted(branch(scene, "West branch")), late=86_400)
    for surveys, code in (
        ([one, far], "other-site"),
        ([one, one], "duplicate-part"),
        ([one, late], "not-enough-data"),
    ):
        answer = office.post(PATH, combination_body(scene, surveys), format="json")
        assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_who_sees_and_writes_combinations(scene: Scene, as_user: Any) -> None:
    surveys = two_branches(scene)
    body = combination_body(scene, surveys)
    assert as_user("owner").post(PATH, body, format="json").status_code == 403
    assert as_user("nobody").get(PATH).status_code == 401
    own = f"{PATH}{as_user('office').post(PATH, body, format='json').json()['id']}/"
    for path in (own, f"{own}results/"):
        assert as_user("colleague").get(path).status_code == 200
        assert as_user("stranger").get(path).status_code == 404
        # A technician without a job at the site does not know of it.
        assert as_user("technician").get(path).status_code == 404
    # To a technician of no job there the surveys and the site do not exist.
    rejected = as_user("technician").post(PATH, body, format="json")
    assert {error["field"] for error in rejected.json()["errors"]} == {"site", "parts.0", "parts.1"}


def test_a_list_of_combinations_costs_the_same_for_two_and_for_many(scene: Scene, as_user: Any) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    office, body = as_user("office"), combination_body(scene, two_branches(scene))
    counts = []
    for _ in range(2):
        office.post(PATH, body, format="json")
        office.post(PATH, body, format="json")
        with CaptureQueriesContext(connection) as queries:
            assert office.get(PATH).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
