"""What the documents of surveys and of results share: reading by keys, quantities, reviews."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from compute.base.units import System
from surveys.api.fields import shown_quantity
from surveys.calibration.affected_results import review_notices
from surveys.models import ReviewedSurvey

Lists = dict[UUID, list[Any]]
# Of a review, what its notice says.
REVIEW_COLUMNS = ("survey", "state", "reason", "review__found_on", "review__instrument__kind")


def in_order(rows: QuerySet[Any, dict[str, Any]], keys: Collection[UUID]) -> list[dict[str, Any]]:
    """The rows of these keys, in this order; none for a key that is not there."""
    found = {row["id"]: row for row in rows.filter(pk__in=keys).order_by()}
    return [found[key] for key in keys if key in found]


def lists(pairs: Iterable[tuple[Any, Any]]) -> Lists:
    """For each key its values, in the order of the pairs."""
    found: Lists = defaultdict(list)
    for key, value in pairs:
        found[key].append(value)
    return found


def notices_of(surveys: Collection[UUID]) -> Lists:
    """For each survey what its reviews say to a reader."""
    rows = ReviewedSurvey.objects.filter(survey__in=surveys).select_related("review__instrument")
    found = lists((one.survey_id, one) for one in rows.only(*REVIEW_COLUMNS))
    return defaultdict(
        list, {survey: [one.shown() for one in review_notices(reviews)] for survey, reviews in found.items()}
    )


def shown(si: float | None, kind: str, units: System) -> dict[str, Any] | None:
    """A quantity in the units asked for; None where it is not known."""
    return None if si is None else shown_quantity(si, kind, units)
