"""Claims of the items of a recalculation by workers: by filtered update, with leases and later attempts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from compute.base.messages import message
from surveys.core.messages import failure_of
from surveys.models import RecomputationItem

# A claim takes a share of the due items: the first claims of a long run are large (each costs a few queries), the last
# are small (the run does not wait long for the last worker).
MIN_CLAIMED, MAX_CLAIMED, SHARE = 20, 500, 16
MAX_ATTEMPTS = 5
FIRST_BACKOFF = timedelta(seconds=2)

State = RecomputationItem.State


@dataclass(slots=True)
class Claim:
    """Items claimed together by one worker, the start of their lease, and the items that it still covers."""

    token: UUID
    items: list[RecomputationItem]
    leased_at: datetime
    held: set[int]


def due(now: datetime) -> Q:
    """Select items that wait for a worker, or whose lease has expired."""
    waiting = Q(state=State.WAITING, run_after__lte=now) | Q(state=State.RUNNING, lease_until__lt=now)
    return waiting & parts_without_open_work()


def parts_without_open_work() -> Q:
    """Select items of a survey, and items of a combination none of whose parts is open in the same run."""
    part_open = RecomputationItem.objects.filter(
        recomputation=OuterRef("recomputation"),
        survey__combination_parts__combination=OuterRef("combination"),
        state__in=[State.WAITING, State.RUNNING],
    )
    return Q(combination__isnull=True) | Q(~Exists(part_open))


def claim(recomputation_id: UUID) -> Claim | None:
    """Claim a share of the due items of a recalculation; None if none is due.

    The condition of the update decides between concurrent workers. Where the database can, each worker skips the rows that
    another has locked, so that concurrent workers claim different items.
    """
    now, token = timezone.now(), uuid4()
    items = RecomputationItem.objects.filter(due(now), recomputation=recomputation_id)
    # An item whose worker stopped on every attempt is set aside for a person to check.
    items.filter(state=State.RUNNING, attempts__gte=MAX_ATTEMPTS).update(
        state=State.FAILED,
        error=message("worker-stopped", count=MAX_ATTEMPTS).stored(),
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
    """Renew the lease of the rest of a claim after a quarter of it, and drop the items that were lost."""
    now = timezone.now()
    if now - claim.leased_at > _lease() / 4:
        _of(claim.token).update(lease_until=now + _lease())
        claim.leased_at, claim.held = now, set(_of(claim.token).values_list("pk", flat=True))


def settle(item: RecomputationItem, **fields: object) -> bool:
    """Mark an item as done; False, and nothing changed, if the claim was lost."""
    return bool(
        _owned(item).update(
            state=State.DONE,
            error=None,
            claimed_by=None,
            lease_until=None,
            finished_at=timezone.now(),
            **fields,
        )
    )


def item_release(item: RecomputationItem) -> None:
    """Return an item for an immediate attempt: it did not fail, but its inputs changed during the calculation."""
    _owned(item).update(state=State.WAITING, claimed_by=None, lease_until=None, attempts=F("attempts") - 1)


def item_retry_later(item: RecomputationItem, error: Exception) -> None:
    """Return a failed item for a later attempt; after the last attempt mark it as failed."""
    now, failure = timezone.now(), failure_of(error).stored()
    if item.attempts >= MAX_ATTEMPTS:
        _owned(item).update(
            state=State.FAILED, error=failure, claimed_by=None, lease_until=None, finished_at=now
        )
        return
    later = now + FIRST_BACKOFF * 2 ** (item.attempts - 1)
    _owned(item).update(
        state=State.WAITING, error=failure, run_after=later, claimed_by=None, lease_until=None
    )


def _lease() -> timedelta:
    return timedelta(seconds=settings.RECOMPUTATION_LEASE_SECONDS)


def _of(token: UUID) -> QuerySet[RecomputationItem]:
    return RecomputationItem.objects.filter(claimed_by=token, state=State.RUNNING)


def _owned(item: RecomputationItem) -> QuerySet[RecomputationItem]:
    return RecomputationItem.objects.filter(pk=item.pk, claimed_by=item.claimed_by, state=State.RUNNING)
