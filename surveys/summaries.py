"""What a recomputation changed, survey by survey and in short."""

from __future__ import annotations

import statistics
from collections import Counter
from dataclasses import dataclass
from uuid import UUID

from surveys.models import Recomputation, RecomputationItem
from surveys.reduction import relative_change

LARGEST_TOLD = 10
ItemState = RecomputationItem.State


@dataclass(frozen=True, slots=True)
class ItemChange:
    """By how much a survey's figure moved; `relative` is None from a flow of 0 to another."""

    difference_m3_s: float
    relative: float | None
    exceeds_threshold: bool


@dataclass(frozen=True, slots=True)
class ClientSummary:
    """What a recomputation means for one client."""

    client: UUID
    name: str
    surveys: int
    told: int
    acknowledged: int


@dataclass(frozen=True, slots=True)
class Moved:
    """A survey and by how much it moved."""

    survey: UUID
    relative_change: float | None


@dataclass(frozen=True, slots=True)
class Failure:
    """What stopped some surveys, and how many."""

    error: str
    surveys: int


@dataclass(frozen=True, slots=True)
class Summary:
    """A recomputation in short."""

    surveys: int
    done: int
    unchanged: int
    within_threshold: int
    exceeding_threshold: int
    median_relative_change: float | None
    largest: tuple[Moved, ...]
    clients: tuple[ClientSummary, ...]
    failures: tuple[Failure, ...]


def item_change(item: RecomputationItem) -> ItemChange | None:
    """What came of an item; None before it is done."""
    if item.before is None or item.after is None:
        return None
    before, after = item.before.volume_flow_m3_s, item.after.volume_flow_m3_s
    relative = relative_change(before, after)
    threshold = item.survey.measuring_point.pipe.site.client.notice_threshold
    return ItemChange(after - before, relative, relative is None or abs(relative) > threshold)


def recomputation_summary(recomputation: Recomputation) -> Summary:
    """A recomputation in short, in one pass over its items."""
    related = ("before", "after__notice", "survey__measuring_point__pipe__site__client")
    items = list(RecomputationItem.objects.filter(recomputation=recomputation).select_related(*related))
    changes = {item.survey_id: change for item in items if (change := item_change(item))}
    relative = [c.relative for c in changes.values() if c.relative is not None]
    exceeding = sum(change.exceeds_threshold for change in changes.values())
    unchanged = sum(change.difference_m3_s == 0 for change in changes.values())
    ranked = sorted(changes.items(), key=lambda one: _size(one[1]), reverse=True)[:LARGEST_TOLD]
    errors = Counter(item.error for item in items if item.state == ItemState.PARKED)
    return Summary(
        surveys=len(items),
        done=sum(item.state == ItemState.DONE for item in items),
        unchanged=unchanged,
        within_threshold=len(changes) - exceeding - unchanged,
        exceeding_threshold=exceeding,
        median_relative_change=statistics.median(relative) if relative else None,
        largest=tuple(Moved(survey, change.relative) for survey, change in ranked if change.difference_m3_s),
        clients=_by_client(items),
        failures=tuple(Failure(error, count) for error, count in errors.most_common()),
    )


def _size(change: ItemChange) -> float:
    return float("inf") if change.relative is None else abs(change.relative)


def _by_client(items: list[RecomputationItem]) -> tuple[ClientSummary, ...]:
    by_client: dict[UUID, list[RecomputationItem]] = {}
    for item in items:
        by_client.setdefault(item.survey.measuring_point.pipe.site.client_id, []).append(item)
    summaries = []
    for client, own in by_client.items():
        notices = [notice for item in own if (notice := getattr(item.after, "notice", None))]
        name = own[0].survey.measuring_point.pipe.site.client.name
        seen = sum(notice.acknowledged_at is not None for notice in notices)
        summaries.append(ClientSummary(client, name, len(own), len(notices), seen))
    return tuple(sorted(summaries, key=lambda one: one.name))
