"""Recalculation: a correction reaches every dependent result exactly once, under any failure."""

from __future__ import annotations

import contextlib
import threading
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import InterfaceError, OperationalError, connection
from django.utils import timezone

from surveys.core.errors import Conflict
from surveys.models import PipeData, Recomputation, RecomputationItem, Result, Survey
from surveys.operations import tasks
from surveys.results import claims, inputs_in_force, recalculation
from tests.surveys.drills.seed import multiply
from tests.surveys.scene import Scene, current

pytestmark = pytest.mark.django_db

Item = RecomputationItem.State


def finished(recomputation: Recomputation) -> Recomputation:
    recalculation.recomputation_run(recomputation.pk)
    recomputation.refresh_from_db()
    return recomputation


def test_every_survey_of_the_pipe_gets_one_new_result_and_keeps_the_old(scene: Scene) -> None:
    surveys = [scene.survey(), scene.survey()]
    before = [current(survey) for survey in surveys]
    assert finished(scene.correct(0.008)).state == Recomputation.State.FINISHED
    for survey, old in zip(surveys, before, strict=True):
        new = current(survey)
        assert new.replaces == old
        assert new.pipe_data.wall_thickness_m == 0.008
        assert Result.objects.get(pk=old.pk).volume_flow_m3_s == old.volume_flow_m3_s


def test_a_task_delivered_again_makes_no_second_result(scene: Scene) -> None:
    survey = scene.survey()
    recomputation = finished(scene.correct(0.008))
    finished(recomputation)
    assert survey.results.count() == 2


def test_the_same_inputs_give_the_same_result_to_the_bit(scene: Scene) -> None:
    survey = scene.survey()
    first = current(survey)
    finished(scene.correct(0.008))
    finished(scene.correct(0.0063))
    again = current(survey)
    assert (again.volume_flow_m3_s, again.expanded_uncertainty_m3_s, again.budget) == (
        first.volume_flow_m3_s,
        first.expanded_uncertainty_m3_s,
        first.budget,
    )


def test_of_two_corrections_the_later_wins_whichever_is_worked_off_first(scene: Scene) -> None:
    survey = scene.survey()
    first, second = scene.correct(0.0071), scene.correct(0.008)
    finished(second)
    finished(first)
    assert current(survey).pipe_data.wall_thickness_m == 0.008
    assert [item.state for item in RecomputationItem.objects.all()] == [Item.DONE, Item.DONE]


def test_an_already_corrected_version_cannot_be_corrected_again(scene: Scene) -> None:
    from surveys.services.pipes.pipes import pipe_correct
    from tests.surveys.scene import with_wall

    old = scene.in_force()
    scene.correct(0.008)
    with pytest.raises(Conflict) as caught:
        pipe_correct(
            pipe=scene.pipe,
            corrects=old,
            statement=with_wall(0.007),
            reason="x",
            valid_from=None,
            wall_measurement=None,
            by=scene.cast.office,
            now=timezone.now(),
        )
    assert caught.value.code == "already-corrected"


def test_a_modification_reaches_only_surveys_from_its_date_on(scene: Scene) -> None:
    early, late = scene.survey(), scene.survey(datetime(2026, 10, 20, 7, 30, tzinfo=UTC))
    finished(scene.alter(0.0071, date(2026, 10, 15)))
    assert current(early).pipe_data.wall_thickness_m == 0.0063
    assert current(late).pipe_data.wall_thickness_m == 0.0071


def test_a_corrected_date_moves_surveys_between_versions(scene: Scene) -> None:
    survey = scene.survey()
    finished(scene.alter(0.0071, date(2026, 10, 15)))
    from surveys.services.pipes.pipes import pipe_correct
    from tests.surveys.scene import with_wall

    modification = PipeData.objects.get(change="modification")
    _, recomputation = pipe_correct(
        pipe=scene.pipe,
        corrects=modification,
        statement=with_wall(0.0071),
        reason="It was done before the survey.",
        valid_from=date(2026, 10, 1),
        wall_measurement=None,
        by=scene.cast.office,
        now=timezone.now(),
    )
    finished(recomputation)
    assert current(survey).pipe_data.wall_thickness_m == 0.0071


def test_the_day_of_a_survey_is_that_of_the_sites_calendar(scene: Scene) -> None:
    # 23:00 UTC on the 14th is 01:00 on the 15th in Copenhagen (summer time).
    survey = scene.survey(datetime(2026, 10, 14, 23, 0, tzinfo=UTC))
    finished(scene.alter(0.0071, date(2026, 10, 15)))
    assert current(survey).pipe_data.wall_thickness_m == 0.0071


