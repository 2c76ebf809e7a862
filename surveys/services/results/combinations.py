"""Combinations: creation by people or for further paths, change of name, retirement, restoration."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction

from compute.base.messages import message
from surveys.core.errors import ServiceError
from surveys.models import Combination, CombinationPart, Site, Survey, User
from surveys.models.reasons import SystemReason, system_reason
from surveys.models.result import Cause
from surveys.results.combined_flow import combined_flow
from surveys.results.combining import (
    CombinationOccasion,
    CombinedDraft,
    combinations_settle,
    combined_store,
    results_of,
    surveys_lock,
)
from surveys.services.records import record_create

MAX_PARTS = 24


def combination_create(
    *, combination: Combination, surveys: Sequence[Survey], by: User, now: datetime
) -> Combination:
    """Combine surveys of one site: a sum, a difference (the first less the second) or a mean.

    If each has a result, the combined result is calculated at once, else with the log of the last. Raises ServiceError for
    parts that cannot belong together, ComputeError if their logs have no time in common.
    """
    _check_parts(combination.kind, combination.site, surveys)
    combination.created_by, combination.created_at = by, now
    ids = [survey.pk for survey in surveys]
    while True:
        # The logs are read outside the transaction, and again if a part changes before it.
        results = results_of(ids)
        draft = CombinedDraft(
            combination, results, None, combined_flow(combination.kind, results) if results else None
        )
        with transaction.atomic():
            surveys_lock(ids)
            if [result.pk for result in results_of(ids)] == [result.pk for result in results]:
                return _store(draft, surveys)


def combination_resume(*, combination: Combination, now: datetime) -> None:
    """Restore a retired combination, with the current results of its parts."""
    making = CombinationOccasion(
        Cause.COMBINATION, system_reason(message("combination-restored", name=combination.name)), now
    )
    with transaction.atomic():
        combinations_settle([combination], making)


def combinations_extend(survey: Survey, *, by: User, now: datetime) -> None:
    """Combine the combinations of a survey with its first result, in the caller's transaction.

    The caller has locked the survey's pipe. A further path becomes a part of the paths at its point.
    """
    if survey.primary_survey is not None:
        _join_paths(survey.primary_survey, survey, by, now)
    making = CombinationOccasion(Cause.LOG_IMPORT, _log_imported(survey), now)
    own = Combination.objects.filter(parts__survey=survey, retired_at__isnull=True)
    combinations_settle(list(own.order_by("pk")), making)


def _store(draft: CombinedDraft, surveys: Sequence[Survey]) -> Combination:
    combination = record_create(draft.combination)
    CombinationPart.objects.bulk_create(
        [
            CombinationPart(combination=combination, survey=survey, sequence=n)
            for n, survey in enumerate(surveys)
        ]
    )
    reason = system_reason(message("combination-created", name=combination.name))
    combined_store(draft, CombinationOccasion(Cause.COMBINATION, reason, combination.created_at))
    return combination


def _join_paths(first: Survey, survey: Survey, by: User, now: datetime) -> None:
    point = survey.measuring_point
    day = first.started_at.astimezone(point.pipe.site.zone).date()
    combination, new = Combination.objects.get_or_create(
        survey=first,
        defaults={
            "kind": Combination.Kind.MULTIPATH,
            "site": point.pipe.site,
            "name": f"Paths at {point.name}, {day}"[:200],
            "created_at": now,
            "created_by": by,
        },
    )
    if new:
        CombinationPart.objects.create(combination=combination, survey=first, sequence=0)
    place = combination.parts.count()
    CombinationPart.objects.create(combination=combination, survey=survey, sequence=place)


def _log_imported(survey: Survey) -> SystemReason:
    key = "part-log-imported" if survey.primary_survey_id is None else "part-log-imported/further-path"
    return system_reason(message(key))


def _check_parts(kind: str, site: Site, surveys: Sequence[Survey]) -> None:
    """Reject parts that cannot be combined."""
    if len(surveys) < 2 or (kind == Combination.Kind.DIFFERENCE and len(surveys) != 2):
        difference = kind == Combination.Kind.DIFFERENCE
        raise ServiceError(
            "parts-number/difference" if difference else "parts-number/too-few",
            field="parts",
            count=len(surveys),
        )
    if len(surveys) > MAX_PARTS:
        raise ServiceError("parts-number/too-many", field="parts", limit=MAX_PARTS)
    seen: dict[UUID, int] = {}
    for number, survey in enumerate(surveys):
        field = f"parts.{number}"
        if survey.measuring_point.pipe.site_id != site.pk:
            raise ServiceError("other-site/part", field=field)
        first = survey.primary_survey_id or survey.pk
        if first in seen:
            same = surveys[seen[first]].pk == survey.pk
            raise ServiceError("duplicate-part" if same else "paths-of-one-flow", field=field)
        seen[first] = number
