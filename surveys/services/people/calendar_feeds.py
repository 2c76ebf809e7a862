"""Calendar feeds: revocable addresses with a token, stored as a digest."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime

from django.db import transaction

from surveys.calibration.due_list import office_today
from surveys.models import CalendarFeed, Role, User
from surveys.models.audit import Action
from surveys.models.calibration import FeedSubject
from surveys.services.audit import audit_write, record_created
from surveys.services.people.tokens import USE_RECORDED_INTERVAL

PEOPLE = frozenset({Role.TECHNICIAN, *Role.office_roles()})


@transaction.atomic
def calendar_feed_make(
    *, owner: User, now: datetime, label: str = "", subject: str = FeedSubject.DUE_DATES
) -> tuple[CalendarFeed, str]:
    """Create a feed; its token is returned only once."""
    token = secrets.token_urlsafe(32)
    feed = CalendarFeed.objects.create(
        owner=owner, label=label, subject=subject, token_sha256=_digest(token), created_at=now
    )
    record_created(feed)
    return feed, token


@transaction.atomic
def calendar_feed_revoke(*, feed: CalendarFeed, now: datetime) -> None:
    """Revoke a feed; a revoked feed is unchanged."""
    if CalendarFeed.objects.filter(pk=feed.pk, revoked_at__isnull=True).update(revoked_at=now):
        audit_write(Action.CHANGED, feed, before={"revoked_at": None}, after={"revoked_at": now})


def calendar_feed_open(token: str, now: datetime) -> CalendarFeed | None:
    """Return the feed of a token; None if it is unknown or revoked, or its owner may no longer see instruments.

    A calendar program requests it every few minutes: each use is recorded, and the audit log has one entry a day.
    """
    found = CalendarFeed.objects.select_related("owner").filter(
        token_sha256=_digest(token), revoked_at__isnull=True, owner__is_active=True, owner__role__in=PEOPLE
    )
    feed = found.first()
    if feed is not None and (feed.last_used_at is None or feed.last_used_at <= now - USE_RECORDED_INTERVAL):
        with transaction.atomic():
            if feed.last_used_at is None or office_today(feed.last_used_at) < office_today(now):
                audit_write(Action.EXPORTED, feed, by=feed.owner, after={"subject": feed.subject})
            CalendarFeed.objects.filter(pk=feed.pk).update(last_used_at=now)
    return feed


def _digest(token: str) -> str:
    # The token has 256 random bits and cannot be guessed, so a plain digest is sufficient.
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