def test_a_failing_item_is_tried_again_later_then_parked_and_the_run_ends(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene.survey()
    recomputation = scene.correct(0.008)

    def broken(*_: Any) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(recalculation, "survey_reduce", broken)
    for attempt in range(1, claims.MAX_ATTEMPTS + 1):
        item = RecomputationItem.objects.get()
        assert (item.attempts, item.state) == (attempt - 1, Item.WAITING)
        RecomputationItem.objects.update(run_after=timezone.now())
        finished(recomputation)
    item = RecomputationItem.objects.get()
    assert item.state == Item.FAILED
    assert item.error == {
        "code": "calculation-failed",
        "parameters": {"error": "RuntimeError: the disk is full"},
    }
    recomputation.refresh_from_db()
    assert recomputation.state == Recomputation.State.FINISHED_WITH_FAILURES


def test_failed_work_is_retried_on_request(scene: Scene, as_user: Any) -> None:
    survey = scene.survey()
    recomputation = scene.correct(0.008)
    path = f"/api/v1/recomputations/{recomputation.pk}/retries/"
    assert as_user("office").post(path).json()["code"] == "nothing-failed"
    RecomputationItem.objects.update(state=Item.FAILED, attempts=5)
    finished(recomputation)
    assert as_user("technician").post(path).status_code == 403
    assert as_user("office").post(path).status_code == 202
    assert finished(recomputation).state == Recomputation.State.FINISHED
    assert survey.results.count() == 2


def test_a_failure_waits_longer_each_time(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    scene.survey()
    recomputation = scene.correct(0.008)
    monkeypatch.setattr(recalculation, "survey_reduce", lambda *_: 1 / 0)
    waits = []
    for _ in range(3):
        RecomputationItem.objects.update(run_after=timezone.now())
        finished(recomputation)
        waits.append(RecomputationItem.objects.get().run_after - timezone.now())
    assert waits == sorted(waits)
    assert waits[2] > timedelta(seconds=6)


def test_work_of_a_dead_worker_is_resumed_when_its_lease_expires(scene: Scene) -> None:
    survey = scene.survey()
    recomputation = scene.correct(0.008)
    assert claims.claim(recomputation.pk)
    assert recalculation.recomputations_due() == []
    RecomputationItem.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    assert recalculation.recomputations_due() == [recomputation.pk]
    assert finished(recomputation).state == Recomputation.State.FINISHED
    assert survey.results.count() == 2


def test_a_worker_that_lost_its_claim_stores_nothing(scene: Scene) -> None:
    survey = scene.survey()
    recomputation = scene.correct(0.008)
    lost = claims.claim(recomputation.pk)
    assert lost
    RecomputationItem.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    finished(recomputation)
    recalculation._process_claims(lost, recomputation)
    assert survey.results.count() == 2


def test_a_recomputation_with_nothing_to_do_is_finished_at_once(scene: Scene) -> None:
    assert scene.correct(0.008).state == Recomputation.State.FINISHED


@pytest.mark.django_db(transaction=True)
def test_the_same_task_delivered_four_times_at_once_makes_one_result_each(scene: Scene) -> None:
    surveys = [scene.survey(readings=40) for _ in range(12)]
    recomputation = scene.correct(0.008)

    def work() -> None:
        try:
            recalculation.recomputation_run(recomputation.pk)
        finally:
            connection.close()

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    finished(recomputation)
    assert {survey.results.count() for survey in surveys} == {2}
    assert {current(survey).pipe_data.wall_thickness_m for survey in surveys} == {0.008}
    assert Recomputation.objects.get().state == Recomputation.State.FINISHED


@pytest.mark.django_db(transaction=True)
def test_corrections_from_many_threads_leave_one_chain_and_every_survey_on_its_end(scene: Scene) -> None:
    surveys = [scene.survey(readings=40) for _ in range(3)]
    records: list[Recomputation] = []

    def correct(number: int) -> None:
        try:
            for step in range(3):
                while True:
                    # Somebody else may have corrected the same version: look again, as a person would.
                    with contextlib.suppress(Conflict):
                        records.append(scene.correct(0.007 + 0.0001 * number + 0.00001 * step))
                        break
        finally:
            connection.close()

    threads = [threading.Thread(target=correct, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(records) == 24
    for recomputation in reversed(records):
        assert finished(recomputation).state == Recomputation.State.FINISHED
    last = scene.in_force()
    assert {current(survey).pipe_data_id for survey in surveys} == {last.pk}
    assert PipeData.objects.filter(pipe=scene.pipe, corrected_by__isnull=True).count() == 1


def test_a_run_whose_worker_died_before_closing_it_is_closed_by_the_next_look(scene: Scene) -> None:
    scene.survey()
    recomputation = scene.correct(0.008)
    taken = claims.claim(recomputation.pk)
    assert taken
    recalculation._process_claims(taken, recomputation)
    assert recalculation.recomputations_due() == [recomputation.pk]
    assert finished(recomputation).state == Recomputation.State.FINISHED
    assert recalculation.recomputations_due() == []


def test_the_fast_query_of_inputs_in_force_agrees_with_the_records(scene: Scene) -> None:
    surveys = [scene.survey(), scene.survey(datetime(2026, 10, 14, 23, 0, tzinfo=UTC))]
    scene.alter(0.0071, date(2026, 10, 15))
    scene.correct(0.008)
    quick = inputs_in_force.keys_in_force([survey.pk for survey in surveys])
    assert quick == {
        s.pk: inputs_in_force.inputs_in_force(inputs_in_force.survey_with_inputs(s.pk)).key for s in surveys
    }
    assert len({key[1] for key in quick.values()}) == 2


def test_a_change_creates_an_item_for_a_survey_during_its_recalculation_even_if_it_is_unaffected(
    scene: Scene,
) -> None:
    survey = scene.survey()
    forth = scene.alter(0.0071, date(2026, 10, 1))
    taken = claims.claim(forth.pk)
    assert taken
    # The worker has read that the modification holds; now its date is corrected, and the old result would do.
    found = recalculation._read([survey.pk])[survey.pk]
    work = recalculation._compute(found)
    back = correct_date(scene, date(2026, 10, 15))
    assert [item.survey_id for item in back.items.all()] == [survey.pk]
    recalculation._store(taken.items[0], work, forth)
    assert survey.results.count() == 1
    finished(forth)
    finished(back)
    assert current(survey).pipe_data.wall_thickness_m == 0.0063


def test_a_worker_claims_a_part_of_many_items_and_other_workers_claim_others(scene: Scene) -> None:
    first = scene.survey(readings=40)
    multiply(Survey.objects.get(pk=first.pk), 59)
    recomputation = scene.correct(0.008)
    taken = [claims.claim(recomputation.pk) for _ in range(4)]
    assert [len(one.items) for one in taken if one] == [claims.MIN_CLAIMED] * 3
    assert len({item.pk for one in taken if one for item in one.items}) == 60


def test_a_worker_lets_go_of_items_another_took(scene: Scene, settings: Any) -> None:
    surveys = [scene.survey(readings=40) for _ in range(2)]
    recomputation = scene.correct(0.008)
    slow = claims.claim(recomputation.pk)
    assert slow
    RecomputationItem.objects.filter(pk=slow.items[1].pk).update(claimed_by=uuid4())
    slow.leased_at -= timedelta(seconds=settings.RECOMPUTATION_LEASE_SECONDS)
    recalculation._process_claims(slow, recomputation)
    assert [survey.results.count() for survey in surveys] == [2, 1]


def test_a_lost_connection_is_not_a_failure_of_the_item(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    survey = scene.survey()
    recomputation = scene.correct(0.008)
    compute, failures = (
        recalculation._compute,
        [OperationalError("the server closed the connection"), InterfaceError("gone")],
    )

    def shaky(found: Any) -> Any:
        if failures:
            raise failures.pop()
        return compute(found)

    monkeypatch.setattr(recalculation, "_compute", shaky)
    monkeypatch.setattr(recalculation, "PAUSES_SECONDS", (0, 0, 0))
    # The test's own transaction must outlive the connection the worker gives up.
    monkeypatch.setattr(recalculation.connection, "close", lambda: None)
    assert finished(recomputation).state == Recomputation.State.FINISHED
    assert survey.results.count() == 2
    assert RecomputationItem.objects.get().attempts == 1


def test_a_broker_that_hangs_does_not_delay_requests(
    scene: Scene, settings: Any, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    scene.survey()
    settings.CELERY_BROKER_URL = "redis://broker.example:6379/0"
    answered, sent = threading.Event(), threading.Event()

    def hang(*_: Any) -> None:
        assert answered.wait(30)
        sent.set()

    monkeypatch.setattr(tasks, "send", hang)
    with django_capture_on_commit_callbacks(execute=True):
        scene.correct(0.008)
    answered.set()
    assert sent.wait(30)


def correct_date(scene: Scene, valid_from: date) -> Recomputation:
    """Correct the date of the modification, and nothing else of it."""
    from surveys.services.pipes.pipes import pipe_correct
    from tests.surveys.scene import with_wall

    _, recomputation = pipe_correct(
        pipe=scene.pipe,
        corrects=PipeData.objects.get(change="modification"),
        statement=with_wall(0.0071),
        reason="Another day.",
        valid_from=valid_from,
        wall_measurement=None,
        by=scene.cast.office,
        now=timezone.now(),
    )
    return recomputation
