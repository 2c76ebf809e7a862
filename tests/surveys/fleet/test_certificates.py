"""Certificates with points: calculated conformity, and rejection of invalid ones."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from surveys.models import Calibration, CalibrationPoint
from tests.surveys.api.test_schema import check, schema  # noqa: F401
from tests.surveys.fleet.certificates import GUARDED, LIMIT, PATH, certificate, errors, point

pytestmark = pytest.mark.django_db


@pytest.fixture
def admin(as_user: Any) -> Any:
    return as_user("calibration_admin")


def recorded(admin: Any, body: dict[str, Any]) -> Any:
    answer = admin.post(PATH, body, format="json")
    assert answer.status_code == 201, answer.content
    return answer.json()


def test_an_error_within_the_limit_passes_with_its_probability(admin: Any, kit: Any) -> None:
    body = certificate(kit.gauge, as_found=[point("5 mm", "5.00 mm"), point("20 mm", "20.04 mm")], **LIMIT)
    conformity = recorded(admin, body)["conformity"]
    assert (conformity["conformity"], conformity["conforms"], conformity["of"]) == ("pass", True, "as-found")
    worst = conformity["as_found"]["points"][conformity["as_found"]["worst_point"]]
    assert worst["error"] == {"value": pytest.approx(0.04), "unit": "mm"}
    assert worst["fraction_of_limit"] == pytest.approx(0.8)
    # By hand: u = 0.01 mm, the limit one u away; the normal distribution holds 0.841345 below one u.
    assert worst["conformance_probability"] == pytest.approx(0.841345, abs=1e-6)
    assert conformity["as_left"] is None


def test_a_guard_band_makes_the_same_points_fail(admin: Any, kit: Any) -> None:
    body = certificate(kit.gauge, as_found=[point("20 mm", "20.04 mm")], **GUARDED)
    conformity = recorded(admin, body)["conformity"]
    assert conformity["conformity"] == "fail"
    # By hand: 0.05 mm less the expanded uncertainty of 0.02 mm.
    assert conformity["as_found"]["points"][0]["acceptance_limit"]["value"] == pytest.approx(0.03)


def test_after_an_adjustment_the_points_as_left_decide_and_those_as_found_stay(admin: Any, kit: Any) -> None:
    body = certificate(
        kit.gauge, as_found=[point("20 mm", "20.40 mm")], as_left=[point("20 mm", "20.01 mm")], **LIMIT
    )
    answer = recorded(admin, body)
    conformity = answer["conformity"]
    assert (conformity["conformity"], conformity["of"]) == ("pass", "as-left")
    assert conformity["as_found"]["conformity"] == "fail"
    assert [len(answer[name]) for name in ("as_found", "as_left")] == [1, 1]


@pytest.mark.parametrize(
    ("which", "points", "limit"),
    [
        ("meter", [point("1 m/s", "1.004 m/s", "0.003 m/s")], {"relative": 0.005}),
        ("gauge", [point("0.5 in", "0.501 in", "0.001 in")], {"absolute": "0.05 mm", "relative": 0.01, "combine_by": "maximum"}),
        ("pair", [point("0 ns", "0.4 ns", "0.2 ns")], {"absolute": "1 ns"}),
    ],
)  # fmt: skip
def test_each_kind_is_calibrated_in_its_own_quantity(
    admin: Any, kit: Any, which: str, points: Any, limit: Any
) -> None:
    body = certificate(
        getattr(kit, which),
        as_found=points,
        maximum_permissible_error=limit,
        decision_rule={"rule": "simple-acceptance"},
    )
    assert recorded(admin, body)["conformity"]["conformity"] == "pass"


def test_a_thermometer_is_judged_by_differences_of_temperature(admin: Any, as_user: Any) -> None:
    body = {"kind": "thermometer", "type_name": "contact thermometer", "serial": "T-0007"}
    created = as_user("office").post("/api/v1/instruments/", body, format="json").json()
    found = [point("50 degC", "50.3 degC", "0.1 K")]
    body = certificate(
        type("T", (), {"pk": created["id"]}),
        as_found=found,
        maximum_permissible_error={"absolute": "0.5 K"},
        decision_rule={"rule": "simple-acceptance"},
    )
    judged = recorded(admin, body)["conformity"]["as_found"]["points"][0]
    assert judged["error"] == {"value": pytest.approx(0.3), "unit": "K"}
    assert judged["conformity"] == "pass"


def test_without_limits_there_is_no_statement_of_conformity(admin: Any, kit: Any) -> None:
    answer = recorded(admin, certificate(kit.gauge, as_found=[point("20 mm", "20.01 mm")]))
    assert answer["conformity"]["conformity"] is None
    assert answer["limits"] is None
    assert [one["code"] for one in answer["conformity"]["findings"]] == ["limits-not-stated"]


def test_a_certificate_without_points_has_no_statement_of_conformity_and_says_why(
    admin: Any, kit: Any
) -> None:
    answer = recorded(admin, certificate(kit.gauge))
    assert answer["conformity"]["conformity"] is None
    assert "points-not-stated" in {one["code"] for one in answer["conformity"]["findings"]}


def test_the_most_specific_policy_applies_without_limits_and_a_later_one_changes_nothing(
    admin: Any, kit: Any
) -> None:
    policies = "/api/v1/acceptance-policies/"
    wide = LIMIT | {"maximum_permissible_error": {"absolute": "0.5 mm"}}
    for body in (wide | {"kind": "thickness-gauge"}, LIMIT | {"instrument": str(kit.gauge.pk)}):
        assert admin.post(policies, body, format="json").status_code == 201
    created = recorded(admin, certificate(kit.gauge, as_found=[point("20 mm", "20.1 mm")]))
    assert created["conformity"]["conformity"] == "fail"
    assert created["limits"]["limits_from"] == "instrument"
    assert "limits-from-policy" in {one["code"] for one in created["conformity"]["findings"]}
    assert admin.post(policies, wide | {"instrument": str(kit.gauge.pk)}, format="json").status_code == 201
    assert admin.get(f"{PATH}{created['id']}/").json()["conformity"]["conformity"] == "fail"


@pytest.mark.parametrize(
    ("also", "field", "code"),
    [
        ({"as_found": [{"indicated": "20 mm", "expanded_uncertainty": "0.02 mm", "coverage_factor": 2}]}, "as_found.0.reference", "required"),
        ({"as_found": [point("20 mm", "20 mm"), point("20", "20 mm")]}, "as_found.1.reference", "unit-missing"),
        ({"as_left": [point("20 m/s", "20 mm")]}, "as_left.0.reference", "unit-unknown"),
        ({"as_left": [point("20 mm", "20 mm", "-0.1 mm")]}, "as_left.0.expanded_uncertainty", "out-of-range"),
        ({"as_left": [point("20 mm", "20 mm", k=0)]}, "as_left.0.coverage_factor", "out-of-range"),
        ({"as_found": [point("1e300 m", "20 mm")]}, "as_found.0.reference", "out-of-range"),
        ({"as_found": [[]]}, "as_found.0", "invalid"),
        ({"as_found": [point("20 mm", "20 mm") | {"indicated": ["x"]}]}, "as_found.0.indicated", "number-invalid"),
        ({"conformity": "pass"}, "conformity", "unknown-field"),
        ({"due_on": "2026-09-01"}, "due_on", "due-too-early"),
        ({"due_on": "2027-02-29"}, "due_on", "invalid"),
        ({"serial": "G-9999"}, "serial", "other-serial"),
        ({"maximum_permissible_error": {"absolute": "0.05 mm"}}, "decision_rule", "required"),
        (GUARDED | {"maximum_permissible_error": {}}, "maximum_permissible_error", "not-enough-data"),
        (GUARDED | {"maximum_permissible_error": {"relative": 5}}, "maximum_permissible_error.relative", "out-of-range"),
        (GUARDED | {"maximum_permissible_error": {"absolute": "1 mm", "relative": 0.1}}, "maximum_permissible_error.combine_by",
         "not-enough-data"),
        ({"maximum_permissible_error": {"absolute": "1 mm"}, "decision_rule": {"rule": "lenient"}},
         "decision_rule.rule", "invalid-choice"),
        (LIMIT | {"decision_rule": {"rule": "simple-acceptance", "guard_factor": -1}}, "decision_rule.guard_factor", "out-of-range"),
        (LIMIT | {"as_found": [point("0 mm", "0 mm")], "maximum_permissible_error": {"relative": 0.1}},
         "maximum_permissible_error.absolute", "out-of-range"),
    ],
)  # fmt: skip
def test_impossible_values_are_rejected_with_their_field_and_not_stored(
    admin: Any, kit: Any, also: Any, field: str, code: str
) -> None:
    before = Calibration.objects.count()
    answer = admin.post(PATH, certificate(kit.gauge, **also), format="json")
    assert errors(answer) == [(400, field, code)]
    assert (Calibration.objects.count(), CalibrationPoint.objects.count()) == (before, 0)


def test_the_certificates_serial_may_be_written_with_spaces_and_in_small_letters(
    admin: Any, kit: Any
) -> None:
    recorded(admin, certificate(kit.gauge, serial=" g-0033 "))


def test_a_correction_brings_its_own_points(admin: Any, kit: Any) -> None:
    first = recorded(admin, certificate(kit.gauge, as_found=[point("20 mm", "20.4 mm")], **LIMIT))
    again = certificate(
        kit.gauge,
        as_found=[point("20 mm", "20.04 mm")],
        corrects=first["id"],
        reason="A digit misread.",
        **LIMIT,
    )
    assert recorded(admin, again)["conformity"]["conformity"] == "pass"
    assert admin.get(f"{PATH}{first['id']}/").json()["conformity"]["conformity"] == "fail"


def test_calibrations_and_their_points_are_never_changed(admin: Any, kit: Any) -> None:
    recorded(admin, certificate(kit.gauge, as_found=[point("20 mm", "20.4 mm")], **LIMIT))
    for model, change in (
        (CalibrationPoint, {"indicated_si": 0.02}),
        (Calibration, {"decision_rule": "non-binary"}),
    ):
        with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
            model.objects.update(**change)


def test_answers_are_as_described(admin: Any, kit: Any, schema: Any) -> None:  # noqa: F811
    body = certificate(
        kit.gauge, as_found=[point("20 mm", "20.4 mm")], conditions_temperature="21 degC", **GUARDED
    )
    check(schema, "post", PATH, admin.post(PATH, body, format="json"))
    check(schema, "get", PATH, admin.get(PATH))
    for name in ("acceptance-policies", "interval-policies"):
        path = f"/api/v1/{name}/"
        body = LIMIT if name == "acceptance-policies" else {"months": 12}
        check(schema, "post", path, admin.post(path, body | {"kind": "thickness-gauge"}, format="json"))
        check(schema, "get", path, admin.get(path))


def test_the_list_costs_the_same_whatever_its_length(
    admin: Any, kit: Any, django_assert_num_queries: Any
) -> None:
    path, counts = {"page_size": "500"}, []
    for more in (1, 12):
        for number in range(more):
            recorded(
                admin,
                certificate(
                    kit.gauge, certificate=f"N-{more}-{number}", as_found=[point("20 mm", "20 mm")], **LIMIT
                ),
            )
        with django_assert_num_queries(3):
            counts.append(len(admin.get(PATH, path).json()["results"]))
    assert counts == [4, 16]


def test_technicians_read_and_clients_see_none_of_it(as_user: Any, admin: Any, kit: Any) -> None:
    created = recorded(admin, certificate(kit.gauge))
    assert as_user("technician").get(f"{PATH}{created['id']}/").status_code == 200
    assert as_user("technician").post(PATH, certificate(kit.gauge), format="json").status_code == 403
    assert as_user("owner").get(f"{PATH}{created['id']}/").status_code == 404
    assert as_user("nobody").get(f"{PATH}{created['id']}/").status_code == 401
