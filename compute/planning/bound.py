"""Upper bound on the objective of any plan: a linear program with relaxed travel, times of day and whole jobs.

Remaining rules: each job at most once, in shifts where it is possible, a fraction of it counting for a fraction of its value;
the minutes of work in a shift, with the two shortest legs of each site visited, fit its length; each job has a kit that is with
its technician on that day, and each kit is with one technician. Every plan obeys these rules, so no plan exceeds the bound.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from compute.planning.board import Group, ModelInput

# Larger than the tolerance of the solver, as a fraction of the bound.
SOLVER_TOLERANCE = 1e-6


def easy_bound(model_input: ModelInput) -> int:
    """Return the value of all jobs that could be done alone, less the cost of unavoidable moves."""
    value = sum(
        one.value
        for at, one in enumerate(model_input.jobs)
        if model_input.options[at] or at in model_input.fixed
    )
    return value - model_input.problem.move_cost * sum(
        not _shifts_to_keep(model_input, job) for job in model_input.kept
    )


def linear_bound(model_input: ModelInput, seconds: float) -> int:
    """Return the bound by the linear program, within a time limit; the easy bound if the program takes longer."""
    from scipy.optimize import linprog

    easy = easy_bound(model_input)
    program = _Program(model_input)
    if not program.gains:
        return easy
    found = linprog(
        -np.array(program.gains), program.matrix(), program.limits, bounds=(0, 1), method="highs",
        options={"time_limit": max(seconds, 0.1)},
    )  # fmt: skip
    if found.status != 0 or found.fun is None:
        return easy
    # A kept job that stays counts its cost here, and reduces the objective if it moves; fixed jobs have no variable.
    offset = (
        sum(model_input.jobs[job].value for job in model_input.fixed)
        - len(model_input.kept) * model_input.problem.move_cost
    )
    return min(easy, math.floor(-found.fun * (1 + SOLVER_TOLERANCE)) + offset)


def _shifts_to_keep(model_input: ModelInput, job: int) -> list[int]:
    """Return the shifts in which a kept job can stay unchanged."""
    technician, kit, start = model_input.kept[job]
    return [
        shift
        for shift in model_input.options[job]
        if model_input.shifts[shift].technician == technician
        and any(first <= start <= last for first, last in model_input.starts(job, shift, kit))
    ]


def _shortest_ways(travel: Sequence[Sequence[int]]) -> NDArray[np.float64]:
    """Return the shortest minutes between places in either direction, over any other places (Floyd and Warshall)."""
    there = np.array(travel, dtype=float)
    ways: NDArray[np.float64] = np.minimum(there, there.T)
    for over in range(len(ways)):
        ways = np.minimum(ways, ways[:, over, None] + ways[over])
    return ways


class _Program:
    """Linear program: variables from 0 to 1 with their gains, and rows with an upper limit."""

    def __init__(self, model_input: ModelInput) -> None:
        self.model_input = model_input
        self.gains: list[float] = []
        self.limits: list[float] = []
        self._entries: tuple[list[float], list[int], list[int]] = ([], [], [])
        self.ways = _shortest_ways(model_input.travel)
        self.place = {
            (job, shift): self._variable(model_input.jobs[job].value)
            for job, options in enumerate(model_input.options)
            for shift in options
        }
        for job, options in enumerate(model_input.options):
            self._row(((self.place[job, shift], 1.0) for shift in options), 1.0)
        jobs_of: dict[int, list[int]] = {}
        for job, shift in self.place:
            jobs_of.setdefault(shift, []).append(job)
        for shift, jobs in jobs_of.items():
            self._length(shift, jobs)
        self._kits()
        self._stays()

    def matrix(self) -> Any:
        """Return the rows as a sparse matrix."""
        from scipy.sparse import csr_array

        values, rows, columns = self._entries
        return csr_array((values, (rows, columns)), shape=(len(self.limits), len(self.gains)))

    def _variable(self, gain: float) -> int:
        self.gains.append(gain)
        return len(self.gains) - 1

    def _row(self, terms: Iterable[tuple[int, float]], limit: float) -> None:
        for column, factor in terms:
            self._entries[0].append(factor)
            self._entries[1].append(len(self.limits))
            self._entries[2].append(column)
        self.limits.append(limit)

    def _length(self, shift: int, jobs: list[int]) -> None:
        """Limit work and travel to the length of the shift; half of each leg counts at its start and half at its end.

        Each site is visited once, because legs are shortest paths over other places too: a route that returns to a site is no
        shorter than one that does not. So a site has two legs to two different places, at least the nearest ones; the start and
        the end of the shift are two places, even at one address.
        """
        one, ways = self.model_input.shifts[shift], self.ways
        at_site: dict[int, list[int]] = {}
        for job in jobs:
            at_site.setdefault(self.model_input.jobs[job].site, []).append(job)
        terms = {self.place[job, shift]: float(self.model_input.jobs[job].minutes) for job in jobs}
        for site, there in at_site.items():
            others = [ways[site, other] for other in (one.begins, one.ends, *(at_site.keys() - {site}))]
            near = sum(sorted(others)[:2]) / 2
            if len(there) == 1:
                terms[self.place[there[0], shift]] += near
            elif near:
                visited = self._variable(0.0)
                terms[visited] = near
                for job in there:
                    self._row([(self.place[job, shift], 1.0), (visited, -1.0)], 0.0)
        out, back = (min(ways[place, site] for site in at_site) for place in (one.begins, one.ends))
        self._row(terms.items(), float(one.span.end - one.span.start) - (out + back) / 2)

    def _kits(self) -> None:
        """Require a suitable kit for each job in a shift; a kit is with one technician a day."""
        hold: dict[tuple[int, Group], int] = {}
        for (job, shift), column in self.place.items():
            group = self.model_input.shifts[shift].group
            kits = self.model_input.options[job][shift]
            for kit in kits:
                if (kit, group) not in hold:
                    hold[kit, group] = self._variable(0.0)
            self._row([(column, 1.0), *((hold[kit, group], -1.0) for kit in kits)], 0.0)
        on_day: dict[tuple[int, int], list[int]] = {}
        for (kit, group), column in hold.items():
            on_day.setdefault((kit, group[1]), []).append(column)
        for columns in on_day.values():
            self._row(((column, 1.0) for column in columns), 1.0)

    def _stays(self) -> None:
        for job in self.model_input.kept:
            shifts = _shifts_to_keep(self.model_input, job)
            if shifts:
                stay = self._variable(self.model_input.problem.move_cost)
                self._row([(stay, 1.0), *((self.place[job, shift], -1.0) for shift in shifts)], 0.0)
