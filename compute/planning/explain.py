"""Explanation of a plan in sentences: its objective, and the reasons for unscheduled jobs."""

from __future__ import annotations

from compute.base.messages import Message, message, quantity
from compute.planning.board import ModelInput, Routes
from compute.planning.problem import Unscheduled


def explanation(model_input: ModelInput, routes: Routes, bound: int, status: str) -> tuple[Message, ...]:
    """Return the score of the plan, how it is counted, and its optimality gap."""
    score, cost, jobs = model_input.score(routes), model_input.problem.move_cost, len(model_input.jobs)
    objective = score.objective(cost)
    done = len(model_input.fixed) + sum(len(visits) for visits in routes.values())
    found = [
        message(
            "plan-jobs",
            scheduled=done,
            count=jobs,
            points=score.value,
            all_points=sum(job.value for job in model_input.jobs),
        )
    ]
    if model_input.kept:
        found.append(
            message("plan-jobs-moved", moved=score.moved, count=len(model_input.kept), points_each=cost)
        )
    found.append(
        message("plan-optimal", points=objective)
        if status == "optimal"
        else message(
            "plan-gap", points=objective, bound=bound, optimality_gap=(bound - objective) / abs(bound or 1)
        )
    )
    found.append(message("plan-travel", travel=quantity(score.travel * 60.0, "duration")))
    return tuple(found)


def unscheduled_jobs(model_input: ModelInput, routes: Routes) -> tuple[Unscheduled, ...]:
    """Return each unscheduled job with its reason, the most valuable first."""
    placed = {one.job for visits in routes.values() for one in visits} | model_input.fixed
    out = sorted(
        (job for job in range(len(model_input.jobs)) if job not in placed),
        key=lambda job: (-model_input.jobs[job].value, job),
    )
    return tuple(Unscheduled(model_input.jobs[job].id, _reason(model_input, job)) for job in out)


def _reason(model_input: ModelInput, job: int) -> Message:
    one = model_input.jobs[job]
    if one.window.end - one.window.start < one.minutes:
        had = one.window.end - one.window.start
        return message(
            "window-too-short",
            duration=quantity(one.minutes * 60.0, "duration"),
            window=quantity(had * 60.0, "duration"),
        )
    return (
        _technician_reason(model_input, job)
        or _kit_reason(model_input, job)
        or _overlap_reason(model_input, job)
        or _busy(model_input, job)
    )


def _technician_reason(model_input: ModelInput, job: int) -> Message | None:
    one, people = model_input.jobs[job], model_input.problem.technicians
    able = [
        person
        for person in people
        if all(
            any(had.slug == slug and had.span.meets(one.window) for had in person.qualified)
            for slug in one.qualifications
        )
    ]
    if not able:
        return message("no-qualified-technician", qualifications=sorted(one.qualifications) or None)
    if not model_input.technicians_possible(job):
        return message("no-shift-long-enough", count=len(able))
    return None


def _kit_reason(model_input: ModelInput, job: int) -> Message | None:
    one = model_input.jobs[job]
    fitting = [kit for kit in model_input.kits if kit.id in one.kits]
    if not fitting:
        return message("no-kit-fits")
    if all(kit.valid_until < one.window.start + one.minutes for kit in fitting):
        return message("no-kit-in-calibration", count=len(fitting))
    if not model_input.kits_possible(job):
        return message("no-kit-free", count=len(fitting))
    return None


def _overlap_reason(model_input: ModelInput, job: int) -> Message | None:
    if model_input.options[job]:
        return None
    return message("no-common-time")


def _busy(model_input: ModelInput, job: int) -> Message:
    people = {model_input.shifts[shift].technician for shift in model_input.options[job]}
    kits = {kit for kits in model_input.options[job].values() for kit in kits}
    return message("all-busy", technicians=len(people), kits=len(kits))
