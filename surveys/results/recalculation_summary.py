"""Changes by a recalculation, by survey and in summary."""

from __future__ import annotations

import json
import statistics
from collections import Counter
from dataclasses import dataclass
from typing import Any, cast
from uuid import UUID

from surveys.models import Client, Recomputation, RecomputationItem, Survey
from surveys.results.reduction import exceeds, relative_change

MAX_CHANGES_REPORTED = 10
# What `item_change` and a notice of an item are read from.
ITEM_RELATED = (
    "before",
    "after__notice",
    "survey__measuring_point__pipe__site__client",
    "before_combined",
    "after_combined__notice",
    "combination__site__client",
)
ItemState = RecomputationItem.State


@dataclass(frozen=True, slots=True)
class ItemChange:
    """Change of the flow of a survey or combination; `relative` is None for a change from a flow of 0."""

    difference_m3_s: float
    relative: float | None
    exceeds_threshold: bool


@dataclass(frozen=True, slots=True)
class ClientSummary:
    """Effect of a recalculation on one client."""

    client: UUID
    name: str
    surveys: int
    notices: int
    acknowledged: int


@dataclass(frozen=True, slots=True)
class SurveyMove:
    """A survey and the change of its flow."""

    survey: UUID
    relative_change: float | None


@dataclass(frozen=True, slots=True)
class Failure:
    """An error, and the number of surveys and combinations that it stopped."""

    error: dict[str, Any] | None
    surveys: int
    combinations: int


@dataclass(frozen=True, slots=True)
class Summary:
    """A recomputation in short. All but `combinations`, notices and failures is of its surveys."""

    surveys: int
    combinations: int
    done: int
    unchanged: int
    within_threshold: int
    exceeding_threshold: int
    median_relative_change: float | None
    largest: tuple[SurveyMove, ...]
    clients: tuple[ClientSummary, ...]
    failures: tuple[Failure, ...]


def item_change(item: RecomputationItem) -> ItemChange | None:
    """Return the result of an item; None before it is done, and for a first combined result."""
    old, new = item.before or item.before_combined, item.after or item.after_combined
    if old is None or new is None:
        return None
    before, after = old.volume_flow_m3_s, new.volume_flow_m3_s
    relative = relative_change(before, after)
    return ItemChange(after - before, relative, exceeds(relative, _client(item).notice_threshold))


def _client(item: RecomputationItem) -> Client:
    if item.combination is not None:
        return item.combination.site.client
    # A constraint holds that an item has one of the two.
    return cast(Survey, item.survey).measuring_point.pipe.site.client


def recomputation_summary(recomputation: Recomputation) -> Summary:
    """Return the summary of a recalculation, in one pass over its items."""
    rows = RecomputationItem.objects.filter(recomputation=recomputation).select_related(*ITEM_RELATED)
    everything = list(rows)
    items = [item for item in everything if item.survey_id is not None]
    changes = {item.survey_id: change for item in items if item.survey_id and (change := item_change(item))}
    relative = [c.relative for c in changes.values() if c.relative is not None]
    exceeding = sum(change.exceeds_threshold for change in changes.values())
    unchanged = sum(change.difference_m3_s == 0 for change in changes.values())
    ranked = sorted(changes.items(), key=lambda one: _size(one[1]), reverse=True)[:MAX_CHANGES_REPORTED]
    return Summary(
        surveys=len(items),
        combinations=len(everything) - len(items),
        done=sum(item.state == ItemState.DONE for item in items),
        unchanged=unchanged,
        within_threshold=len(changes) - exceeding - unchanged,
        exceeding_threshold=exceeding,
        median_relative_change=statistics.median(relative) if relative else None,
        largest=tuple(
            SurveyMove(survey, change.relative) for survey, change in ranked if change.difference_m3_s
        ),
        clients=_by_client(everything),
        failures=_failures(everything),
    )


def _failures(items: list[RecomputationItem]) -> tuple[Failure, ...]:
    failed = [item for item in items if item.state == ItemState.FAILED]
    errors = {_key(item): item.error for item in failed}
    of_surveys = Counter(_key(item) for item in failed if item.survey_id is not None)
    return tuple(
        Failure(errors[key], of_surveys[key], count - of_surveys[key])
        for key, count in Counter(map(_key, failed)).most_common()
    )


def _key(item: RecomputationItem) -> str:
    return json.dumps(item.error, sort_keys=True)


def _size(change: ItemChange) -> float:
    return float("inf") if change.relative is None else abs(change.relative)


def _by_client(items: list[RecomputationItem]) -> tuple[ClientSummary, ...]:
    by_client: dict[UUID, list[RecomputationItem]] = {}
    for item in items:
        by_client.setdefault(_client(item).pk, []).append(item)
    summaries = []
    for client, own in by_client.items():
        results = [item.after or item.after_combined for item in own]
        notices = [notice for result in results if (notice := getattr(result, "notice", None))]
        surveys = sum(item.survey_id is not None for item in own)
        seen = sum(notice.acknowledged_at is not None for notice in notices)
        summaries.append(ClientSummary(client, _client(own[0]).name, surveys, len(notices), seen))
    return tuple(sorted(summaries, key=lambda one: one.name))
