"""A plan in sentences: what its objective is made of, and what keeps a job out."""

from __future__ import annotations

from compute.planning.board import ModelInput, Routes
from compute.planning.problem import Unscheduled


def objective_sentences(model_input: ModelInput, routes: Routes, bound: int, status: str) -> tuple[str, ...]:
    """What the plan is worth, how that is counted, and how far from the best it can be."""
    score, cost, jobs = model_input.score(routes), model_input.problem.move_cost, len(model_input.jobs)
    objective = score.objective(cost)
    done = len(model_input.fixed) + sum(len(visits) for visits in routes.values())
    found = [
        f"{done} of {jobs} jobs are planned, worth {score.value} of {sum(job.value for job in model_input.jobs)} points by priority.",
    ]
    if model_input.kept:
        found.append(
            f"{score.moved} of {len(model_input.kept)} jobs of the earlier plan do not stay as they were; each costs {cost} points."
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


def unscheduled_jobs(model_input: ModelInput, routes: Routes) -> tuple[Unscheduled, ...]:
    """Each job left out with its reason, the most valuable first."""
    placed = {one.job for visits in routes.values() for one in visits} | model_input.fixed
    out = sorted(
        (job for job in range(len(model_input.jobs)) if job not in placed),
        key=lambda job: (-model_input.jobs[job].value, job),
    )
    return tuple(Unscheduled(model_input.jobs[job].id, *_why(model_input, job)) for job in out)


def _why(model_input: ModelInput, job: int) -> tuple[str, str]:
    one = model_input.jobs[job]
    if one.window.end - one.window.start < one.minutes:
        had = one.window.end - one.window.start
        return "window-too-short", f"It takes {one.minutes} minutes, and its window has {had}."
    return (
        _technicians_lacking(model_input, job)
        or _kits_lacking(model_input, job)
        or _overlap_error(model_input, job)
        or _busy(model_input, job)
    )


def _technicians_lacking(model_input: ModelInput, job: int) -> tuple[str, str] | None:
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
        needed = " and ".join(sorted(one.qualifications)) or "the work"
        return "no-qualified-technician", f"No technician is qualified for {needed} within its window."
    if not model_input.technicians_possible(job):
        return (
            "no-shift-long-enough",
            f"None of the {len(able)} qualified technicians has a shift within its window that is long enough for it and the way"
            " there and back while the qualification holds.",
        )
    return None


def _kits_lacking(model_input: ModelInput, job: int) -> tuple[str, str] | None:
    one = model_input.jobs[job]
    fitting = [kit for kit in model_input.kits if kit.id in one.kits]
    if not fitting:
        return "no-kit-fits", "No kit fits it."
    if all(kit.valid_until < one.window.start + one.minutes for kit in fitting):
        return (
            "no-kit-in-calibration",
            f"The calibration of each of the {len(fitting)} kits that fit ends before it could be done.",
        )
    if not model_input.kits_possible(job):
        return (
            "no-kit-free",
            f"None of the {len(fitting)} kits that fit is free and in date for long enough within its window.",
        )
    return None


def _overlap_error(model_input: ModelInput, job: int) -> tuple[str, str] | None:
    if model_input.options[job]:
        return None
    return (
        "no-common-time",
        "A qualified technician and a kit that fits are there, but never at the same time.",
    )


def _busy(model_input: ModelInput, job: int) -> tuple[str, str]:
    people = {model_input.shifts[shift].technician for shift in model_input.options[job]}
    kits = {kit for kits in model_input.options[job].values() for kit in kits}
    return (
        "all-busy",
        f"{len(people)} technicians and {len(kits)} kits could do it, but within its window their time and the kits go to other jobs"
        " in this plan.",
    )
