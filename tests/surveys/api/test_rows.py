"""Lists and details in agreement with the records, and the same row of a record at every address."""

from __future__ import annotations

import json
from typing import Any, cast

import pytest
from django.utils.dateparse import parse_datetime
from drf_spectacular.generators import SchemaGenerator
from jsonschema import Draft202012Validator
from rest_framework import serializers

from compute.base.units import express
from surveys.api.results.recomputations import ResultOut
from surveys.api.results.result_rows import result_documents
from surveys.api.surveys.survey_documents import SurveyOut
from surveys.api.surveys.survey_rows import survey_documents
from surveys.api.urls import router
from surveys.calibration.affected_results import review_notices
from surveys.models import Result, Role, Survey, User
from surveys.models.base import uuid7
from tests.surveys.branches import Mounting, logged, mounted
from tests.surveys.people.access import signed_in
from tests.surveys.people.all_records import Everything

pytestmark = pytest.mark.django_db

UNITS = pytest.mark.parametrize("units", ["metric", "us"])


@pytest.fixture
def there(cast: Any, site: Any, kit: Any) -> Everything:
    """Surveys rich and poor: corrected and in doubt, with a further path, with marked stretches, and without a log."""
    cast.idle_technician = User.objects.create_user(username="idle", role=Role.TECHNICIAN)
    there = Everything(cast, site, kit)
    first = logged(mounted(there.scene, Mounting(path_angle_deg=0)))
    logged(mounted(there.scene, Mounting(primary_survey=first, path_angle_deg=90)))
    stretch = {"start": "2026-10-06T07:30:10Z", "end": "2026-10-06T07:31:00Z", "reason": "A pump ran."}
    stated = {
        "segments": {"segments": [stretch], "reason": "Marked."},
        "corrections": {"mounted_spacing": "61 mm", "reason": "Read off the photo."},
    }
    office = signed_in(cast, "office")
    for deed, body in stated.items():
        path = f"/api/v1/surveys/{there.other}/{deed}/"
        answer = office.post(path, json.dumps(body), content_type="application/json")
        assert answer.status_code == 202, answer.content
    there.fresh_survey()
    return there


def rows(api: Any, kind: str, units: str) -> list[dict[str, Any]]:
    answer = api.get(f"/api/v1/{kind}/?units={units}")
    assert answer.status_code == 200, answer.content
    return list(answer.json()["results"])


@UNITS
def test_a_row_of_a_list_is_the_record_as_it_is_read_by_itself(
    cast: Any, there: Everything, units: str
) -> None:
    api = signed_in(cast, "administrator")
    for kind, _, _ in router.registry:
        for row in rows(api, kind, units):
            alone = api.get(f"/api/v1/{kind}/{row['id']}/?units={units}").json()
            # Some records show more of themselves than fits a list.
            assert row == {name: alone[name] for name in row}, kind


@UNITS
def test_each_record_is_read_as_the_openapi_document_describes(
    cast: Any, there: Everything, units: str
) -> None:
    document = SchemaGenerator().get_schema(request=None, public=True)
    api, checked, differing = signed_in(cast, "administrator"), set(), []
    for path, operations in document["paths"].items():
        content = operations.get("get", {}).get("responses", {}).get("200", {}).get("content", {})
        if "application/json" not in content or "{token}" in path:
            continue
        parts = [
            there.id_of(path.removeprefix("/"), part[1:-1]) if part.startswith("{") else part
            for part in path.strip("/").split("/")
        ]
        answer = api.get(f"/{'/'.join(parts)}/", {"units": units})
        if answer.status_code != 200 or answer["Content-Type"] != "application/json":
            continue
        schema = content["application/json"]["schema"] | {"components": document["components"]}
        validator = Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER)
        errors = validator.iter_errors(answer.json())
        differing += [f"{path} {error.json_path}: {error.message[:300]}" for error in errors]
        checked.add(path)
    assert len(checked) > 70
    assert differing == []


@UNITS
def test_a_row_of_a_survey_agrees_with_its_records(cast: Any, there: Everything, units: Any) -> None:
    shown = {row["id"]: row for row in rows(signed_in(cast, "office"), "surveys", units)}
    surveys = Survey.objects.all()
    assert shown.keys() == {str(survey.pk) for survey in surveys}
    for survey in surveys:
        held(shown[str(survey.pk)], survey_holds(survey, units))
    rich = [row for row in shown.values() if row["under_review"] and row["result"] and row["log"]]
    poor = [row for row in shown.values() if not row["log"]]
    assert rich
    assert poor
    for name in ("paths", "primary_survey", "path_angle", "segments", "combination", "mounted_spacing"):
        assert any(row[name] for row in shown.values()), name


def survey_holds(survey: Survey, units: Any) -> dict[str, Any]:
    stated, log = survey.data.get(replaced_at=None), getattr(survey, "log", None)
    current = survey.results.filter(replaced_at=None).first()
    combination = getattr(survey.primary_survey or survey, "paths_combination", None)
    return {
        "measuring_point": survey.measuring_point_id,
        "data": stated.pk,
        "setup": stated.setup_id,
        "job": survey.job_id,
        "instruments": [one.pk for one in stated.instruments.all()],
        "technician": survey.technician.username,
        "started_at": survey.started_at,
        "ended_at": stated.ended_at,
        "recorded_at": survey.recorded_at,
        "mounted_spacing": quantity(stated.mounted_spacing_m, "length", units),
        "path_angle": quantity(stated.path_angle_rad, "angle", units),
        "medium_temperature": quantity(stated.medium_temperature_k, "temperature", units),
        "medium_temperature_source": stated.medium_temperature_source,
        "primary_survey": survey.primary_survey_id,
        "paths": [one.pk for one in survey.paths.order_by("recorded_at", "id")],
        "combination": combination and combination.pk,
        "segments": stated.segments,
        "note": stated.note,
        "log": log
        and {"sha256": log.sha256, "rows_accepted": log.rows_accepted, "rows_rejected": log.rows_rejected},
        "result": current
        and {
            "id": current.pk,
            "volume_flow": quantity(current.volume_flow_m3_s, "volume_flow", units),
            "expanded_uncertainty": quantity(current.expanded_uncertainty_m3_s, "volume_flow", units),
            "computed_at": current.computed_at,
        },
        "under_review": notices(survey),
    }


