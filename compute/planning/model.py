"""Exact solver model of some shifts and jobs, with all others fixed.

Each shift is a circuit from its start past its jobs to its end; a chosen arc delays the next start by its travel time. Every
variable has a hint, because a search that starts from a part of a plan gives worse results.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from compute.planning.board import Group, ModelInput, Routes, Starts, Visit
from compute.planning.greedy import holders_of

SEED = 1


@dataclass(frozen=True, slots=True)
class Effort:
    """Limits of the solver: seconds of time, and steps counted the same on every machine."""

    seconds: float
    steps: float


@dataclass(frozen=True, slots=True)
class Solved:
    """Routes of the selected shifts, whether they are proven optimal, and the bound on the weighted objective."""

    routes: Routes
    optimal: bool
    bound: float


@dataclass
class _Parts:
    """Variables of a model."""

    model: Any
    start: dict[int, Any] = field(default_factory=dict)
    place: dict[tuple[int, int], Any] = field(default_factory=dict)
    use: dict[tuple[int, int, int], Any] = field(default_factory=dict)
    hold: dict[tuple[int, Group], Any] = field(default_factory=dict)
    kits: dict[tuple[int, int], list[int]] = field(default_factory=dict)
    arcs: dict[tuple[int, int | None, int | None], Any] = field(default_factory=dict)
    stay: dict[tuple[int, int], Any] = field(default_factory=dict)

    def held(self, kit: int, group: Group) -> Any:
        """Return whether a technician holds a kit on a day."""
        if (kit, group) not in self.hold:
            self.hold[kit, group] = self.model.new_bool_var(f"hold_{kit}_{group}")
        return self.hold[kit, group]

    def possible(self, model_input: ModelInput, key: tuple[int, int]) -> list[tuple[int, int]]:
        """Return the first and last starts of a job in a shift, with any of the kits."""
        return [one for kit in self.kits[key] for one in model_input.starts(*key, kit)]


def weight(model_input: ModelInput) -> int:
    """Return the weight of the objective in minutes of travel, so that travel only decides between equal plans."""
    longest = max((max(row, default=0) for row in model_input.travel), default=0)
    return longest * (len(model_input.jobs) + 2 * len(model_input.shifts)) + 1


def solved(
    model_input: ModelInput, routes: Routes, shifts: Iterable[int], jobs: Iterable[int], effort: Effort
) -> Solved:
    """Return the best solution found for those shifts and jobs. `routes` is the plan so far, and the hint."""
    from ortools.sat.python import cp_model  # 188 MB installed, and slow to load

    free, model = sorted(shifts), cp_model.CpModel()
    parts = _Parts(model)
    _choices(model_input, routes, free, sorted(jobs), parts, cp_model)
    for shift in free:
        _circuit(model_input, shift, parts)
    _keeping(model_input, parts)
    worth = weight(model_input)
    model.maximize(_value(model_input, parts, worth) - _travel(model_input, free, parts))
    _hints(model_input, routes, free, parts)
    solver = cp_model.CpSolver()
    solver.parameters.random_seed = SEED
    solver.parameters.num_workers = 1  # one worker and counted steps give the same plan every time
    solver.parameters.max_time_in_seconds = max(effort.seconds, 0.01)
    solver.parameters.max_deterministic_time = effort.steps
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Solved({shift: routes[shift] for shift in free if shift in routes}, False, float("inf"))
    return Solved(
        _read(model_input, parts, solver, free), status == cp_model.OPTIMAL, solver.best_objective_bound
    )


def _choices(
    model_input: ModelInput, routes: Routes, shifts: list[int], jobs: list[int], parts: _Parts, cp_model: Any
) -> None:
    """Add the choices: each job in at most one shift, with a kit of the technician, at a start that both allow."""
    held = holders_of(model_input, routes, frozenset(shifts))
    for job in jobs:
        for shift in shifts:
            kits = model_input.options[job].get(shift, ())
            usable = [kit for kit in kits if model_input.free_for(model_input.shifts[shift].group, kit, held)]
            if usable:
                parts.kits[job, shift] = usable
    for job in sorted({job for job, _ in parts.kits}):
        where = [key for key in parts.kits if key[0] == job]
        possible = [one for key in where for one in parts.possible(model_input, key)]
        parts.start[job] = parts.model.new_int_var(
            min(one[0] for one in possible), max(one[1] for one in possible), f"start_{job}"
        )
        for key in where:
            _choice(model_input, key, parts, cp_model)
        parts.model.add_at_most_one(parts.place[key] for key in where)
    _custody(model_input, parts)


def _choice(model_input: ModelInput, key: tuple[int, int], parts: _Parts, cp_model: Any) -> None:
    """Add the choice of a job in a shift: any kit held if all allow the same starts, otherwise one kit."""
    model, (job, shift), kits = parts.model, key, parts.kits[key]
    place = parts.place[key] = model.new_bool_var(f"place_{job}_{shift}")
    by_starts: dict[Starts, list[int]] = {}
    for kit in kits:
        by_starts.setdefault(model_input.starts(job, shift, kit), []).append(kit)
    uses = []
    for at, (starts, same) in enumerate(by_starts.items()):
        use = place
        if len(by_starts) > 1:
            use = parts.use[job, shift, at] = model.new_bool_var(f"use_{job}_{shift}_{at}")
            uses.append(use)
        model.add_bool_or(
            [use.negated(), *(parts.held(kit, model_input.shifts[shift].group) for kit in same)]
        )
        domain = cp_model.Domain.from_intervals([list(one) for one in starts])
        model.add_linear_expression_in_domain(parts.start[job], domain).only_enforce_if(use)
    if uses:
        model.add(sum(uses) == place)


def _custody(model_input: ModelInput, parts: _Parts) -> None:
    by_kit_and_day: dict[tuple[int, int], list[Any]] = {}
    for (kit, group), var in parts.hold.items():
        by_kit_and_day.setdefault((kit, group[1]), []).append(var)
    for ones in by_kit_and_day.values():
        parts.model.add_at_most_one(ones)
    for kit, group in parts.hold:
        for rival in model_input.rivals[group]:
            if rival[1] > group[1] and (kit, rival) in parts.hold:
                parts.model.add_at_most_one([parts.hold[kit, group], parts.hold[kit, rival]])


def _circuit(model_input: ModelInput, shift: int, parts: _Parts) -> None:
    """Add the route through a shift; None is its start and end."""
    model, one = parts.model, model_input.shifts[shift]
    jobs = [job for job, at in parts.place if at == shift]
    node: dict[int | None, int] = {None: 0, **{job: at for at, job in enumerate(jobs, start=1)}}
    arcs = [(node[job], node[job], parts.place[job, shift].negated()) for job in jobs]

    def arc(before: int | None, after: int | None) -> Any:
        var = parts.arcs[shift, before, after] = model.new_bool_var(f"arc_{shift}_{before}_{after}")
        arcs.append((node[before], node[after], var))
        return var

    arc(None, None)
    for job in jobs:
        there = model_input.travel[one.begins][model_input.jobs[job].site]
        back = model_input.jobs[job].minutes + model_input.travel[model_input.jobs[job].site][one.ends]
        model.add(parts.start[job] >= one.span.start + there).only_enforce_if(arc(None, job))
        model.add(parts.start[job] + back <= one.span.end).only_enforce_if(arc(job, None))
    lasts = {job: max(one[1] for one in parts.possible(model_input, (job, shift))) for job in jobs}
    for before in jobs:
        earliest = min(one[0] for one in parts.possible(model_input, (before, shift)))
        for after in jobs:
            latest = lasts[after]
            gap = (
                model_input.jobs[before].minutes
                + model_input.travel[model_input.jobs[before].site][model_input.jobs[after].site]
            )
            if before != after and earliest + gap <= latest:
                model.add(parts.start[before] + gap <= parts.start[after]).only_enforce_if(arc(before, after))
    model.add_circuit(arcs)


def _keeping(model_input: ModelInput, parts: _Parts) -> None:
    """Add whether kept jobs keep their technician, kit and start."""
    for job, (technician, kit, start) in model_input.kept.items():
        stays = []
        for (one, shift), place in parts.place.items():
            group = model_input.shifts[shift].group
            starts = model_input.starts(job, shift, kit)
            fits = any(first <= start <= last for first, last in starts)
            if one == job and group[0] == technician and kit in parts.kits[job, shift] and fits:
                stay = parts.stay[job, shift] = parts.model.new_bool_var(f"stay_{job}_{shift}")
                parts.model.add_implication(stay, place)
                parts.model.add_implication(stay, parts.held(kit, group))
                parts.model.add(parts.start[job] == start).only_enforce_if(stay)
                stays.append(stay)
        if stays:
            parts.model.add_at_most_one(stays)


def _value(model_input: ModelInput, parts: _Parts, worth: int) -> Any:
    placed = sum(model_input.jobs[job].value * worth * var for (job, _), var in parts.place.items())
    return placed + sum(model_input.problem.move_cost * worth * var for var in parts.stay.values())


def _travel(model_input: ModelInput, shifts: list[int], parts: _Parts) -> Any:
    total = 0
    for (shift, before, after), var in parts.arcs.items():
        one = model_input.shifts[shift]
        a = one.begins if before is None else model_input.jobs[before].site
        b = one.ends if after is None else model_input.jobs[after].site
        total += model_input.travel[a][b] * var
    return total


def _hints(model_input: ModelInput, routes: Routes, shifts: list[int], parts: _Parts) -> None:
    """Give every variable its value in the plan so far as a hint."""
    at = {one.job: (shift, one.kit, one.start) for shift in shifts for one in routes.get(shift, ())}
    holds = {(kit, model_input.shifts[shift].group) for shift, kit, _ in at.values()}
    ways = set()
    for shift in shifts:
        stops = [None, *(one.job for one in routes.get(shift, ())), None]
        ways |= {(shift, a, b) for a, b in pairwise(stops)}
    hint = parts.model.add_hint
    firsts: dict[int, int] = {}
    for key in parts.kits:
        firsts[key[0]] = min(
            [firsts.get(key[0], 10**9), *(one[0] for one in parts.possible(model_input, key))]
        )
    for job, var in parts.start.items():
        hint(var, at[job][2] if job in at else firsts[job])
    for key, var in parts.place.items():
        hint(var, key[0] in at and at[key[0]][0] == key[1])
    for (job, shift, which), var in parts.use.items():
        kinds = list(dict.fromkeys(model_input.starts(job, shift, kit) for kit in parts.kits[job, shift]))
        hint(
            var,
            job in at and at[job][0] == shift and model_input.starts(job, shift, at[job][1]) == kinds[which],
        )
    for held, var in parts.hold.items():
        hint(var, held in holds)
    for way, var in parts.arcs.items():
        hint(var, way in ways)
    for (job, shift), var in parts.stay.items():
        hint(var, job in at and at[job] == (shift, *model_input.kept[job][1:]))


def _read(model_input: ModelInput, parts: _Parts, solver: Any, shifts: list[int]) -> Routes:
    found: Routes = {}
    for (job, shift), var in parts.place.items():
        if solver.boolean_value(var):
            start, group = solver.value(parts.start[job]), model_input.shifts[shift].group
            kits = [
                kit
                for kit in parts.kits[job, shift]
                if solver.boolean_value(parts.hold[kit, group])
                and any(first <= start <= last for first, last in model_input.starts(job, shift, kit))
            ]
            kept = model_input.kept.get(job)
            kit = kept[1] if kept and kept[1] in kits else kits[0]
            found[shift] = (*found.get(shift, ()), Visit(job, kit, start))
    return {
        shift: tuple(sorted(found[shift], key=lambda one: one.start)) for shift in shifts if shift in found
    }
