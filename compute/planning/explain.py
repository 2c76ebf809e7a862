"""A plan in sentences: what its objective is made of, and what keeps a job out."""

from __future__ import annotations

from compute.planning.board import Board, Routes
from compute.planning.problem import Unscheduled


def objective_sentences(board: Board, routes: Routes, bound: int, status: str) -> tuple[str, ...]:
    """What the plan is worth, how that is counted, and how far from the best it can be."""
    score, cost, jobs = board.score(routes), board.problem.move_cost, len(board.jobs)
    objective = score.objective(cost)
    done = len(board.fixed) + sum(len(visits) for visits in routes.values())
    found = [
        f"{done} of {jobs} jobs are planned, worth {score.value} of {sum(job.value for job in board.jobs)} points by priority.",
    ]
    if board.kept:
        found.append(
            f"{score.moved} of {len(board.kept)} jobs of the earlier plan do not stay as they were; each costs {cost} points."
        )
    found.append(f"The objective is {objective} points; no plan can have more than {bound}.")
    found.append(
        "That is proven to be the best there is."
        if status == "optimal"
        else f"At most {bound - objective} points are missing ({(bound - objective) / abs(bound or 1):.1%} of the bound)."
    )
    found.append(
        f"Among plans of equal worth less travel is preferred; this one has {score.travel} minutes of it."
    )
    return tuple(found)


def unscheduled_jobs(board: Board, routes: Routes) -> tuple[Unscheduled, ...]:
    """Each job left out with its reason, the most valuable first."""
    placed = {one.job for visits in routes.values() for one in visits} | board.fixed
    out = sorted(
        (job for job in range(len(board.jobs)) if job not in placed),
        key=lambda job: (-board.jobs[job].value, job),
    )
    return tuple(Unscheduled(board.jobs[job].id, *_why(board, job)) for job in out)


def _why(board: Board, job: int) -> tuple[str, str]:
    one = board.jobs[job]
    if one.window.end - one.window.start < one.minutes:
        had = one.window.end - one.window.start
        return "window-too-short", f"It takes {one.minutes} minutes, and its window has {had}."
    return (
        _technicians_lacking(board, job)
        or _kits_lacking(board, job)
        or _never_at_once(board, job)
        or _busy(board, job)
    )


def _technicians_lacking(board: Board, job: int) -> tuple[str, str] | None:
    one, people = board.jobs[job], board.problem.technicians
    able = [
        person
        for person in people
        if all(
            any(had.slug == slug and had.span.meets(one.window) for had in person.qualified)
            for slug in one.qualifications
        )
    ]
    if not able:
        needed = " and ".join(sorted(one.qualifications)) or "the work"
        return "no-qualified-technician", f"No technician is qualified for {needed} within its window."
    if not board.technicians_possible(job):
        return (
            "no-shift-long-enough",
            f"None of the {len(able)} qualified technicians has a shift within its window that is long enough for it and the way"
            " there and back while the qualification holds.",
        )
    return None


def _kits_lacking(board: Board, job: int) -> tuple[str, str] | None:
    one = board.jobs[job]
    fitting = [kit for kit in board.kits if kit.id in one.kits]
    if not fitting:
        return "no-kit-fits", "No kit fits it."
    if all(kit.valid_until < one.window.start + one.minutes for kit in fitting):
        return (
            "no-kit-in-calibration",
            f"The calibration of each of the {len(fitting)} kits that fit ends before it could be done.",
        )
    if not board.kits_possible(job):
        return (
            "no-kit-free",
            f"None of the {len(fitting)} kits that fit is free and in date for long enough within its window.",
        )
    return None


def _never_at_once(board: Board, job: int) -> tuple[str, str] | None:
    if board.options[job]:
        return None
    return (
        "no-common-time",
        "A qualified technician and a kit that fits are there, but never at the same time.",
    )


def _busy(board: Board, job: int) -> tuple[str, str]:
    people = {board.shifts[shift].technician for shift in board.options[job]}
    kits = {kit for kits in board.options[job].values() for kit in kits}
    return (
        "all-busy",
        f"{len(people)} technicians and {len(kits)} kits could do it, but within its window their time and the kits go to other jobs"
        " in this plan.",
    )
