"""Error curves of certificates in results: reported, or applied by a policy; a policy recalculates results."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from compute.calibration.points import Point
from surveys.models import Calibration, Recomputation, Result, Survey
from surveys.models.calibration import Moment
from surveys.results.dependencies import result_key
from surveys.results.inputs_in_force import (
    inputs_in_force,
    inputs_of_result,
    keys_in_force,
    survey_with_inputs,
)
from surveys.results.recalculation import recomputation_run
from surveys.results.reduction import result_flows, survey_reduce
from surveys.services.fleet.calibrations import CertificateContent, CertificatePoint, calibration_record
from surveys.services.pipes.pipes import wall_measurement_record
from tests.surveys.branches import logged, mounted
from tests.surveys.scene import STARTED, Scene

pytestmark = pytest.mark.django_db

POINTS = (Point(0.5, 0.505, 0.002, 2.0), Point(2.0, 2.02, 0.008, 2.0))


def certify(scene: Scene, points: tuple[Point, ...] = POINTS, on: date = date(2026, 9, 1)) -> Calibration:
    """A certificate of the meter: 1 % high from 0.5 to 2 m/s, known to 0.4 %."""
    calibration, recomputation = calibration_record(
        calibration=Calibration(
            instrument=scene.kit.meter,
            certificate=f"HR-{on}",
            laboratory="Harbour Row Calibration",
            calibrated_on=on,
            due_on=on + timedelta(days=365),
        ),
        content=CertificateContent([CertificatePoint(Moment.AS_FOUND, point) for point in points]),
        by=scene.cast.calibration_admin,
        now=timezone.now(),
    )
    if recomputation:
        recomputation_run(recomputation.pk)
    return calibration


def current(survey: Survey) -> Result:
    return Result.objects.get(survey=survey, replaced_at__isnull=True)


def policy(as_user: Any, **fields: Any) -> Any:
    body = {"kind": "meter", "applied": True, "valid_from": "2026-01-01", "reason": "House rule.", **fields}
    return as_user("calibration_admin").post("/api/v1/error-correction-policies/", body)


def test_without_a_policy_a_known_error_is_not_corrected_but_reported(scene: Scene) -> None:
    before = current(scene.survey())
    certify(scene)
    after = current(before.survey)
    assert after.volume_flow_m3_s == before.volume_flow_m3_s
    assert after.expanded_uncertainty_m3_s > before.expanded_uncertainty_m3_s
    assert "calibration-error-not-corrected" in {finding["code"] for finding in after.findings}
    assert "meter.calibration" in {row["input"] for row in after.budget}
    assert not after.error_corrections.exists()


def test_a_policy_corrects_surveys_from_its_date_on(scene: Scene, as_user: Any) -> None:
    certify(scene)
    survey = scene.survey()
    before = current(survey)
    answer = policy(as_user)
    assert answer.status_code == 201
    recomputation_run(answer.json()["recomputation"])
    after = current(survey)
    assert after.volume_flow_m3_s == pytest.approx(before.volume_flow_m3_s / 1.01, rel=1e-9)
    assert after.replaces == before
    assert list(after.error_corrections.all()) == [scene.kit.meter]
    cause = next(one for one in after.change_breakdown["causes"] if one["field"] == "error_corrections")
    assert cause["effect"]["si"] == pytest.approx(after.volume_flow_m3_s - before.volume_flow_m3_s, rel=1e-6)
    assert cause["before"] == []


def test_the_reason_that_nobody_gave_is_a_message_and_is_read_in_words(
    scene: Scene, as_user: Any, client: Any
) -> None:
    certify(scene)
    scene.survey()
    run = Recomputation.objects.get(pk=policy(as_user, reason="").json()["recomputation"])
    assert run.reason == {
        "code": "error-curves-applied",
        "parameters": {"on": {"date": "2026-01-01"}},
    }
    expected = "Results from 2026-01-01 are corrected by error curves."
    assert as_user("office").get(f"/api/v1/recomputations/{run.pk}/").json()["reason"] == expected
    client.force_login(scene.cast.office)
    assert expected in client.get(f"/office/recomputations/{run.pk}/").content.decode()


def test_the_reason_that_a_person_gave_stays_as_entered(scene: Scene, as_user: Any) -> None:
    certify(scene)
    scene.survey()
    run = Recomputation.objects.get(pk=policy(as_user, reason="{House} rule.").json()["recomputation"])
    assert run.reason == "{House} rule."
    assert as_user("office").get(f"/api/v1/recomputations/{run.pk}/").json()["reason"] == "{House} rule."


def test_a_policy_of_a_later_day_leaves_earlier_surveys_alone(scene: Scene, as_user: Any) -> None:
    certify(scene)
    survey = scene.survey()
    assert policy(as_user, valid_from="2026-10-07").json()["recomputation"] is None
    assert not current(survey).error_corrections.exists()


def test_the_policy_of_an_instrument_outdoes_that_of_its_kind(scene: Scene, as_user: Any) -> None:
    certify(scene)
    policy(as_user)
    body = {"instrument": str(scene.kit.meter.pk), "applied": False, "valid_from": "2026-01-01"}
    assert as_user("calibration_admin").post("/api/v1/error-correction-policies/", body).status_code == 201
    assert not current(scene.survey()).error_corrections.exists()


def test_a_corrected_result_is_reproduced_to_the_bit_from_its_inputs(scene: Scene, as_user: Any) -> None:
    certify(scene)
    policy(as_user)
    result = current(scene.survey())
    again = survey_reduce(inputs_of_result(result)).reduction
    assert again.volume_flow == result.volume_flow_m3_s
    assert again.uncertainty.expanded_uncertainty == result.expanded_uncertainty_m3_s


def test_both_queries_of_inputs_in_force_agree(scene: Scene, as_user: Any) -> None:
    certify(scene)
    policy(as_user)
    survey = scene.survey()
    inputs = inputs_in_force(survey_with_inputs(survey.pk))
    assert keys_in_force([survey.pk])[survey.pk] == inputs.key == result_key(current(survey))


def test_a_policy_recorded_twice_computes_nothing_again(scene: Scene, as_user: Any) -> None:
    certify(scene)
    policy(as_user)
    survey = scene.survey()
    assert policy(as_user).json()["recomputation"] is None
    assert Result.objects.filter(survey=survey).count() == 1
    assert not Recomputation.objects.filter(cause="error-correction-policy").exists()


def test_a_certificate_with_one_point_gives_a_finding_and_no_curve(scene: Scene) -> None:
    certify(scene, POINTS[:1])
    codes = {finding["code"] for finding in current(scene.survey()).findings}
    assert "error-curve-not-usable" in codes
    assert "calibration-error-not-corrected" not in codes


def test_a_certificate_with_a_future_date_is_rejected(scene: Scene, as_user: Any) -> None:
    body = {
        "instrument": str(scene.kit.meter.pk),
        "certificate": "HR-9",
        "laboratory": "Harbour Row Calibration",
        "calibrated_on": (timezone.now().date() + timedelta(days=2)).isoformat(),
        "due_on": (timezone.now().date() + timedelta(days=300)).isoformat(),
    }
    answer = as_user("calibration_admin").post("/api/v1/calibrations/", body)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["code"] == "date-in-future"
    assert not Calibration.objects.filter(certificate="HR-9").exists()


@pytest.mark.parametrize(
    ("who", "status"), [("office", 403), ("technician", 403), ("owner", 403), ("nobody", 401)]
)
def test_only_those_who_keep_the_fleet_decide(as_user: Any, who: str, status: int) -> None:
    body = {"kind": "meter", "applied": True, "valid_from": "2026-01-01"}
    assert as_user(who).post("/api/v1/error-correction-policies/", body).status_code == status


def test_a_later_wall_measurement_does_not_change_the_flows_of_an_earlier_result(
    scene: Scene, as_user: Any
) -> None:
    # The gauge shows a wall of 6.3 mm half a millimetre thick of the truth, and the policy corrects by that.
    gauge = scene.kit.gauge
    points = (Point(0.0058, 0.0063, 2e-5, 2.0), Point(0.0195, 0.02, 2e-5, 2.0))
    calibration_record(
        calibration=Calibration(
            instrument=gauge, certificate="HR-gauge", laboratory="Harbour Row Calibration",
            calibrated_on=date(2026, 9, 1), due_on=date(2027, 9, 1),
        ),
        content=CertificateContent([CertificatePoint(Moment.AS_FOUND, point) for point in points]),
        by=scene.cast.calibration_admin,
        now=timezone.now(),
    )  # fmt: skip
    policy(as_user, kind="thickness-gauge")

    def measured_wall(wall: float, at: datetime) -> None:
        wall_measurement_record(
            pipe=scene.pipe, gauge=gauge, readings_m=[wall - 1e-5, wall, wall + 1e-5], gauge_velocity_setting_m_s=None,
            taken_at=at, note="", as_entered={}, by=scene.cast.technician,
        )  # fmt: skip

    measured_wall(0.0063, STARTED)
    # A survey that names the gauge among its instruments.
    survey = mounted(scene)
    survey.data.get().instruments.add(gauge)
    result = current(logged(survey))
    before = result_flows(result, "log").values
    # The wall entered does not rest on this one, so that nothing would be known of its error any more.
    measured_wall(0.0091, timezone.now())
    assert (result_flows(Result.objects.get(pk=result.pk), "log").values == before).all()
