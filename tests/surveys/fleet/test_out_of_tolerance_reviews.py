"""Instrument found out of tolerance: affected results, and the decision on each."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from compute.calibration.decision_rules import DecisionRule, PermissibleError
from compute.calibration.points import Point
from surveys.calibration.affected_results import affected_results
from surveys.models import (
    Calibration,
    Instrument,
    Log,
    MeasuringPoint,
    Notice,
    OutOfToleranceReview,
    Recomputation,
    Result,
    ReviewedSurvey,
    Site,
    Survey,
    SurveyData,
)
from surveys.models.calibration import Moment
from surveys.results.inputs_in_force import inputs_of_result
from surveys.results.recalculation import recomputation_run
from surveys.results.reduction import survey_reduce
from surveys.services.fleet.calibrations import (
    CertificateContent,
    CertificatePoint,
    Limits,
    calibration_record,
)
from surveys.services.results import reports
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db

LIMITS = Limits(PermissibleError(relative=0.01), DecisionRule("simple-acceptance"))
GOOD = (Point(0.5, 0.501, 0.002, 2.0), Point(2.0, 2.004, 0.008, 2.0))
# 3 % high: far out of a limit of 1 %.
BAD = (Point(0.5, 0.515, 0.002, 2.0), Point(2.0, 2.06, 0.008, 2.0))
DAY = date(2026, 10, 6)


def certify(
    scene: Scene,
    on: date,
    as_found: tuple[Point, ...],
    as_left: tuple[Point, ...] = (),
    corrects: Calibration | None = None,
) -> Calibration:
    stated = [CertificatePoint(Moment.AS_FOUND, one) for one in as_found]
    stated += [CertificatePoint(Moment.AS_LEFT, one) for one in as_left]
    calibration, recomputation = calibration_record(
        calibration=Calibration(
            instrument=scene.kit.meter,
            certificate=f"HR-{on}{'-2' if corrects else ''}",
            laboratory="Harbour Row Calibration",
            calibrated_on=on,
            due_on=on + timedelta(days=365),
            corrects=corrects,
        ),
        content=CertificateContent(stated, LIMITS),
        reason="Entered wrongly." if corrects else "",
        by=scene.cast.calibration_admin,
        now=timezone.now(),
    )
    if recomputation:
        recomputation_run(recomputation.pk)
    return calibration


@pytest.fixture
def review(scene: Scene) -> OutOfToleranceReview:
    """Good on 1 September, surveyed on 6 October, found 3 % high on 1 November and adjusted."""
    certify(scene, date(2026, 9, 1), GOOD)
    scene.survey()
    certify(scene, date(2026, 11, 1), BAD, GOOD)
    return OutOfToleranceReview.objects.get()


def current(survey: Survey) -> Result:
    return Result.objects.get(survey=survey, replaced_at__isnull=True)


def decide(
    as_user: Any, review: OutOfToleranceReview, decision: str, who: str = "office", **also: Any
) -> Any:
    if review.recomputation is not None:
        recomputation_run(review.recomputation.pk)
    item = ReviewedSurvey.objects.get(review=review)
    body = {"decisions": [{"item": str(item.pk), "decision": decision, "reason": "Looked at it.", **also}]}
    return as_user(who).post(f"/api/v1/out-of-tolerance-reviews/{review.pk}/decisions/", body)


def test_it_lists_the_surveys_since_the_meter_was_last_in_tolerance(review: OutOfToleranceReview) -> None:
    assert (review.last_in_tolerance_on, review.found_on) == (date(2026, 9, 1), date(2026, 11, 1))
    assert [one.survey.started_at.date() for one in review.surveys.all()] == [DAY]
    assert review.reasoning[-1] == {"code": "last-in-tolerance", "parameters": {"on": {"date": "2026-09-01"}}}


def test_the_recomputation_shows_each_result_with_the_error_found_and_replaces_nothing(
    review: OutOfToleranceReview, as_user: Any
) -> None:
    assert review.recomputation is not None
    before = current(review.surveys.get().survey)
    recomputation_run(review.recomputation.pk)
    shown = (
        as_user("office").get(f"/api/v1/out-of-tolerance-reviews/{review.pk}/surveys/").json()["results"][0]
    )
    # By hand: 3 % high everywhere, so the true flow is the indicated over 1.03.
    assert shown["relative_change"] == pytest.approx(1 / 1.03 - 1, rel=1e-6)
    assert shown["state"] == "under-review"
    assert current(before.survey) == before
    assert review.recomputation.items.get().state == "done"


def test_a_calibration_within_its_limits_opens_none(scene: Scene) -> None:
    certify(scene, date(2026, 9, 1), GOOD)
    scene.survey()
    certify(scene, date(2026, 11, 1), GOOD)
    assert not OutOfToleranceReview.objects.exists()


def test_the_answer_to_the_certificate_names_the_review(review: OutOfToleranceReview, as_user: Any) -> None:
    shown = as_user("calibration_admin").get(f"/api/v1/calibrations/{review.calibration_id}/").json()
    assert shown["out_of_tolerance_review"] == {"id": str(review.pk), "surveys": 1}


def test_until_decided_the_client_reads_that_it_is_under_review(
    review: OutOfToleranceReview, as_user: Any
) -> None:
    survey = review.surveys.get().survey_id
    found = as_user("owner").get(f"/api/v1/surveys/{survey}/results/").json()[0]["review_notices"]
    assert [one["state"] for one in found] == ["under-review"]
    assert "Do not use the result." in found[0]["sentence"]


def test_a_corrected_survey_gets_a_new_result_and_the_client_is_notified(
    review: OutOfToleranceReview, as_user: Any
) -> None:
    before = current(review.surveys.get().survey)
    answer = decide(as_user, review, "corrected")
    assert answer.status_code == 202
    recomputation_run(Recomputation.objects.get(cause="as-found").pk)
    after = current(before.survey)
    assert after.volume_flow_m3_s == pytest.approx(before.volume_flow_m3_s / 1.03, rel=1e-6)
    assert list(after.as_found_corrections.all()) == [review.calibration]
    assert Notice.objects.get().after == after
    assert survey_reduce(inputs_of_result(after)).reduction.volume_flow == after.volume_flow_m3_s


def test_a_later_correction_of_the_pipe_keeps_the_error_corrected(
    review: OutOfToleranceReview, scene: Scene, as_user: Any
) -> None:
    decide(as_user, review, "corrected")
    recomputation_run(Recomputation.objects.get(cause="as-found").pk)
    recomputation_run(scene.correct(0.008).pk)
    assert list(current(review.surveys.get().survey).as_found_corrections.all()) == [review.calibration]


def test_a_confirmed_result_is_unchanged_and_shows_its_review(
    review: OutOfToleranceReview, as_user: Any
) -> None:
    before = current(review.surveys.get().survey)
    assert decide(as_user, review, "confirmed").status_code == 200
    assert current(before.survey) == before
    found = as_user("owner").get(f"/api/v1/results/{before.pk}/").json()["review_notices"][0]
    assert found["state"] == "confirmed"
    assert not Notice.objects.exists()


def test_the_client_is_notified_of_a_withdrawn_result(review: OutOfToleranceReview, as_user: Any) -> None:
    before = current(review.surveys.get().survey)
    assert decide(as_user, review, "withdrawn").status_code == 200
    notice = as_user("owner").get("/api/v1/notices/").json()["results"][0]
    assert (notice["kind"], notice["before"], notice["after"]) == ("withdrawn", str(before.pk), None)
    assert notice["flow_after"] is None


@pytest.mark.parametrize(
    ("changes", "status", "code"),
    [
        ({"reason": ""}, 400, "blank"),
        ({"as": "void"}, 400, "unknown-field"),
        ({"item": str(UUID(int=7))}, 400, "does-not-exist"),
    ],
)
def test_an_impossible_decision_is_rejected_completely(
    review: OutOfToleranceReview, as_user: Any, changes: dict[str, str], status: int, code: str
) -> None:
    answer = decide(as_user, review, "confirmed", **changes)
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (status, code)
    assert review.surveys.get().state == "under-review"


def test_a_survey_is_decided_once(review: OutOfToleranceReview, as_user: Any) -> None:
    assert decide(as_user, review, "confirmed").status_code == 200
    answer = decide(as_user, review, "withdrawn")
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (409, "already-decided")


def test_the_database_rejects_a_decision_without_reason(review: OutOfToleranceReview) -> None:
    with pytest.raises(IntegrityError, match="reviewed_survey_decided"), transaction.atomic():
        review.surveys.update(state="confirmed")


def test_a_certificate_entered_wrongly_takes_its_review_back(
    review: OutOfToleranceReview, scene: Scene, as_user: Any
) -> None:
    certify(scene, date(2026, 11, 1), GOOD, corrects=review.calibration)
    assert review.surveys.get().state == "void"
    [row] = as_user("office").get(f"/api/v1/out-of-tolerance-reviews/{review.pk}/surveys/").json()["results"]
    assert row["reason"] == "The certificate was entered wrongly and has been corrected."
    shown = as_user("owner").get(f"/api/v1/results/{current(review.surveys.get().survey).pk}/").json()
    assert shown["review_notices"] == []


@pytest.mark.parametrize(
    ("who", "read", "write"),
    [
        ("office", 200, 200),
        ("calibration_admin", 200, 200),
        ("technician", 404, 403),
        ("owner", 404, 403),
        ("nobody", 401, 401),
    ],
)
def test_reviews_are_the_offices_own(
    review: OutOfToleranceReview, as_user: Any, who: str, read: int, write: int
) -> None:
    assert as_user(who).get(f"/api/v1/out-of-tolerance-reviews/{review.pk}/").status_code == read
    assert decide(as_user, review, "confirmed", who).status_code == write


def test_an_instrument_lists_its_affected_results(review: OutOfToleranceReview, as_user: Any) -> None:
    address = f"/api/v1/instruments/{review.instrument_id}/affected-results/"
    rows = as_user("office").get(f"{address}?since=2026-10-06&until=2026-10-06").json()
    assert [row["survey"] for row in rows] == [str(review.surveys.get().survey_id)]
    assert as_user("office").get(f"{address}?since=2026-10-07").json() == []
    assert as_user("office").get(f"{address}?since=soon").status_code == 400
    assert as_user("technician").get(address).status_code == 403


def test_the_list_of_affected_results_agrees_with_a_count_by_hand(
    scene: Scene, cast: Any, django_assert_max_num_queries: Any
) -> None:
    """500 instruments and 20,000 surveys at two sites half a day apart, drawn at random; one query whatever the number."""
    fleet, used = large_fleet(scene, cast)
    chosen = random.Random(3).sample(fleet, 12)
    after, until = date(2025, 3, 1), date(2025, 9, 1)
    for instrument in chosen:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            found = {row.survey_id for row in affected_results(instrument, after, until)}
        assert len(queries) == 1
        by_hand = {
            survey
            for survey, instruments, day in used
            if instrument.pk in instruments and after <= day < until
        }
        assert found == by_hand
        assert by_hand


def large_fleet(scene: Scene, cast: Any) -> tuple[list[Instrument], list[tuple[UUID, set[UUID], date]]]:
    """Instruments, and of each survey its instruments and its day at the site; copied from one survey made by the services."""
    records = scene.survey()
    model, data, log = current(records), records.stated, records.log
    far = Site.objects.create(client=cast.other_client, name="Far side", time_zone="Pacific/Auckland")
    far_pipe = type(scene.pipe).objects.create(site=far, name="Line")
    points = [scene.point, MeasuringPoint.objects.create(pipe=far_pipe, name="East")]
    zones = [ZoneInfo(scene.pipe.site.time_zone), ZoneInfo("Pacific/Auckland")]
    fleet = Instrument.objects.bulk_create(
        [Instrument(kind="meter", type_name="Portable", serial=f"X-{n}") for n in range(500)]
    )
    rng, surveys, stated, logs, results, links, used = random.Random(1), [], [], [], [], [], []
    through: Any = SurveyData.instruments.through
    for n in range(20_000):
        at = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(minutes=rng.randrange(365 * 1440))
        survey = Survey(
            measuring_point=points[n % 2],
            client=records.client,
            technician=records.technician,
            started_at=at,
            recorded_at=at,
        )
        own = SurveyData(
            survey=survey, setup=data.setup, started_at=at, recorded_at=at, recorded_by=data.recorded_by
        )
        own_log = copied(Log, log, survey=survey)
        kit = {one.pk for one in rng.sample(fleet, 2)}
        surveys.append(survey)
        stated.append(own)
        logs.append(own_log)
        results.append(
            copied(Result, model, survey=survey, survey_data=own, log=own_log, budget=[], findings=[])
        )
        links += [through(surveydata_id=own.pk, instrument_id=pk) for pk in kit]
        used.append((survey.pk, kit, at.astimezone(zones[n % 2]).date()))
    for rows in (surveys, stated, logs, results, links):
        type(rows[0]).objects.bulk_create(rows, batch_size=500)
    return fleet, used


def copied(model: Any, row: Any, **changes: Any) -> Any:
    values = {
        field.attname: getattr(row, field.attname)
        for field in model._meta.concrete_fields
        if field.name != "id"
    }
    for name in changes:
        values.pop(name, None)
        values.pop(f"{name}_id", None)
    return model(**values, **changes)


def test_a_correction_requires_a_calculated_corrected_flow(
    review: OutOfToleranceReview, as_user: Any
) -> None:
    item = review.surveys.get()
    body = {"decisions": [{"item": str(item.pk), "decision": "corrected", "reason": "At once."}]}
    answer = as_user("office").post(f"/api/v1/out-of-tolerance-reviews/{review.pk}/decisions/", body)
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (409, "not-calculated")


def test_where_the_points_make_no_curve_there_is_nothing_to_correct(scene: Scene, as_user: Any) -> None:
    certify(scene, date(2026, 9, 1), GOOD)
    scene.survey()
    certify(scene, date(2026, 11, 1), BAD[:1])
    answer = decide(as_user, OutOfToleranceReview.objects.get(), "corrected")
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (409, "no-curve")


def test_each_client_reads_the_reason_given_for_their_own_survey(scene: Scene, as_user: Any) -> None:
    certify(scene, date(2026, 9, 1), GOOD)
    surveys = [scene.survey(), scene.survey(datetime(2026, 10, 7, 7, 30, tzinfo=UTC))]
    certify(scene, date(2026, 11, 1), BAD, GOOD)
    review = OutOfToleranceReview.objects.get()
    assert review.recomputation is not None
    recomputation_run(review.recomputation.pk)
    items = {item.survey_id: item for item in review.surveys.all()}
    decisions = [
        {"item": str(items[survey.pk].pk), "decision": "corrected", "reason": f"Reason {n}."}
        for n, survey in enumerate(surveys)
    ]
    as_user("office").post(
        f"/api/v1/out-of-tolerance-reviews/{review.pk}/decisions/", {"decisions": decisions}
    )
    recomputation_run(Recomputation.objects.get(cause="as-found").pk)
    for n, survey in enumerate(surveys):
        assert Notice.objects.get(after=current(survey)).reason == f"Reason {n}."


def test_two_decisions_for_one_survey_are_rejected(review: OutOfToleranceReview, as_user: Any) -> None:
    one = {"item": str(review.surveys.get().pk), "decision": "confirmed", "reason": "Looked at it."}
    answer = as_user("office").post(
        f"/api/v1/out-of-tolerance-reviews/{review.pk}/decisions/", {"decisions": [one, one]}
    )
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (400, "duplicate-decision")


def test_a_survey_sent_late_into_the_span_joins_the_review(
    review: OutOfToleranceReview, scene: Scene
) -> None:
    assert review.recomputation is not None
    recomputation_run(review.recomputation.pk)
    late = scene.survey(datetime(2026, 10, 20, 7, 30, tzinfo=UTC))
    outside = scene.survey(datetime(2026, 11, 2, 7, 30, tzinfo=UTC))
    assert {one.survey_id for one in review.surveys.all()} >= {late.pk}
    assert outside.pk not in {one.survey_id for one in review.surveys.all()}
    recomputation_run(review.recomputation.pk)
    item = review.surveys.get(survey=late)
    assert item.volume_flow_m3_s == pytest.approx(item.result.volume_flow_m3_s / 1.03, rel=1e-6)


def test_a_result_replaced_under_review_is_calculated_again(
    review: OutOfToleranceReview, scene: Scene
) -> None:
    assert review.recomputation is not None
    recomputation_run(review.recomputation.pk)
    recomputation_run(scene.correct(0.008).pk)
    recomputation_run(review.recomputation.pk)
    item = review.surveys.get()
    assert item.result == current(item.survey)
    assert item.volume_flow_m3_s == pytest.approx(item.result.volume_flow_m3_s / 1.03, rel=1e-6)


def test_until_decided_a_report_issued_before_carries_the_notice(
    scene: Scene, as_user: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    certify(scene, date(2026, 9, 1), GOOD)
    survey = scene.survey()
    report = as_user("office").post(f"/api/v1/surveys/{survey.pk}/reports/", {}).json()
    address = f"/api/v1/surveys/{survey.pk}/report.pdf"
    issued = as_user("owner").get(address).content
    certify(scene, date(2026, 11, 1), BAD, GOOD)
    pdfs: list[Any] = []
    typeset = reports.typeset
    monkeypatch.setattr(reports, "typeset", lambda pdf: pdfs.append(pdf) or typeset(pdf))
    found = as_user("owner").get(address)
    assert found.content != issued
    assert "changed since it was issued" in found["Warning"]
    assert pdfs[0].mark == "UNDER REVIEW"
    assert "Do not use the result." in pdfs[0].blocks[0]["text"]
    # What was issued is kept as it was, and counts as outdated.
    assert as_user("owner").get(f"/api/v1/reports/{report['id']}/file.pdf").content == issued
    outdated = as_user("office").get("/api/v1/reports/?outdated=true").json()["results"]
    assert [one["id"] for one in outdated] == [report["id"]]
    again = as_user("office").post(f"/api/v1/surveys/{survey.pk}/reports/", {"reason": "Under review."})
    assert (again.status_code, again.json()["outdated"]) == (201, False)
