"""A careful plan without a solver: job after job where it adds least travel, in two orders, the better kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise

from compute.planning.board import Board, Group, Routes, Visit

# A kit that is not yet with the technician is tried from the one that fits fewest jobs; more than this changes nothing but time.
FRESH_KITS_TRIED = 2


def greedy_routes(board: Board) -> Routes:
    """The better of two careful plans: by value, and by value for each minute of work. Kept jobs stay where they still can."""
    orders: tuple[Callable[[int], tuple[float, ...]], ...] = (
        lambda job: (-board.jobs[job].value, board.jobs[job].window.end, board.jobs[job].minutes, job),
        lambda job: (-board.jobs[job].value / board.jobs[job].minutes, board.jobs[job].window.end, job),
    )
    plans = [Filling(board).filled(order) for order in orders]
    return max(plans, key=lambda one: rank(board, one))


def rank(board: Board, routes: Routes) -> tuple[int, int]:
    """What plans are compared by: the objective first, then less travel."""
    score = board.score(routes)
    return score.objective(board.problem.move_cost), -score.travel


def holders_of(
    board: Board, routes: Routes, apart_from: frozenset[int] = frozenset()
) -> dict[int, set[Group]]:
    """Kit -> the groups that hold it, by the visits of the shifts but some."""
    found: dict[int, set[Group]] = {}
    for shift, visits in routes.items():
        if shift not in apart_from:
            for one in visits:
                found.setdefault(one.kit, set()).add(board.shifts[shift].group)
    return found


class Filling:
    """A plan being filled."""

    def __init__(self, board: Board) -> None:
        self.board, self.routes = board, Routes()
        self.holders: dict[int, set[Group]] = {}
        self.pins: dict[int, int] = {}
        self.wanted = [0] * len(board.kits)
        for options in board.options:
            for kit in {kit for kits in options.values() for kit in kits}:
                self.wanted[kit] += 1

    def filled(self, order: Callable[[int], tuple[float, ...]]) -> Routes:
        """Every job tried once: those of the earlier plan as they were, then all others in the order."""
        jobs = sorted((job for job, options in enumerate(self.board.options) if options), key=order)
        self.put_all(jobs, set(range(len(self.board.shifts))))
        return self.routes

    def put_all(self, jobs: Iterable[int], shifts: set[int]) -> None:
        """Try jobs in that order in some shifts; first those that may stay as they were."""
        for job in [job for job in jobs if not self._stays(job, shifts)]:
            self._put(job, [shift for shift in self.board.options[job] if shift in shifts])

    def refilled(self, routes: Routes, shifts: set[int], jobs: Iterable[int]) -> Routes:
        """Those routes with some shifts emptied and filled again with the jobs in that order."""
        self.routes = {shift: visits for shift, visits in routes.items() if shift not in shifts}
        self.holders = holders_of(self.board, self.routes)
        at = {
            one.job: (self.board.shifts[shift].technician, one.kit, one.start)
            for shift, ones in self.routes.items()
            for one in ones
        }
        self.pins = {job: kept[2] for job, kept in self.board.kept.items() if at.get(job) == kept}
        self.put_all(jobs, shifts)
        return self.routes

    def _stays(self, job: int, among: set[int]) -> bool:
        kept = self.board.kept.get(job)
        if kept is None:
            return False
        technician, kit, self.pins[job] = kept
        shifts = [
            at
            for at in among.intersection(self.board.options[job])
            if self.board.shifts[at].technician == technician
        ]
        if self._put(job, shifts, [kit]):
            return True
        del self.pins[job]
        return False

    def _kits(self, job: int, shift: int, only: list[int] | None) -> list[int]:
        """Kits to try: one the technician has on that day already, else those that fewest jobs want."""
        group = self.board.shifts[shift].group
        some = [kit for kit in self.board.options[job][shift] if only is None or kit in only]
        usable = [kit for kit in some if self.board.free_for(group, kit, self.holders)]
        usable.sort(key=lambda kit: (group not in self.holders.get(kit, ()), self.wanted[kit], kit))
        return usable[:FRESH_KITS_TRIED]

    def _put(self, job: int, shifts: Iterable[int], only: list[int] | None = None) -> bool:
        """Put a job where it adds least travel, with few kits on the way; False if it fits nowhere."""
        best: tuple[tuple[int, int, int], int, int, tuple[Visit, ...]] | None = None
        for added, began, shift, at in sorted(self._gaps(job, shifts)):
            if best is not None and added > best[0][0]:
                break
            group, order = (
                self.board.shifts[shift].group,
                [(one.job, one.kit) for one in self.routes.get(shift, ())],
            )
            for kit in self._kits(job, shift, only):
                cost = added, int(group not in self.holders.get(kit, ())), began
                if best is None or cost < best[0]:
                    visits = self.board.timed(shift, [*order[:at], (job, kit), *order[at:]], self.pins)
                    if visits is not None:
                        best = cost, shift, kit, visits
        if best is None:
            return False
        _, shift, kit, self.routes[shift] = best
        self.holders.setdefault(kit, set()).add(self.board.shifts[shift].group)
        return True

    def _gaps(self, job: int, shifts: Iterable[int]) -> Iterator[tuple[int, int, int, int]]:
        """Travel added, begin of the shift, shift and place in its order, wherever work and ways would fit its length."""
        travel, one = self.board.travel, self.board.jobs[job]
        for shift in shifts:
            where, jobs = self.board.shifts[shift], [visit.job for visit in self.routes.get(shift, ())]
            stops = [where.begins, *(self.board.jobs[other].site for other in jobs), where.ends]
            work = sum(self.board.jobs[other].minutes for other in jobs)
            ways = sum(travel[a][b] for a, b in pairwise(stops))
            room = where.span.end - where.span.start - work - ways - one.minutes
            for at, (a, b) in enumerate(pairwise(stops)):
                added = travel[a][one.site] + travel[one.site][b] - travel[a][b]
                if added <= room:
                    yield added, where.span.start, shift, at
