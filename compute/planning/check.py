"""Independent check of a plan: shares only the definition of the problem with the planners.

Written in the order of the rules, without regard to speed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations, pairwise

from compute.planning.problem import DAY, Assignment, Problem, Score, Technician


def faults(problem: Problem, plan: Iterable[Assignment]) -> list[str]:
    """Return every rule the plan breaks, one sentence each; empty if the plan is feasible.

    A fixed job is checked against one rule only: that it is unchanged.
    """
    rows = sorted(plan, key=lambda one: (one.technician, one.start))
    found = [f"Job {job} is planned twice." for job in _twice(one.job for one in rows)]
    for one in rows:
        if one.job not in problem.fixed:
            found += _own_faults(problem, one)
    for job in sorted(problem.fixed):
        if next(one for one in problem.kept if one.job == job) not in rows:
            found.append(f"Job {job} is fixed and does not stay as it was.")
    for technician in problem.technicians:
        found += _way_faults(problem, technician, [one for one in rows if one.technician == technician.id])
    return [*found, *_kit_faults(problem, rows)]


def score_of(problem: Problem, plan: Iterable[Assignment]) -> Score:
    """Return the score of the plan, counted from the plan alone."""
    rows = list(plan)
    value = sum(job.value for job in problem.jobs if job.id in {one.job for one in rows})
    moved = sum(one not in rows for one in problem.kept)
    travel = sum(_way(problem, one, rows) for one in problem.technicians)
    return Score(value, moved, travel)


def _twice(names: Iterable[str]) -> set[str]:
    seen: set[str] = set()
    return {one for one in names if one in seen or seen.add(one)}  # type: ignore[func-returns-value]


def _end(problem: Problem, one: Assignment) -> int:
    return one.start + next(job.minutes for job in problem.jobs if job.id == one.job)


def _site(problem: Problem, one: Assignment) -> int:
    return next(job.site for job in problem.jobs if job.id == one.job)


def _own_faults(problem: Problem, one: Assignment) -> Iterator[str]:
    job = next(job for job in problem.jobs if job.id == one.job)
    technician = next(person for person in problem.technicians if person.id == one.technician)
    kit = next(kit for kit in problem.kits if kit.id == one.kit)
    minutes = range(one.start, one.start + job.minutes)
    if minutes.start < job.window.start or minutes.stop > job.window.end:
        yield f"Job {job.id} is outside its window."
    if kit.id not in job.kits:
        yield f"Kit {kit.id} does not fit job {job.id}."
    if minutes.stop > kit.valid_until:
        yield f"Kit {kit.id} is out of calibration before job {job.id} ends."
    if any(all(minute not in range(f.start, f.end) for f in kit.free) for minute in minutes):
        yield f"Kit {kit.id} is not free for job {job.id}."
    if any(minute in range(gone.start, gone.end) for gone in technician.absences for minute in minutes):
        yield f"Technician {technician.id} is away during job {job.id}."
    for slug in sorted(job.qualifications):
        holds = [range(had.span.start, had.span.end) for had in technician.qualified if had.slug == slug]
        if any(all(minute not in one for one in holds) for minute in minutes):
            yield f"Technician {technician.id} is not qualified for {slug} throughout job {job.id}."


def _way_faults(problem: Problem, technician: Technician, rows: list[Assignment]) -> Iterator[str]:
    """Check that one technician can reach all sites in time, and within the shifts."""
    for before, after in pairwise(rows):
        there = problem.travel[_site(problem, before)][_site(problem, after)]
        both_fixed = before.job in problem.fixed and after.job in problem.fixed
        if not both_fixed and _end(problem, before) + there > after.start:
            yield f"Technician {technician.id} cannot be at job {after.job} in time after job {before.job}."
    for one in rows:
        if one.job in problem.fixed:
            continue
        shifts = [s for s in technician.shifts if s.start <= one.start and _end(problem, one) <= s.end]
        if not shifts:
            yield f"Job {one.job} is outside the shifts of technician {technician.id}."
        for shift in shifts:
            yield from _home_faults(problem, technician, rows, one, shift.start, shift.end)


def _home_faults(
    problem: Problem, technician: Technician, rows: list[Assignment], one: Assignment, start: int, end: int
) -> Iterator[str]:
    """Check that a job without another before (after) it since (until) the technician's time at home leaves time for the
    trip.
    """
    out = max([start, *(gone.end for gone in technician.absences if gone.end <= one.start)])
    back = min([end, *(gone.start for gone in technician.absences if gone.start >= _end(problem, one))])
    site, home = _site(problem, one), technician.home
    if (
        not any(out <= other.start < one.start for other in rows)
        and out + problem.travel[home][site] > one.start
    ):
        yield f"Technician {technician.id} cannot be at job {one.job} in time from home."
    later = any(one.start < other.start < back for other in rows)
    if not later and _end(problem, one) + problem.travel[site][home] > back:
        yield f"Technician {technician.id} is not home in time after job {one.job}."


def _kit_faults(problem: Problem, rows: list[Assignment]) -> Iterator[str]:
    for one, other in combinations(rows, 2):
        if one.kit != other.kit or (one.job in problem.fixed and other.job in problem.fixed):
            continue
        if one.start < _end(problem, other) and other.start < _end(problem, one):
            yield f"Kit {one.kit} is at jobs {one.job} and {other.job} at once."
        if one.technician != other.technician and _day(problem, one) == _day(problem, other):
            yield f"Kit {one.kit} is with technicians {one.technician} and {other.technician} on one day."


def _day(problem: Problem, one: Assignment) -> int:
    """Return the day of the shift of the job: the day on which the shift starts."""
    technician = next(person for person in problem.technicians if person.id == one.technician)
    starts = [shift.start for shift in technician.shifts if shift.start <= one.start < shift.end]
    return (starts[0] if starts else one.start) // DAY


def _way(problem: Problem, technician: Technician, rows: list[Assignment]) -> int:
    """Return the minutes of travel of a technician: home to home in each shift with a job."""
    total = 0
    stops = sorted((one.start, _site(problem, one)) for one in rows if one.technician == technician.id)
    for shift in technician.shifts:
        where = technician.home
        cuts = [gone.start for gone in sorted(technician.absences) if shift.start < gone.start < shift.end]
        marks = sorted(
            [
                *((at, site) for at, site in stops if shift.start <= at < shift.end),
                *((at, technician.home) for at in cuts),
            ]
        )
        for _, site in [*marks, (shift.end, technician.home)]:
            total += problem.travel[where][site]
            where = site
    return total
