"""Model input: shifts between absences, and the possible starts of each job."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

from compute.planning.problem import DAY, Job, Kit, Problem, Score, Span, Technician

# First and last minute a job may start, both included.
Starts = tuple[tuple[int, int], ...]
# Technician and day: the holder of a kit on that day.
Group = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Shift:
    """Working time of one technician, from one site to another (home, or the site of an adjacent fixed job)."""

    technician: int
    day: int
    span: Span
    begins: int
    ends: int

    @property
    def group(self) -> Group:
        """Return technician and day."""
        return self.technician, self.day


@dataclass(frozen=True, slots=True)
class Visit:
    """Job done with a kit from a minute on; indices into the problem."""

    job: int
    kit: int
    start: int


# The visits of each shift, in order; shifts without visits are left out.
Routes = dict[int, tuple[Visit, ...]]


class ModelInput:
    """Look-up tables shared by the planners. Fixed jobs are cut out of the shifts and kits they use."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.jobs, self.kits, self.travel = problem.jobs, problem.kits, problem.travel
        self.place = {job.id: at for at, job in enumerate(problem.jobs)}
        self.fixed = {self.place[job] for job in problem.fixed}
        self.shifts = [
            shift
            for at, one in enumerate(problem.technicians)
            for shift in _shifts_between_absences(at, one, self._busy(one), problem)
        ]
        self._kit_starts = [
            {
                kit: found
                for kit, one in enumerate(self.kits)
                if one.id in job.kits and (found := _starts_with(job, one))
            }
            for job in self.jobs
        ]
        self._starts: dict[tuple[int, int, int], Starts] = {}
        # Job -> shift -> the kits it can be done with there, if nothing else is planned.
        self.options = [{} if at in self.fixed else self._options(at) for at in range(len(self.jobs))]

    def starts(self, job: int, shift: int, kit: int) -> Starts:
        """Return when a job may start in a shift with a kit, without regard to travel; empty if never."""
        return self._starts.get((job, shift, kit), ())

    @cached_property
    def kept(self) -> dict[int, tuple[int, int, int]]:
        """Return job -> technician, kit and start of the earlier plan, without fixed jobs."""
        people = {one.id: at for at, one in enumerate(self.problem.technicians)}
        kits = {one.id: at for at, one in enumerate(self.kits)}
        return {
            self.place[one.job]: (people[one.technician], kits[one.kit], one.start)
            for one in self.problem.kept
            if one.job not in self.problem.fixed
        }

    @cached_property
    def rivals(self) -> dict[Group, set[Group]]:
        """Return group -> the groups of others that cannot hold the same kit: on the same day, or with a shift at the same
        time.
        """
        spans: dict[Group, list[Span]] = {}
        for shift in self.shifts:
            spans.setdefault(shift.group, []).append(shift.span)
        return {
            one: {
                other
                for other, theirs in spans.items()
                if other[0] != one[0]
                and (other[1] == one[1] or any(a.meets(b) for a in mine for b in theirs))
            }
            for one, mine in spans.items()
        }

    @cached_property
    def held_by_fixed(self) -> dict[int, set[Group]]:
        """Return kit -> the groups that hold it for fixed jobs."""
        people = {one.id: at for at, one in enumerate(self.problem.technicians)}
        kits = {one.id: at for at, one in enumerate(self.kits)}
        found: dict[int, set[Group]] = {}
        for one in self.problem.kept:
            if one.job in self.problem.fixed:
                who = people[one.technician]
                shifts = self.problem.technicians[who].shifts
                began = next(
                    (shift.start for shift in shifts if shift.start <= one.start < shift.end), one.start
                )
                found.setdefault(kits[one.kit], set()).add((who, began // DAY))
        return found

    def free_for(self, group: Group, kit: int, holders: Mapping[int, set[Group]]) -> bool:
        """Whether a group may hold a kit beside its present holders."""
        rivals, held = self.rivals[group], holders.get(kit, set()) | self.held_by_fixed.get(kit, set())
        return not any(one in rivals or (one[1] == group[1] and one[0] != group[0]) for one in held)

    def timed(
        self, shift: int, order: Sequence[tuple[int, int]], pins: Mapping[int, int]
    ) -> tuple[Visit, ...] | None:
        """Return the jobs with their kits in that order, each as early as possible, pinned ones at their minute; None if
        they do not fit.
        """
        one, visits = self.shifts[shift], []
        at, where = one.span.start, one.begins
        for job, kit in order:
            site = self.jobs[job].site
            start = _first(self.starts(job, shift, kit), at + self.travel[where][site], pins.get(job))
            if start is None:
                return None
            visits.append(Visit(job, kit, start))
            at, where = start + self.jobs[job].minutes, site
        return tuple(visits) if at + self.travel[where][one.ends] <= one.span.end else None

    def travelled(self, shift: int, jobs: Iterable[int]) -> int:
        """Return the minutes of travel of a shift with those jobs in that order."""
        sites = [self.jobs[job].site for job in jobs]
        stops = [self.shifts[shift].begins, *sites, self.shifts[shift].ends]
        return sum(self.travel[a][b] for a, b in pairwise(stops))

    def score(self, routes: Routes) -> Score:
        """Return the score of the routes, fixed jobs included."""
        unchanging = Score(sum(self.jobs[job].value for job in self.fixed), len(self.kept), 0)
        shifts = range(len(self.shifts))
        return sum((self.shift_score(shift, routes.get(shift, ())) for shift in shifts), unchanging)

    def shift_score(self, shift: int, visits: Sequence[Visit]) -> Score:
        """Return the contribution of one shift: value, travel, and a move less for each unchanged job."""
        who, jobs = self.shifts[shift].technician, [one.job for one in visits]
        stayed = sum(self.kept.get(one.job) == (who, one.kit, one.start) for one in visits)
        return Score(sum(self.jobs[job].value for job in jobs), -stayed, self.travelled(shift, jobs))

    def technicians_possible(self, job: int) -> bool:
        """Whether some technician could do the job alone in some shift, without regard to kits."""
        people = self.problem.technicians
        return any(
            _starts_in(self.jobs[job], people[one.technician], one, self.travel) for one in self.shifts
        )

    def kits_possible(self, job: int) -> bool:
        """Whether some suitable kit is available for the job, without regard to technicians."""
        return bool(self._kit_starts[job])

    def _busy(self, technician: Technician) -> list[tuple[Span, int]]:
        """Return the spans in which a technician is not available, and the place after each."""
        fixed = [
            (Span(one.start, one.start + job.minutes), job.site)
            for one in self.problem.kept
            if one.job in self.problem.fixed and one.technician == technician.id
            for job in [self.jobs[self.place[one.job]]]
        ]
        return sorted([*fixed, *((one, technician.home) for one in technician.absences)])

    def _options(self, job: int) -> dict[int, list[int]]:
        found = {}
        for at, shift in enumerate(self.shifts):
            if not shift.span.meets(self.jobs[job].window):
                continue
            in_shift = _starts_in(
                self.jobs[job], self.problem.technicians[shift.technician], shift, self.travel
            )
            kits = []
            for kit, with_kit in self._kit_starts[job].items() if in_shift else ():
                both = _both(in_shift, with_kit)
                if both and self.free_for(shift.group, kit, {}):
                    self._starts[job, at, kit] = both
                    kits.append(kit)
            if kits:
                found[at] = kits
        return found


def _shifts_between_absences(
    at: int, technician: Technician, busy: list[tuple[Span, int]], problem: Problem
) -> Iterable[Shift]:
    for shift in technician.shifts:
        day, start, where = shift.start // DAY, shift.start, technician.home
        for span, site in busy:
            if span.meets(shift):
                if span.start > start:
                    yield Shift(at, day, Span(start, span.start), where, site)
                start, where = max(start, span.end), site
        if start < shift.end:
            yield Shift(at, day, Span(start, shift.end), where, technician.home)


def merged(spans: Iterable[Span]) -> list[Span]:
    """Return the spans in order, those that touch or overlap merged."""
    found: list[Span] = []
    for one in sorted(spans):
        if found and one.start <= found[-1].end:
            found[-1] = Span(found[-1].start, max(found[-1].end, one.end))
        else:
            found.append(one)
    return found


def _starts_within(spans: Iterable[Span], minutes: int) -> Starts:
    return tuple((one.start, one.end - minutes) for one in merged(spans) if one.end - one.start >= minutes)


def _starts_with(job: Job, kit: Kit) -> Starts:
    usable = [
        Span(one.start, min(one.end, kit.valid_until)) for one in kit.free if one.start < kit.valid_until
    ]
    return _both(_starts_within(usable, job.minutes), _starts_within([job.window], job.minutes))


def _starts_in(job: Job, technician: Technician, shift: Shift, travel: Sequence[Sequence[int]]) -> Starts:
    """Return when a technician could start a job that is the only one of the shift."""
    there, back = travel[shift.begins][job.site], travel[job.site][shift.ends]
    if shift.span.start + there > shift.span.end - back:
        return ()
    found = _both(
        _starts_within([Span(shift.span.start + there, shift.span.end - back)], job.minutes),
        _starts_within([job.window], job.minutes),
    )
    for slug in job.qualifications:
        holds = [one.span for one in technician.qualified if one.slug == slug]
        found = _both(found, _starts_within(holds, job.minutes))
    return found


@lru_cache(maxsize=10_000)
def _both(ones: Starts, others: Starts) -> Starts:
    return tuple((max(a, c), min(b, d)) for a, b in ones for c, d in others if max(a, c) <= min(b, d))


def _first(starts: Starts, ready: int, pinned: int | None) -> int | None:
    """Return the first start from `ready` on, or the pinned one if it is possible."""
    for first, last in starts:
        if pinned is not None:
            if max(first, ready) <= pinned <= last:
                return pinned
        elif ready <= last:
            return max(first, ready)
    return None
