"""Plans: the checker against brute force, the solver against both, and rules of every plan."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from itertools import permutations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compute.planning import search
from compute.planning.check import faults, score_of
from compute.planning.problem import DAY, Assignment, Job, Kit, Problem, Qualified, Span, Technician
from compute.planning.search import Planned, find_plan
from tests.benchmarks.plan import Size, example_problem

SECONDS = 1.0
Choices = dict[int, tuple[Technician, Kit]]
WEEK = Span(0, 7 * DAY)
MORNING = Span(480, 960)


def job(name: str = "pump house", **changed: object) -> Job:
    usual = Job(name, 1, 120, Span(480, 960), 50, frozenset(), frozenset({"kit"}))
    return dataclasses.replace(usual, **changed)  # type: ignore[arg-type]


def technician(name: str = "Ada", **changed: object) -> Technician:
    return dataclasses.replace(Technician(name, 0, (MORNING,)), **changed)  # type: ignore[arg-type]


def kit(name: str = "kit", **changed: object) -> Kit:
    return dataclasses.replace(Kit(name, (WEEK,), WEEK.end), **changed)  # type: ignore[arg-type]


def problem(*jobs: Job, **changed: object) -> Problem:
    usual = Problem(jobs, (technician(),), (kit(),), ((0, 30), (30, 0)))
    return dataclasses.replace(usual, **changed)  # type: ignore[arg-type]


def planned(example: Problem) -> Planned:
    """A plan, held against the checker and against its own account before it is given."""
    plan = find_plan(example, SECONDS)
    assert faults(example, plan.assignments) == []
    score = score_of(example, plan.assignments)
    assert score == plan.score
    assert plan.greedy_objective <= plan.objective == score.objective(example.move_cost) <= plan.bound
    assert {a.job for a in plan.assignments} ^ {u.job for u in plan.unscheduled} == {
        j.id for j in example.jobs
    }
    return plan


def reason(example: Problem) -> str:
    return planned(example).unscheduled[0].reason.code


def test_a_job_is_done_after_the_way_there() -> None:
    assert planned(problem(job())).assignments == (Assignment("pump house", "Ada", "kit", 510),)


def test_a_plan_with_all_jobs_is_proven_optimal_and_reported_so() -> None:
    plan = planned(problem(job()))
    assert (plan.status, plan.optimality_gap, plan.bound) == ("optimal", 0.0, 50)
    assert plan.explanation[0].parameters == {"scheduled": 1, "count": 1, "points": 50, "all_points": 50}


def test_two_short_jobs_beat_a_long_one_worth_less_than_both() -> None:
    # The careful plan by value takes the long one first, by value for each minute the short ones: 2 x 40 > 50.
    rows = (job("long", minutes=420), *(job(name, minutes=200, value=40) for name in "ab"))
    assert {example.job for example in planned(problem(*rows)).assignments} == {"a", "b"}


@pytest.mark.parametrize(
    ("code", "example"),
    [
        ("window-too-short", problem(job(window=Span(480, 540)))),
        ("no-qualified-technician", problem(job(qualifications=frozenset({"confined-space"})))),
        ("no-shift-long-enough", problem(job(minutes=430))),
        ("no-kit-fits", problem(job(kits=frozenset()))),
        ("no-kit-in-calibration", problem(job(), kits=(kit(valid_until=500),))),
        ("no-kit-free", problem(job(), kits=(kit(free=(Span(0, 520), Span(900, DAY))),))),
        ("no-common-time", problem(job(), kits=(kit(free=(Span(480, 620),)),), travel=((0, 30), (30, 0)))),
        ("all-busy", problem(job(minutes=300), job("other", minutes=300))),
    ],
)
def test_an_unscheduled_job_has_a_reason(code: str, example: Problem) -> None:
    assert reason(example) == code


def test_a_qualification_that_ends_during_the_job_does_not_do() -> None:
    had = Qualified("confined-space", Span(0, 600))
    example = problem(
        job(qualifications=frozenset({"confined-space"})), technicians=(technician(qualified=(had,)),)
    )
    assert reason(example) == "no-shift-long-enough"


def test_a_kit_is_with_one_technician_a_day() -> None:
    rows = (job(minutes=300), job("other", minutes=300))
    assert len(planned(problem(*rows, technicians=(technician(), technician("Ben")))).assignments) == 1


def test_an_absence_parts_a_shift_and_the_way_home_lies_between() -> None:
    away = technician(absences=(Span(690, 720),))
    rows = planned(problem(job(), job("other"), technicians=(away,))).assignments
    assert [example.start for example in rows] == [510, 750]


def test_without_the_solver_the_heuristic_plan_is_returned_and_named_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(search, "find_spec", lambda name: None)
    plan = planned(example_problem(Size(12, 2, 4, 2, 6)))
    assert [example.code for example in plan.findings] == ["plan-heuristic-only"]
    assert plan.objective == plan.greedy_objective


def test_without_jobs_the_plan_is_empty_and_optimal() -> None:
    for example in (problem(), problem(job(kits=frozenset()))):
        assert (planned(example).assignments, planned(example).status, planned(example).optimality_gap) == (
            (),
            "optimal",
            0.0,
        )


@pytest.mark.parametrize(
    ("expected", "wrong"),
    [
        ("ends .* before it starts", lambda: Span(600, 480)),
        ("above 0", lambda: job(minutes=0)),
        ("named twice", lambda: problem(job(), job())),
        ("not in the problem", lambda: problem(job(), kept=(Assignment("pump house", "Eve", "kit", 600),))),
        ("no kept assignment", lambda: problem(job(), fixed=frozenset({"pump house"}))),
    ],
)
def test_an_impossible_problem_is_rejected(expected: str, wrong: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=expected):
        wrong()


# Changes


def test_an_unchanged_problem_keeps_its_plan() -> None:
    example = example_problem(Size(8, 3, 8, 2, 4))
    first = planned(example)
    assert first.status == "optimal"
    again = planned(dataclasses.replace(example, kept=first.assignments))
    assert again.assignments == first.assignments
    assert again.score.moved == 0


def test_with_expensive_moves_a_large_plan_only_grows() -> None:
    example = example_problem(Size(90, 6, 12, 3, 30))
    first = planned(example).assignments
    again = planned(dataclasses.replace(example, kept=first, move_cost=1000))
    assert again.score.moved == 0
    assert set(first) <= set(again.assignments)


def test_only_the_jobs_of_the_absent_technician_change() -> None:
    example = example_problem(Size(8, 3, 8, 2, 4))
    first = planned(example).assignments
    ill = first[0].technician
    people = tuple(
        dataclasses.replace(person, absences=(WEEK,)) if person.id == ill else person
        for person in example.technicians
    )
    # A move dearer than any job: nothing else is moved to make room.
    after = planned(dataclasses.replace(example, technicians=people, kept=first, move_cost=1000)).assignments
    assert {row for row in first if row.technician != ill} <= set(after)


def test_less_travel_alone_does_not_move_a_job() -> None:
    kept = (Assignment("pump house", "Ada", "kit", 700),)
    assert planned(problem(job(), kept=kept)).assignments == kept


def test_jobs_are_moved_if_another_job_is_worth_it() -> None:
    kept = (Assignment("pump house", "Ada", "kit", 700),)
    plan = planned(problem(job(), job("other", minutes=240), kept=kept, move_cost=10))
    assert (len(plan.assignments), plan.score.moved, plan.objective) == (2, 1, 90)


def test_a_job_on_site_stays_if_its_technician_loses_the_qualification() -> None:
    local = job(qualifications=frozenset({"confined-space"}))
    kept = (Assignment("pump house", "Ada", "kit", 600),)
    example = problem(local, job("other"), kept=kept, fixed=frozenset({"pump house"}))
    assert kept[0] in planned(example).assignments
    assert len(planned(example).assignments) == 2


# The checker

GOOD = Assignment("pump house", "Ada", "kit", 600)


@pytest.mark.parametrize(
    ("expected", "example", "rows"),
    [
        ("outside its window", problem(job(window=Span(480, 700))), [GOOD]),
        ("does not fit", problem(job(kits=frozenset())), [GOOD]),
        ("out of calibration", problem(job(), kits=(kit(valid_until=719),)), [GOOD]),
        ("not free", problem(job(), kits=(kit(free=(Span(0, 719),)),)), [GOOD]),
        ("is away", problem(job(), technicians=(technician(absences=(Span(719, 900),)),)), [GOOD]),
        ("not qualified", problem(job(qualifications=frozenset({"x"}))), [GOOD]),
        ("planned twice", problem(job()), [GOOD, GOOD]),
        ("outside the shifts", problem(job(), technicians=(technician(shifts=(Span(0, 700),)),)), [GOOD]),
        ("in time from home", problem(job()), [dataclasses.replace(GOOD, start=509)]),
        ("home in time", problem(job()), [dataclasses.replace(GOOD, start=811)]),
        ("in time after", problem(job(), job("b", site=0)), [GOOD, Assignment("b", "Ada", "kit", 749)]),
        (
            "on one day",
            problem(job(), job("b"), technicians=(technician(), technician("Ben"))),
            [GOOD, Assignment("b", "Ben", "kit", 730)],
        ),
        ("at once", problem(job(), job("b")), [GOOD, Assignment("b", "Ada", "kit", 700)]),
        ("stay as it was", problem(job(), kept=(GOOD,), fixed=frozenset({"pump house"})), []),
    ],
)
def test_the_checker_names_each_fault(expected: str, example: Problem, rows: list[Assignment]) -> None:
    assert any(expected in fault for fault in faults(example, rows))


def test_the_checker_lets_a_good_plan_pass() -> None:
    assert faults(problem(job()), [GOOD]) == []


# Small problems by brute force


def brute_force(example: Problem) -> int:
    """The greatest value by trying every technician, kit and order, each job as early as the checker lets it be."""
    pairs = list(product(example.technicians, example.kits))
    # What cannot be done alone cannot be done beside other jobs either: no way is shorter past another site.
    alone = [
        [pair for pair in pairs if _can_be(example, {at: pair}, (at,))] for at in range(len(example.jobs))
    ]
    chosen = [
        {at: choice for at, choice in enumerate(choices) if choice}
        for choices in product(*([None, *some] for some in alone))
    ]
    worth = sorted(
        ((sum(example.jobs[at].value for at in some), some) for some in chosen), key=lambda row: -row[0]
    )
    return next(value for value, some in worth if _in_some_order(example, some))


def _in_some_order(example: Problem, some: Choices) -> bool:
    # The order of two jobs matters if one technician does both.
    orders = {tuple(sorted(order, key=lambda at: some[at][0].id)) for order in permutations(some)}
    return any(_can_be(example, some, order) for order in orders)


def _can_be(example: Problem, chosen: Choices, order: tuple[int, ...]) -> bool:
    rows: list[Assignment] = []
    where: dict[str, tuple[int, int]] = {}
    for at in order:
        job, (person, kit) = example.jobs[at], chosen[at]
        free, site = where.get(person.id, (480, person.home))
        start = free + example.travel[site][job.site]
        starts = [start, job.window.start, *(span.start for span in kit.free)]
        row = next(
            (
                row
                for begin in sorted(s for s in starts if s >= start)
                for row in [Assignment(job.id, person.id, kit.id, begin)]
                if not [f for f in faults(example, [*rows, row]) if "home in time" not in f]
            ),
            None,
        )
        if row is None:
            return False
        rows.append(row)
        where[person.id] = row.start + job.minutes, job.site
    return not faults(example, rows)


@st.composite
def small_problems(draw: st.DrawFn) -> Problem:
    few = st.integers(0, 3)
    minutes = st.sampled_from([90, 150, 210])
    kits = (
        kit("k0", free=(Span(draw(st.sampled_from([0, 600])), DAY),)),
        kit("k1", valid_until=draw(st.sampled_from([700, DAY]))),
    )
    people = tuple(
        technician(name, qualified=(Qualified("q", WEEK),) if draw(st.booleans()) else ())
        for name in ("Ada", "Ben")
    )
    jobs = tuple(
        Job(
            f"j{at}",
            draw(few),
            draw(minutes),
            Span(draw(st.sampled_from([480, 600])), draw(st.sampled_from([780, 960]))),
            draw(st.integers(1, 9)),
            frozenset({"q"} if draw(st.booleans()) else ()),
            frozenset(draw(st.sets(st.sampled_from(["k0", "k1"]), min_size=1))),
        )
        for at in range(draw(st.integers(1, 4)))
    )
    far = draw(st.sampled_from([0, 20, 45]))
    return Problem(jobs, people, kits, tuple(tuple(far * abs(a - b) for b in range(4)) for a in range(4)))


@settings(max_examples=10)
@given(small_problems())
def test_small_problems_are_solved_as_well_as_by_brute_force(example: Problem) -> None:
    plan = planned(example)
    assert plan.status == "optimal"
    assert plan.objective == brute_force(example)


def test_a_large_problem_in_parts_breaks_no_rule_and_beats_the_heuristic_plan() -> None:
    plan = planned(example_problem(Size(90, 6, 12, 3, 30)))
    assert plan.objective > plan.greedy_objective


def test_the_same_problem_gives_the_same_plan() -> None:
    example = example_problem(Size(10, 3, 6, 1, 8))
    assert find_plan(example, 20).assignments == find_plan(example, 20).assignments


@pytest.mark.parametrize("size", [Size(90, 6, 12, 3, 30), Size(24, 3, 6, 2, 10)], ids=["parts", "whole"])
def test_progress_is_reported(size: Size, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search, "PROGRESS_INTERVAL", 0.01)
    heard: list[float] = []
    find_plan(example_problem(size), 1.0, report_progress=heard.append)
    assert heard == sorted(heard)
    assert 0 <= heard[0] <= heard[-1] <= 1
