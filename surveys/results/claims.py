"""Who works on which item of a recomputation: claims by filtered update, leases, and setting back what failed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from surveys.core.messages import error_text
from surveys.models import RecomputationItem

# A claim takes a share of what is due, so that the first claims of a long run are large (each costs a few queries) and
# the last are small (nobody waits long for the one who got the last).
MIN_CLAIMED, MAX_CLAIMED, SHARE = 20, 500, 16
MAX_ATTEMPTS = 5
FIRST_BACKOFF = timedelta(seconds=2)

State = RecomputationItem.State


@dataclass(slots=True)
class Claim:
    """Items taken together by one worker, when their lease was last made out, and which it was made out for."""

    token: UUID
    items: list[RecomputationItem]
    leased_at: datetime
    held: set[int]


def due(now: datetime) -> Q:
    """Items that wait for a worker, or whose worker let its lease run out."""
    waiting = Q(state=State.WAITING, run_after__lte=now) | Q(state=State.RUNNING, lease_until__lt=now)
    return waiting & parts_without_open_work()


def parts_without_open_work() -> Q:
    """Of items: those of a survey, and those of a combination of which no part has work open in the same run."""
    part_open = RecomputationItem.objects.filter(
        recomputation=OuterRef("recomputation"),
        survey__combination_parts__combination=OuterRef("combination"),
        state__in=[State.WAITING, State.RUNNING],
    )
    return Q(combination__isnull=True) | Q(~Exists(part_open))


def claim(recomputation_id: UUID) -> Claim | None:
    """Take a share of the due items of a recomputation; None if none is due.

    The update's own condition decides between rivals; where the database can, each passes over the rows another is just
    taking, so that rivals come away with different shares instead of one with nothing.
    """
    now, token = timezone.now(), uuid4()
    items = RecomputationItem.objects.filter(due(now), recomputation=recomputation_id)
    # An item that took its worker down with it so often is set aside for a person to look at.
    items.filter(state=State.RUNNING, attempts__gte=MAX_ATTEMPTS).update(
        state=State.FAILED,
        error="The worker stopped while working on this, again and again.",
        finished_at=now,
    )
    share = min(max(math.ceil(items.count() / SHARE), MIN_CLAIMED), MAX_CLAIMED)
    with transaction.atomic():
        rows = items.order_by("pk")
        if connection.features.has_select_for_update_skip_locked:
            rows = rows.select_for_update(skip_locked=True)
        some = list(rows.values_list("pk", flat=True)[:share])
        if not some:
            return None
        items.filter(pk__in=some).update(
            state=State.RUNNING, claimed_by=token, lease_until=now + _lease(), attempts=F("attempts") + 1
        )
    taken = list(_of(token).order_by("pk"))
    return Claim(token, taken, now, {item.pk for item in taken})


def renew(claim: Claim) -> None:
    """Make out a new lease for what is left of a claim once a quarter of the old is over, and let go of what was lost."""
    now = timezone.now()
    if now - claim.leased_at > _lease() / 4:
        _of(claim.token).update(lease_until=now + _lease())
        claim.leased_at, claim.held = now, set(_of(claim.token).values_list("pk", flat=True))


def settle(item: RecomputationItem, **fields: object) -> bool:
    """Note an item as done; False, and nothing noted, if the claim was lost."""
    return bool(
        _owned(item).update(
            state=State.DONE,
            error="",
            claimed_by=None,
            lease_until=None,
            finished_at=timezone.now(),
            **fields,
        )
    )


def item_release(item: RecomputationItem) -> None:
    """Put an item back to be taken at once: it did not fail, something moved meanwhile."""
    _owned(item).update(state=State.WAITING, claimed_by=None, lease_until=None, attempts=F("attempts") - 1)


def item_retry_later(item: RecomputationItem, error: Exception) -> None:
    """Put a failed item back for later, or park it with its error if it failed often enough."""
    now, text = timezone.now(), f"{type(error).__name__}: {error_text(error)}"[:2000]
    if item.attempts >= MAX_ATTEMPTS:
        _owned(item).update(
            state=State.FAILED, error=text, claimed_by=None, lease_until=None, finished_at=now
        )
        return
    later = now + FIRST_BACKOFF * 2 ** (item.attempts - 1)
    _owned(item).update(state=State.WAITING, error=text, run_after=later, claimed_by=None, lease_until=None)


def _lease() -> timedelta:
    return timedelta(seconds=settings.RECOMPUTATION_LEASE_SECONDS)


def _of(token: UUID) -> QuerySet[RecomputationItem]:
    return RecomputationItem.objects.filter(claimed_by=token, state=State.RUNNING)


def _owned(item: RecomputationItem) -> QuerySet[RecomputationItem]:
    return RecomputationItem.objects.filter(pk=item.pk, claimed_by=item.claimed_by, state=State.RUNNING)
