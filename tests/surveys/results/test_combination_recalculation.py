"""Recalculation of combinations after a change of one of their surveys."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from surveys.models import (
    Combination,
    CombinedResult,
    Notice,
    Recomputation,
    RecomputationItem,
    Result,
    Survey,
)
from surveys.results import recalculation
from surveys.results.combined_flow import combined_flow
from surveys.services.results.combinations import combination_resume
from surveys.services.results.recomputations import recomputation_retry
from tests.surveys.branches import (
    Mounting,
    branch,
    combined,
    current_of,
    logged,
    mounted,
    worked_off,
)
from tests.surveys.scene import Scene, current

pytestmark = pytest.mark.django_db

Item = RecomputationItem.State


@pytest.fixture
def west(scene: Scene) -> Scene:
    return branch(scene, "West branch")


@pytest.fixture
def both(scene: Scene, west: Scene) -> tuple[Combination, list[Survey]]:
    surveys = [logged(mounted(scene)), logged(mounted(west), 90)]
    return combined(scene, "sum", surveys), surveys


def rests_on_current(combination: Combination) -> bool:
    parts = set(
        Result.objects.filter(survey__combination_parts__combination=combination, replaced_at__isnull=True)
    )
    return set(current_of(combination).results.all()) == parts


def test_a_corrected_pipe_makes_one_new_combined_result_and_its_change_breakdown(
    scene: Scene, both: Any
) -> None:
    combination, surveys = both
    before, part_before = current_of(combination), current(surveys[0])
    run = worked_off(scene.correct(0.008))
    assert run.state == Recomputation.State.FINISHED
    after = current_of(combination)
    assert (after.replaces, after.recomputation, after.cause) == (before, run, "correction")
    assert combination.results.count() == 2
    assert rests_on_current(combination)
    moved, still = after.change_breakdown["parts"]
    change = current(surveys[0]).volume_flow_m3_s - part_before.volume_flow_m3_s
    assert moved["effect"]["si"] == pytest.approx(change)
    assert still["effect"]["si"] == 0
    assert after.change_breakdown["change"]["si"] == pytest.approx(change)
    assert CombinedResult.objects.get(pk=before.pk).volume_flow_m3_s == before.volume_flow_m3_s


def test_the_client_is_notified_of_the_combined_result_too(scene: Scene, both: Any) -> None:
    combination, _ = both
    worked_off(scene.correct(0.008))
    notice = Notice.objects.get(after_combined__isnull=False)
    assert (notice.after_combined, notice.after, notice.reason) == (current_of(combination), None, "Gauged.")
    assert notice.client == scene.cast.client
    assert Notice.objects.count() == 2


def test_two_paths_of_the_corrected_pipe_are_combined_once_when_both_are_done(scene: Scene) -> None:
    first = logged(mounted(scene))
    logged(mounted(scene, Mounting(primary_survey=first)))
    run = scene.correct(0.008)
    path = run.items.get(survey__primary_survey=first)
    another_has_it = {"state": Item.RUNNING, "lease_until": timezone.now() + timedelta(minutes=2)}
    RecomputationItem.objects.filter(pk=path.pk).update(**another_has_it)
    worked_off(run)
    # The other path is still being worked on: its combination is not taken up before it is done.
    assert run.items.get(combination__isnull=False).state == Item.WAITING
    RecomputationItem.objects.filter(pk=path.pk).update(lease_until=timezone.now())
    assert worked_off(run).state == Recomputation.State.FINISHED
    combination = Combination.objects.get()
    assert combination.results.count() == 2
    assert rests_on_current(combination)


@pytest.mark.parametrize("first", [0, 1])
def test_two_pipes_corrected_at_once_end_right_whichever_is_first(
    scene: Scene, west: Scene, both: Any, first: int
) -> None:
    combination, _ = both
    runs = [scene.correct(0.008), west.correct(0.0075)]
    for run in (runs[first], runs[1 - first]):
        assert worked_off(run).state == Recomputation.State.FINISHED
    assert rests_on_current(combination)
    assert combination.results.count() == 3
    assert {item.state for item in RecomputationItem.objects.all()} == {Item.DONE}


def test_a_part_that_changes_during_the_calculation_of_its_combination_restarts_it(
    scene: Scene, west: Scene, both: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    combination, _ = both
    early, late = scene.correct(0.008), west.correct(0.0075)
    computed: list[object] = []

    def flow_during_change(kind: str, results: Any) -> Any:
        computed.append(results)
        if len(computed) == 1:
            worked_off(late)
        return combined_flow(kind, results)

    monkeypatch.setattr("surveys.results.combining.combined_flow", flow_during_change)
    assert worked_off(early).state == Recomputation.State.FINISHED
    assert rests_on_current(combination)
    # What was computed first was not stored: the other run had combined the latest of both parts by then.
    assert combination.results.count() == 2
    assert {item.after_combined for item in combination.recomputation_items.all()} == {
        current_of(combination)
    }


def test_a_finished_item_of_a_combination_starts_again_when_another_part_changes(
    scene: Scene, west: Scene, both: Any
) -> None:
    combination, surveys = both
    # One run over both pipes, as a corrected instrument makes; the second part was failed and is taken up later.
    run = scene.correct(0.008)
    RecomputationItem.objects.create(
        recomputation=run,
        survey=surveys[1],
        before=current(surveys[1]),
        state=Item.FAILED,
        run_after=timezone.now(),
    )
    worked_off(run)
    between = current_of(combination)
    assert run.items.get(combination=combination).after_combined == between
    west.correct(0.0075)
    recomputation_retry(recomputation=run, now=timezone.now())
    assert worked_off(run).state == Recomputation.State.FINISHED
    assert current(surveys[1]).recomputation == run
    assert rests_on_current(combination)
    assert run.items.get(combination=combination).after_combined == current_of(combination)
    assert current_of(combination).replaces == between


def test_a_combination_that_can_no_longer_be_combined_is_parked_with_the_reason(
    scene: Scene, both: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from compute.base.errors import NotEnough

    def raise_not_enough(*_: Any) -> None:
        raise NotEnough(field="parts", variant="no-common-step")

    combination, surveys = both
    old = current_of(combination)
    monkeypatch.setattr("surveys.results.combining.combined_flow", raise_not_enough)
    run = scene.correct(0.008)
    while worked_off(run).finished_at is None:
        RecomputationItem.objects.update(run_after=timezone.now())
    item = RecomputationItem.objects.get(combination=combination)
    assert item.state == Item.FAILED
    assert (item.error["code"], item.error["variant"]) == ("not-enough-data", "no-common-step")
    assert run.state == Recomputation.State.FINISHED_WITH_FAILURES
    assert current_of(combination) == old
    assert current(surveys[0]).pipe_data.wall_thickness_m == 0.008


def test_a_retired_combination_is_not_recalculated_until_it_is_restored(scene: Scene, both: Any) -> None:
    combination, _ = both
    Combination.objects.update(retired_at=timezone.now())
    worked_off(scene.correct(0.008))
    assert combination.results.count() == 1
    assert not RecomputationItem.objects.filter(combination__isnull=False).exists()
    Combination.objects.update(retired_at=None)
    combination_resume(combination=Combination.objects.get(), now=timezone.now())
    assert rests_on_current(combination)
    assert current_of(combination).cause == "combination"


@pytest.mark.django_db(transaction=True)
def test_corrections_of_both_pipes_by_many_workers_end_on_the_last_results(
    scene: Scene, west: Scene, both: Any
) -> None:
    combination, _ = both
    runs = [place.correct(0.007 + 0.0001 * n) for n in range(3) for place in (scene, west)]

    def work(run: Recomputation) -> None:
        try:
            recalculation.recomputation_run(run.pk)
        finally:
            connection.close()

    threads = [threading.Thread(target=work, args=(run,)) for run in [*runs, *reversed(runs)]]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    RecomputationItem.objects.filter(state=Item.WAITING).update(run_after=timezone.now())
    for run in runs:
        assert worked_off(run).state == Recomputation.State.FINISHED
    assert rests_on_current(combination)
    chain = combination.results.order_by("computed_at")
    assert sum(result.replaced_at is None for result in chain) == 1
    assert sum(result.replaces is None for result in chain) == 1
