"""Calculation of plans in the background: claimed by filtered update with a lease, checked before storage."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.conf import settings
from django.db import InterfaceError, OperationalError, connection
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from compute.planning.check import faults
from compute.planning.problem import Assignment
from compute.planning.search import Planned, find_plan
from surveys.core.messages import failure_of
from surveys.core.stored_quantities import findings_json
from surveys.dispatch.plan_problem import ON_SITE, Planner
from surveys.models import DispatchPlan, Job, Role, User

logger = logging.getLogger(__name__)

State = DispatchPlan.State
MAX_ATTEMPTS = 3


def plans_due() -> list[UUID]:
    """Return plans that wait for a worker, or whose lease has expired."""
    return list(_due(timezone.now()).order_by("requested_at").values_list("pk", flat=True))


def plans_pending() -> bool:
    """Return whether plans may be waiting; idle workers call this many times a second."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM surveys_dispatchplan WHERE state IN ('waiting', 'running') LIMIT 1")
        return cursor.fetchone() is not None


def make_plan(plan_id: UUID) -> None:
    """Calculate one plan, unless another worker has claimed it; repeated runs calculate it once."""
    now, token = timezone.now(), uuid4()
    taken = (
        _due(now)
        .filter(pk=plan_id)
        .update(
            state=State.RUNNING,
            claimed_by=token,
            lease_until=_lease(now),
            started_at=now,
            attempts=F("attempts") + 1,
        )
    )
    if not taken:
        return
    plan = DispatchPlan.objects.select_related("requested_by", "keeps").get(pk=plan_id)
    own = DispatchPlan.objects.filter(pk=plan_id, claimed_by=token, state=State.RUNNING)
    try:
        outcome = _calculated(plan, own)
    except Exception as error:  # the plan records any error that stopped it
        logger.exception("plan %s", plan_id)
        failure = failure_of(error).stored()
        if plan.attempts < MAX_ATTEMPTS:
            own.update(state=State.WAITING, claimed_by=None, lease_until=None, error=failure)
        else:
            own.update(
                state=State.FAILED,
                claimed_by=None,
                lease_until=None,
                error=failure,
                finished_at=timezone.now(),
            )
        return
    own.update(
        state=State.FINISHED, outcome=outcome, progress=1.0, error=None, claimed_by=None, lease_until=None,
        finished_at=timezone.now(),
    )  # fmt: skip


def _due(now: datetime) -> QuerySet[DispatchPlan]:
    waiting = Q(state=State.WAITING) | Q(state=State.RUNNING, lease_until__lt=now)
    return DispatchPlan.objects.filter(waiting)


def _calculated(plan: DispatchPlan, own: QuerySet[DispatchPlan]) -> dict[str, Any]:
    jobs = list(Job.objects.filter(pk__in=plan.jobs).select_related("site").order_by("pk"))
    people = list(User.objects.filter(role=Role.TECHNICIAN, is_active=True).order_by("username"))
    planner = Planner(jobs, people, plan.requested_by, timezone.now())
    fixed = [str(job.pk) for job in jobs if job.state in ON_SITE]
    problem = planner.problem(_kept(plan, planner), fixed)
    planned = find_plan(
        problem, float(plan.time_limit_seconds), report_progress=lambda share: _note(own, share)
    )
    if found := faults(problem, planned.assignments):
        raise AssertionError(f"The plan breaks a rule: {'; '.join(found[:3])}")
    return _outcome(planner, planned)


def _lease(now: datetime) -> datetime:
    return now + timedelta(seconds=settings.RECOMPUTATION_LEASE_SECONDS)


def _note(own: QuerySet[DispatchPlan], share: float) -> None:
    """Record progress and renew the lease. A restart of the database does not stop the calculation."""
    try:
        own.update(progress=round(min(max(share, 0.0), 0.99), 3), lease_until=_lease(timezone.now()))
    except (OperationalError, InterfaceError) as error:
        logger.warning("database: %s; going on with the plan", str(error).strip())
        connection.close()


def _kept(plan: DispatchPlan, planner: Planner) -> list[Assignment]:
    if plan.keeps is None or plan.keeps.outcome is None:
        return []
    return [
        Assignment(
            one["job"],
            one["technician"],
            one["kit"],
            planner.minute(datetime.fromisoformat(one["starts_at"])),
        )
        for one in plan.keeps.outcome["assignments"]
    ]


def _outcome(planner: Planner, planned: Planned) -> dict[str, Any]:
    minutes = {str(job.pk): job for job in planner.jobs}
    names = {str(one.pk): one.username for one in planner.technicians}
    assignments = []
    for one in sorted(planned.assignments, key=lambda one: (one.start, one.job)):
        job = minutes[one.job]
        hours = job.expected_hours or (job.ends_at - job.starts_at).total_seconds() / 3600
        start = planner.moment(one.start)
        assignments.append(
            {
                "job": one.job,
                "title": job.title,
                "technician": one.technician,
                "technician_name": names[one.technician],
                "kit": one.kit,
                "instruments": [str(part.pk) for part in planner.kits[one.kit]],
                "starts_at": start.isoformat(),
                "ends_at": (start + timedelta(hours=hours)).isoformat(),
            }
        )
    return {
        "assignments": assignments,
        "unscheduled": [
            {"job": one.job, "title": minutes[one.job].title, "reason": one.reason.stored()}
            for one in planned.unscheduled
        ],
        "objective": planned.objective,
        "bound": planned.bound,
        "optimality_gap": planned.optimality_gap,
        "status": planned.status,
        "greedy_objective": planned.greedy_objective,
        "explanation": [one.stored() for one in planned.explanation],
        "findings": findings_json([*planner.assumed(), *planned.findings]),
    }
