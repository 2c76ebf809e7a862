"""Heuristic plan without a solver: each job where it adds least travel, in two orders, the better plan kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise

from compute.planning.board import Group, ModelInput, Routes, Visit

# A kit that is not yet with the technician is tried in the order of how few jobs it suits; trying more only takes time.
NEW_KITS_TRIED = 2


def greedy_routes(model_input: ModelInput) -> Routes:
    """Return the better of two heuristic plans: by value, and by value for each minute of work. Kept jobs stay where
    possible.
    """
    orders: tuple[Callable[[int], tuple[float, ...]], ...] = (
        lambda job: (
            -model_input.jobs[job].value,
            model_input.jobs[job].window.end,
            model_input.jobs[job].minutes,
            job,
        ),
        lambda job: (
            -model_input.jobs[job].value / model_input.jobs[job].minutes,
            model_input.jobs[job].window.end,
            job,
        ),
    )
    plans = [Filling(model_input).filled(order) for order in orders]
    return max(plans, key=lambda one: rank(model_input, one))


def rank(model_input: ModelInput, routes: Routes) -> tuple[int, int]:
    """Return the key by which plans are compared: the objective first, then less travel."""
    score = model_input.score(routes)
    return score.objective(model_input.problem.move_cost), -score.travel


def holders_of(
    model_input: ModelInput, routes: Routes, apart_from: frozenset[int] = frozenset()
) -> dict[int, set[Group]]:
    """Return kit -> the groups that hold it, by the visits of all shifts except some."""
    found: dict[int, set[Group]] = {}
    for shift, visits in routes.items():
        if shift not in apart_from:
            for one in visits:
                found.setdefault(one.kit, set()).add(model_input.shifts[shift].group)
    return found


class Filling:
    """Plan under construction."""

    def __init__(self, model_input: ModelInput) -> None:
        self.model_input, self.routes = model_input, Routes()
        self.holders: dict[int, set[Group]] = {}
        self.pins: dict[int, int] = {}
        self.wanted = [0] * len(model_input.kits)
        for options in model_input.options:
            for kit in {kit for kits in options.values() for kit in kits}:
                self.wanted[kit] += 1

    def filled(self, order: Callable[[int], tuple[float, ...]]) -> Routes:
        """Return a plan with every job tried once: those of the earlier plan unchanged, then all others in that order."""
        jobs = sorted((job for job, options in enumerate(self.model_input.options) if options), key=order)
        self.put_all(jobs, set(range(len(self.model_input.shifts))))
        return self.routes

    def put_all(self, jobs: Iterable[int], shifts: set[int]) -> None:
        """Try jobs in that order in some shifts; first those that may stay unchanged."""
        for job in [job for job in jobs if not self._stays(job, shifts)]:
            self._put(job, [shift for shift in self.model_input.options[job] if shift in shifts])

    def refilled(self, routes: Routes, shifts: set[int], jobs: Iterable[int]) -> Routes:
        """Return the routes with some shifts emptied and filled again with the jobs in that order."""
        self.routes = {shift: visits for shift, visits in routes.items() if shift not in shifts}
        self.holders = holders_of(self.model_input, self.routes)
        at = {
            one.job: (self.model_input.shifts[shift].technician, one.kit, one.start)
            for shift, ones in self.routes.items()
            for one in ones
        }
        self.pins = {job: kept[2] for job, kept in self.model_input.kept.items() if at.get(job) == kept}
        self.put_all(jobs, shifts)
        return self.routes

    def _stays(self, job: int, among: set[int]) -> bool:
        kept = self.model_input.kept.get(job)
        if kept is None:
            return False
        technician, kit, self.pins[job] = kept
        shifts = [
            at
            for at in among.intersection(self.model_input.options[job])
            if self.model_input.shifts[at].technician == technician
        ]
        if self._put(job, shifts, [kit]):
            return True
        del self.pins[job]
        return False

    def _kits(self, job: int, shift: int, only: list[int] | None) -> list[int]:
        """Return the kits to try: one the technician already has on that day, otherwise those that suit fewest jobs."""
        group = self.model_input.shifts[shift].group
        some = [kit for kit in self.model_input.options[job][shift] if only is None or kit in only]
        usable = [kit for kit in some if self.model_input.free_for(group, kit, self.holders)]
        usable.sort(key=lambda kit: (group not in self.holders.get(kit, ()), self.wanted[kit], kit))
        return usable[:NEW_KITS_TRIED]

    def _put(self, job: int, shifts: Iterable[int], only: list[int] | None = None) -> bool:
        """Insert a job where it adds least travel, with few kits tried; False if it fits nowhere."""
        best: tuple[tuple[int, int, int], int, int, tuple[Visit, ...]] | None = None
        for added, began, shift, at in sorted(self._gaps(job, shifts)):
            if best is not None and added > best[0][0]:
                break
            group, order = (
                self.model_input.shifts[shift].group,
                [(one.job, one.kit) for one in self.routes.get(shift, ())],
            )
            for kit in self._kits(job, shift, only):
                cost = added, int(group not in self.holders.get(kit, ())), began
                if best is None or cost < best[0]:
                    visits = self.model_input.timed(shift, [*order[:at], (job, kit), *order[at:]], self.pins)
                    if visits is not None:
                        best = cost, shift, kit, visits
        if best is None:
            return False
        _, shift, kit, self.routes[shift] = best
        self.holders.setdefault(kit, set()).add(self.model_input.shifts[shift].group)
        return True

    def _gaps(self, job: int, shifts: Iterable[int]) -> Iterator[tuple[int, int, int, int]]:
        """Yield added travel, start of the shift, shift and position in it, wherever work and travel would fit its length."""
        travel, one = self.model_input.travel, self.model_input.jobs[job]
        for shift in shifts:
            where, jobs = self.model_input.shifts[shift], [visit.job for visit in self.routes.get(shift, ())]
            stops = [where.begins, *(self.model_input.jobs[other].site for other in jobs), where.ends]
            work = sum(self.model_input.jobs[other].minutes for other in jobs)
            ways = sum(travel[a][b] for a, b in pairwise(stops))
            room = where.span.end - where.span.start - work - ways - one.minutes
            for at, (a, b) in enumerate(pairwise(stops)):
                added = travel[a][one.site] + travel[one.site][b] - travel[a][b]
                if added <= room:
                    yield added, where.span.start, shift, at