@UNITS
def test_a_row_of_a_result_agrees_with_its_records(cast: Any, there: Everything, units: Any) -> None:
    shown = {row["id"]: row for row in rows(signed_in(cast, "office"), "results", units)}
    results = Result.objects.all()
    assert shown.keys() == {str(result.pk) for result in results}
    for result in results:
        row = shown[str(result.pk)]
        held(row, result_holds(result, units))
        assert [one["input"] for one in row["budget"]] == [one["input"] for one in result.budget]
        for one, stored in zip(row["budget"], result.budget, strict=True):
            assert one["contribution"] == quantity(stored["contribution"]["si"], "volume_flow", units)
        assert [one["code"] for one in row["findings"]] == [one["code"] for one in result.findings]
        assert (row["change_breakdown"] is None) == (result.change_breakdown is None)
    for name in (
        "replaces",
        "replaced_by",
        "recomputation",
        "calibrations",
        "review_notices",
        "change_breakdown",
    ):
        assert any(row[name] for row in shown.values()), name


def result_holds(result: Result, units: Any) -> dict[str, Any]:
    replacement = Result.objects.filter(replaces=result).first()
    plain = (
        "cause", "computed_at", "replaced_at", "method_version", "readings_used", "readings_outside", "coverage_factor",
        "reynolds", "profile_factor",
    )  # fmt: skip
    records = (
        "survey",
        "replaces",
        "recomputation",
        "survey_data",
        "pipe_data",
        "transducer_data",
        "wall_measurement",
        "log",
    )
    kinds = {"volume_flow_m3_s": "volume_flow", "mean_velocity_m_s": "speed", "spacing_m": "length"}
    return {
        **{name: getattr(result, name) for name in plain},
        **{name: getattr(result, f"{name}_id") for name in records},
        **{
            column.removesuffix("_m3_s").removesuffix("_m_s").removesuffix("_m"): quantity(
                getattr(result, column), kind, units
            )
            for column, kind in kinds.items()
        },
        "current": result.replaced_at is None,
        "replaced_by": replacement and replacement.pk,
        "calibrations": [one.pk for one in result.calibrations.all()],
        "error_corrections": [one.pk for one in result.error_corrections.all()],
        "as_found_corrections": [one.pk for one in result.as_found_corrections.all()],
        "segments": result.survey_data.segments,
        "review_notices": notices(result.survey),
    }


def held(row: dict[str, Any], record: dict[str, Any]) -> None:
    for name, value in record.items():
        assert plain(row[name], value) == value, name


def plain(shown: Any, like: Any) -> Any:
    """What is shown, as the record has it: a time, an id."""
    if isinstance(like, dict):
        return {name: plain(shown[name], like[name]) for name in shown}
    if isinstance(like, list):
        return [plain(one, other) for one, other in zip(shown, like, strict=True)]
    if hasattr(like, "isoformat"):
        assert shown.endswith("Z")
        return parse_datetime(shown)
    return type(like)(shown) if hasattr(like, "hex") and isinstance(shown, str) else shown


def quantity(si: float | None, kind: str, units: Any) -> Any:
    return None if si is None else express(si, kind, units)


def notices(survey: Survey) -> list[dict[str, Any]]:
    return [
        {"state": one.state, "found_on": one.found_on.isoformat(), "sentence": one.sentence}
        for one in review_notices(survey.out_of_tolerance_reviews.all())
    ]


def test_rows_come_in_the_order_of_their_keys_and_none_for_a_key_of_nothing(there: Everything) -> None:
    keys = list(Survey.objects.values_list("pk", flat=True))
    for order in (keys, keys[::-1]):
        shown = survey_documents([uuid7(), *order], "metric")
        assert [row["id"] for row in shown] == order
    assert survey_documents([], "metric") == survey_documents([uuid7()], "metric") == []


@pytest.mark.parametrize(
    ("model", "documents", "serializer_class"),
    [(Survey, survey_documents, SurveyOut), (Result, result_documents, ResultOut)],
)
def test_a_document_has_the_fields_that_its_serializer_declares(
    there: Everything, model: Any, documents: Any, serializer_class: Any
) -> None:
    shown = documents(list(model.objects.values_list("pk", flat=True)), "metric")
    assert shown
    for document in shown:
        has_fields(document, serializer_class())


def has_fields(document: dict[str, Any], serializer: serializers.Serializer[Any]) -> None:
    """Check the names of a document and of the documents in it; quantities and findings are checked where they are made."""
    assert document.keys() == serializer.fields.keys()
    for name, field in serializer.fields.items():
        if isinstance(field, serializers.Serializer) and document[name] is not None:
            has_fields(document[name], field)
        elif isinstance(field, serializers.ListSerializer) and name not in ("findings", "budget"):
            for one in document[name]:
                has_fields(one, cast("serializers.Serializer[Any]", field.child))
