"""Corrections reach every result that rested on what was wrong, once, whatever happens meanwhile."""

from __future__ import annotations

import contextlib
import threading
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from surveys import claims, recompute
from surveys.errors import Conflict
from surveys.models import PipeData, Recomputation, RecomputationItem, Result
from tests.surveys.scene import Scene, current, scene

pytestmark = pytest.mark.django_db

Item = RecomputationItem.State


@pytest.fixture
def here(site: Any, cast: Any, kit: Any) -> Scene:
    return scene(site, cast, kit)


def finished(recomputation: Recomputation) -> Recomputation:
    recompute.work_off(recomputation.pk)
    recomputation.refresh_from_db()
    return recomputation


def test_every_survey_of_the_pipe_gets_one_new_result_and_keeps_the_old(here: Scene) -> None:
    surveys = [here.survey(), here.survey()]
    before = [current(survey) for survey in surveys]
    assert finished(here.correct(0.008)).state == Recomputation.State.FINISHED
    for survey, old in zip(surveys, before, strict=True):
        new = current(survey)
        assert new.replaces == old
        assert new.pipe_data.wall_thickness_m == 0.008
        assert Result.objects.get(pk=old.pk).volume_flow_m3_s == old.volume_flow_m3_s


def test_a_task_delivered_again_makes_no_second_result(here: Scene) -> None:
    survey = here.survey()
    recomputation = finished(here.correct(0.008))
    finished(recomputation)
    assert survey.results.count() == 2


def test_the_same_inputs_give_the_same_result_to_the_bit(here: Scene) -> None:
    survey = here.survey()
    first = current(survey)
    finished(here.correct(0.008))
    finished(here.correct(0.0063))
    again = current(survey)
    assert (again.volume_flow_m3_s, again.expanded_uncertainty_m3_s, again.budget) == (
        first.volume_flow_m3_s,
        first.expanded_uncertainty_m3_s,
        first.budget,
    )


def test_of_two_corrections_the_later_wins_whichever_is_worked_off_first(here: Scene) -> None:
    survey = here.survey()
    first, second = here.correct(0.0071), here.correct(0.008)
    finished(second)
    finished(first)
    assert current(survey).pipe_data.wall_thickness_m == 0.008
    assert [item.state for item in RecomputationItem.objects.all()] == [Item.DONE, Item.DONE]


def test_a_version_corrected_already_cannot_be_corrected_again(here: Scene) -> None:
    from surveys.services.pipes import pipe_correct
    from tests.surveys.scene import with_wall

    old = here.in_force()
    here.correct(0.008)
    with pytest.raises(Conflict) as caught:
        pipe_correct(
            pipe=here.pipe,
            corrects=old,
            statement=with_wall(0.007),
            reason="x",
            holds_from=None,
            gauging=None,
            by=here.cast.office,
            now=timezone.now(),
        )
    assert caught.value.code == "corrected-already"


def test_an_alteration_reaches_only_surveys_from_its_date_on(here: Scene) -> None:
    early, late = here.survey(), here.survey(datetime(2026, 10, 20, 7, 30, tzinfo=UTC))
    finished(here.alter(0.0071, date(2026, 10, 15)))
    assert current(early).pipe_data.wall_thickness_m == 0.0063
    assert current(late).pipe_data.wall_thickness_m == 0.0071


def test_a_corrected_date_moves_surveys_between_versions(here: Scene) -> None:
    survey = here.survey()
    finished(here.alter(0.0071, date(2026, 10, 15)))
    from surveys.services.pipes import pipe_correct
    from tests.surveys.scene import with_wall

    alteration = PipeData.objects.get(change="alteration")
    _, recomputation = pipe_correct(
        pipe=here.pipe,
        corrects=alteration,
        statement=with_wall(0.0071),
        reason="It was done before the survey.",
        holds_from=date(2026, 10, 1),
        gauging=None,
        by=here.cast.office,
        now=timezone.now(),
    )
    finished(recomputation)
    assert current(survey).pipe_data.wall_thickness_m == 0.0071


def test_the_day_of_a_survey_is_that_of_the_sites_calendar(here: Scene) -> None:
    # 23:00 UTC on the 14th is 01:00 on the 15th in Copenhagen (summer time).
    survey = here.survey(datetime(2026, 10, 14, 23, 0, tzinfo=UTC))
    finished(here.alter(0.0071, date(2026, 10, 15)))
    assert current(survey).pipe_data.wall_thickness_m == 0.0071


