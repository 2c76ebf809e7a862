"""Calendar feeds: an address with a token of its own, kept as a digest, that can be revoked."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime

from surveys.models import CalendarFeed, Role, User

PEOPLE = frozenset({Role.TECHNICIAN, *Role.office_roles()})


def calendar_feed_make(*, owner: User, label: str, now: datetime) -> tuple[CalendarFeed, str]:
    """A new feed with its token, which is known here and never again."""
    token = secrets.token_urlsafe(32)
    feed = CalendarFeed.objects.create(owner=owner, label=label, token_sha256=_digest(token), made_at=now)
    return feed, token


def calendar_feed_revoke(*, feed: CalendarFeed, now: datetime) -> None:
    """Stop a feed; one that was stopped stays so."""
    CalendarFeed.objects.filter(pk=feed.pk, revoked_at__isnull=True).update(revoked_at=now)


def calendar_feed_owner(token: str) -> User | None:
    """Whose due list a token opens; None if it is unknown or revoked, or its owner may not see instruments any more."""
    feed = CalendarFeed.objects.select_related("owner").filter(
        token_sha256=_digest(token), revoked_at__isnull=True, owner__is_active=True, owner__role__in=PEOPLE
    )
    found = feed.first()
    return found.owner if found else None


def _digest(token: str) -> str:
    # The token is 256 random bits: there is nothing to guess, so that a plain digest will do.
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
