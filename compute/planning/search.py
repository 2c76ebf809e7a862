"""Search within a time limit: the heuristic plan improved part by part by the solver, and a bound on the objective."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor, wait
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Literal

from compute.base.messages import Finding, Message, finding
from compute.planning.board import ModelInput, Routes
from compute.planning.bound import easy_bound, linear_bound
from compute.planning.explain import explanation, unscheduled_jobs
from compute.planning.greedy import Filling, greedy_routes, rank
from compute.planning.model import SEED, Effort, solved, weight
from compute.planning.problem import Assignment, Problem, Score, Unscheduled

# Up to this number of pairs of consecutive jobs the solver gets one model; it solves a larger problem in parts.
WHOLE_MODEL_ARCS = 3000
SHIFTS_PER_SUBPROBLEM, SHARE_OF_ONE_DAY = 3, 0.3
EXTRA_JOBS_PER_SUBPROBLEM, STEPS_PER_SUBPROBLEM = 8, 0.1
REFILLS_PER_ROUND = 800
# Accepted loss of a plan against the best, in jobs of mean value; and the value of a saved minute of travel, in minutes of
# work. Both found by experiment.
LEEWAY, MINUTE_WORTH = 0.3, 0.125
# Minutes beside the work of a job, for an estimate of its value.
DEFAULT_TRAVEL_MINUTES = 15
# After this number of rounds without improvement the search ends before the time limit.
MAX_ROUNDS_WITHOUT_GAIN = 60
PROGRESS_INTERVAL = 0.5

Status = Literal["optimal", "feasible", "greedy"]
ProgressCallback = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Planned:
    """Plan with its score and its distance from the optimum.

    `bound` is on the objective (value less the cost of moves), `optimality_gap` the fraction of it that may be missing; travel
    decides between equal plans and has no bound. `status` is optimal (proven), feasible (time ran out) or greedy (no solver
    installed).
    """

    assignments: tuple[Assignment, ...]
    unscheduled: tuple[Unscheduled, ...]
    score: Score
    objective: int
    bound: int
    optimality_gap: float
    status: Status
    greedy_objective: int
    explanation: tuple[Message, ...]
    findings: tuple[Finding, ...]


def find_plan(
    problem: Problem, seconds: float, *, report_progress: ProgressCallback = lambda share: None
) -> Planned:
    """Plan within a time limit, never worse than the heuristic plan. `report_progress` gets the elapsed fraction of the time, 0
    to 1.

    The same problem gives the same plan, except when the time limit ends the search: then the plan depends on the speed of the
    machine.
    """
    until = time.monotonic() + seconds
    model_input = ModelInput(problem)
    first = greedy_routes(model_input)
    routes, bound, there = first, easy_bound(model_input), solver_available()
    if there:
        routes, bound = _improved(model_input, first, until, report_progress, seconds)
    status: Status = "feasible" if there else "greedy"
    if model_input.score(routes).objective(problem.move_cost) >= bound:
        status = "optimal"
    return _planned(model_input, routes, first, bound, status)


def solver_available() -> bool:
    """Whether the solver is installed (an extra)."""
    return find_spec("ortools") is not None


def _improved(
    model_input: ModelInput, first: Routes, until: float, report_progress: ProgressCallback, seconds: float
) -> tuple[Routes, int]:
    def told() -> None:
        report_progress(min(1.0, max(0.0, 1 - (until - time.monotonic()) / seconds)))

    arcs = sum(len(jobs) ** 2 for jobs in _jobs_of_shifts(model_input).values())
    with ThreadPoolExecutor(2) as beside:
        if arcs <= WHOLE_MODEL_ARCS:
            whole = beside.submit(_whole, model_input, first, until)
            while not wait([whole], PROGRESS_INTERVAL).done:
                told()
            return whole.result()
        coming = beside.submit(linear_bound, model_input, until - time.monotonic())
        bound, routes = easy_bound(model_input), first
        for routes in _rounds(model_input, first, until, beside):
            told()
            bound = coming.result() if coming.done() else bound
            if model_input.score(routes).objective(model_input.problem.move_cost) >= bound:
                break
        return routes, coming.result()


def _whole(model_input: ModelInput, first: Routes, until: float) -> tuple[Routes, int]:
    """Solve one model of everything: its bound includes travel and times of day."""
    jobs = [job for job, options in enumerate(model_input.options) if options]
    effort = Effort(until - time.monotonic(), float("inf"))
    found = solved(model_input, first, range(len(model_input.shifts)), jobs, effort)
    best = max(first, found.routes, key=lambda one: rank(model_input, one))
    if found.optimal:
        return best, model_input.score(best).objective(model_input.problem.move_cost)
    # Travel weighs less than one unit of the objective, so the next whole number above is a bound.
    worth = weight(model_input)
    fixed = sum(
        model_input.jobs[job].value for job in model_input.fixed
    ) - model_input.problem.move_cost * len(model_input.kept)
    top = easy_bound(model_input)
    return best, min(top, int((found.bound + worth - 1) // worth) + fixed) if found.bound < float(
        "inf"
    ) else top


def _jobs_of_shifts(model_input: ModelInput) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for job, options in enumerate(model_input.options):
        for shift in options:
            found.setdefault(shift, []).append(job)
    return found


def _rounds(model_input: ModelInput, first: Routes, until: float, beside: Executor) -> Iterator[Routes]:
    """Yield better and better plans: empty and refill some shifts repeatedly, while the solver works on another part.

    The solution is used at the end of each round, so the course does not depend on which of the two is faster.
    """
    wander, fruitless = _Wander(model_input, first), 0
    yield first
    while time.monotonic() < until and fruitless < MAX_ROUNDS_WITHOUT_GAIN:
        before = rank(model_input, wander.best)
        part = beside.submit(wander.part(until - time.monotonic()))
        for _ in range(REFILLS_PER_ROUND):
            wander.refill()
            if time.monotonic() > until:
                break
        wander.take_up(part.result())
        fruitless = 0 if rank(model_input, wander.best) > before else fruitless + 1
        yield wander.best


class _Wander:
    """Plan that is changed a little repeatedly, at times for the worse, and the best plan so far."""

    def __init__(self, model_input: ModelInput, first: Routes) -> None:
        self.model_input, self.now, self.best = model_input, first, first
        self.chance = random.Random(SEED)  # noqa: S311 - not a secret
        self.filling, self.shifts = Filling(model_input), sorted(_jobs_of_shifts(model_input))
        jobs = [job for job, options in zip(model_input.jobs, model_input.options, strict=True) if options]
        value = sum(job.value for job in jobs)
        self.leeway = LEEWAY * value / len(jobs)
        self.minute_worth = MINUTE_WORTH * value / sum(job.minutes for job in jobs)
        self.score = model_input.score(first)
        self.top, self.best_rank = self._promise(self.score), self._rank(self.score)

    def refill(self) -> None:
        """Empty a few shifts and refill them; continue from there if the plan is not much worse than the best."""
        some = self._some()
        tried = self.filling.refilled(self.now, some, self._candidates(self.now, some))
        score = self.score + self._worth(tried, some) - self._worth(self.now, some)
        if self._promise(score) >= self.top - self.leeway * self.chance.random():
            self._take(tried, score)

    def part(self, seconds: float) -> Callable[[], Routes]:
        """Return a call that lets the solver improve a few shifts of the best plan, with the most promising unscheduled
        jobs.
        """
        best, some = self.best, self._some()
        mine = [one.job for shift in sorted(some) for one in best.get(shift, ())]
        others = [job for job in self._candidates(best, some) if job not in mine]
        effort = Effort(seconds, STEPS_PER_SUBPROBLEM)

        def solve() -> Routes:
            found = solved(self.model_input, best, some, [*mine, *others[:EXTRA_JOBS_PER_SUBPROBLEM]], effort)
            return {shift: ones for shift, ones in best.items() if shift not in some} | found.routes

        return solve

    def take_up(self, routes: Routes) -> None:
        """Continue from those routes if they are better than the best."""
        if rank(self.model_input, routes) > rank(self.model_input, self.best):
            self._take(routes, self.model_input.score(routes))

    def _worth(self, routes: Routes, shifts: set[int]) -> Score:
        return sum(
            (self.model_input.shift_score(shift, routes.get(shift, ())) for shift in shifts), Score(0, 0, 0)
        )

    def _take(self, routes: Routes, score: Score) -> None:
        self.now, self.score, self.top = routes, score, max(self.top, self._promise(score))
        if self._rank(score) > self.best_rank:
            self.best, self.best_rank = routes, self._rank(score)

    def _rank(self, score: Score) -> tuple[int, int]:
        return score.objective(self.model_input.problem.move_cost), -score.travel

    def _promise(self, score: Score) -> float:
        """Return the objective with a small weight on travel, because saved minutes make room for jobs."""
        return score.objective(self.model_input.problem.move_cost) - self.minute_worth * score.travel

    def _some(self) -> set[int]:
        """Return a few shifts, often all of one day, because these can exchange jobs and kits."""
        among = self.shifts
        if self.chance.random() < SHARE_OF_ONE_DAY:
            day = self.model_input.shifts[self.chance.choice(among)].day
            among = [shift for shift in among if self.model_input.shifts[shift].day == day]
        return set(self.chance.sample(among, min(self.chance.randint(2, SHIFTS_PER_SUBPROBLEM), len(among))))

    def _candidates(self, routes: Routes, shifts: set[int]) -> list[int]:
        """Return jobs of those shifts and unscheduled jobs that fit there, roughly by value for each minute."""
        model_input = self.model_input
        elsewhere = {one.job for shift, visits in routes.items() if shift not in shifts for one in visits}
        jobs = [
            job
            for job, options in enumerate(model_input.options)
            if job not in elsewhere and not shifts.isdisjoint(options)
        ]
        density = {
            job: model_input.jobs[job].value / (model_input.jobs[job].minutes + DEFAULT_TRAVEL_MINUTES)
            for job in jobs
        }
        return sorted(jobs, key=lambda job: -density[job] * self.chance.uniform(0.3, 1.7))


def _planned(
    model_input: ModelInput,
    routes: Routes,
    first: Routes,
    bound: int,
    status: Status,
) -> Planned:
    problem, score = model_input.problem, model_input.score(routes)
    objective = score.objective(problem.move_cost)
    rows = [one for one in problem.kept if one.job in problem.fixed]
    rows += [
        Assignment(
            model_input.jobs[one.job].id,
            problem.technicians[model_input.shifts[shift].technician].id,
            model_input.kits[one.kit].id,
            one.start,
        )
        for shift, visits in routes.items()
        for one in visits
    ]
    return Planned(
        assignments=tuple(sorted(rows, key=lambda one: (one.start, one.technician, one.job))),
        unscheduled=unscheduled_jobs(model_input, routes),
        score=score,
        objective=objective,
        bound=bound,
        optimality_gap=(bound - objective) / abs(bound) if bound else 0.0,
        status=status,
        greedy_objective=model_input.score(first).objective(problem.move_cost),
        explanation=explanation(model_input, routes, bound, status),
        findings=() if solver_available() else (NO_SOLVER,),
    )


NO_SOLVER = finding("plan-heuristic-only", "info")