def test_a_failing_item_is_tried_again_later_then_parked_and_the_run_ends(
    here: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    here.survey()
    recomputation = here.correct(0.008)

    def broken(*_: Any) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(recompute, "survey_reduce", broken)
    for attempt in range(1, claims.MOST_ATTEMPTS + 1):
        item = RecomputationItem.objects.get()
        assert (item.attempts, item.state) == (attempt - 1, Item.WAITING)
        RecomputationItem.objects.update(run_after=timezone.now())
        finished(recomputation)
    item = RecomputationItem.objects.get()
    assert (item.state, item.error) == (Item.PARKED, "RuntimeError: the disk is full")
    recomputation.refresh_from_db()
    assert recomputation.state == Recomputation.State.FINISHED_WITH_FAILURES


def test_parked_work_is_taken_up_again_when_asked(here: Scene, as_user: Any) -> None:
    survey = here.survey()
    recomputation = here.correct(0.008)
    path = f"/api/v1/recomputations/{recomputation.pk}/retries/"
    assert as_user("office").post(path).json()["code"] == "nothing-parked"
    RecomputationItem.objects.update(state=Item.PARKED, attempts=5)
    finished(recomputation)
    assert as_user("technician").post(path).status_code == 403
    assert as_user("office").post(path).status_code == 202
    assert finished(recomputation).state == Recomputation.State.FINISHED
    assert survey.results.count() == 2


def test_a_failure_waits_longer_each_time(here: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    here.survey()
    recomputation = here.correct(0.008)
    monkeypatch.setattr(recompute, "survey_reduce", lambda *_: 1 / 0)
    waits = []
    for _ in range(3):
        RecomputationItem.objects.update(run_after=timezone.now())
        finished(recomputation)
        waits.append(RecomputationItem.objects.get().run_after - timezone.now())
    assert waits == sorted(waits)
    assert waits[2] > timedelta(seconds=6)


def test_work_of_a_worker_that_died_is_taken_up_when_its_lease_runs_out(here: Scene) -> None:
    survey = here.survey()
    recomputation = here.correct(0.008)
    assert claims.claim(recomputation.pk)
    assert recompute.recomputations_due() == []
    RecomputationItem.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    assert recompute.recomputations_due() == [recomputation.pk]
    assert finished(recomputation).state == Recomputation.State.FINISHED
    assert survey.results.count() == 2


def test_a_worker_that_lost_its_claim_stores_nothing(here: Scene) -> None:
    survey = here.survey()
    recomputation = here.correct(0.008)
    lost = claims.claim(recomputation.pk)
    assert lost
    RecomputationItem.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    finished(recomputation)
    recompute._work_on(lost, recomputation)
    assert survey.results.count() == 2


def test_a_recomputation_with_nothing_to_do_is_finished_at_once(here: Scene) -> None:
    assert here.correct(0.008).state == Recomputation.State.FINISHED


@pytest.mark.django_db(transaction=True)
def test_the_same_task_delivered_four_times_at_once_makes_one_result_each(here: Scene) -> None:
    surveys = [here.survey(readings=40) for _ in range(12)]
    recomputation = here.correct(0.008)

    def work() -> None:
        try:
            recompute.work_off(recomputation.pk)
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
def test_corrections_from_many_threads_leave_one_chain_and_every_survey_on_its_end(here: Scene) -> None:
    surveys = [here.survey(readings=40) for _ in range(3)]
    made: list[Recomputation] = []

    def correct(number: int) -> None:
        try:
            for step in range(3):
                while True:
                    # Somebody else may have corrected the same version: look again, as a person would.
                    with contextlib.suppress(Conflict):
                        made.append(here.correct(0.007 + 0.0001 * number + 0.00001 * step))
                        break
        finally:
            connection.close()

    threads = [threading.Thread(target=correct, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(made) == 24
    for recomputation in reversed(made):
        assert finished(recomputation).state == Recomputation.State.FINISHED
    last = here.in_force()
    assert {current(survey).pipe_data_id for survey in surveys} == {last.pk}
    assert PipeData.objects.filter(pipe=here.pipe, corrected_by__isnull=True).count() == 1
