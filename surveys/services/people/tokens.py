"""Tokens: creation, identification, use and revocation."""

from __future__ import annotations

from datetime import datetime, timedelta
from hmac import compare_digest

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from knox.crypto import hash_token
from knox.models import get_digest_token
from knox.settings import CONSTANTS

from surveys.models import ApiToken, Scope, User
from surveys.models.audit import Action
from surveys.services.audit import audit_write

MAX_LIFETIME = timedelta(days=366)
SIGN_IN_LIFE = timedelta(days=30)
# Minimum interval between records of the last use, so that most reads do not write.
USE_RECORDED_INTERVAL = timedelta(minutes=1)


@transaction.atomic
def token_make(
    *, user: User, name: str, scope: str, life: timedelta, by: User | None = None
) -> tuple[ApiToken, str]:
    """Create a token of a user; it is returned only once."""
    digest, secret = get_digest_token()
    token = ApiToken.objects.create(
        user=user,
        name=name,
        scope=scope,
        digest=digest,
        token_key=secret[: CONSTANTS.TOKEN_KEY_LENGTH],
        expiry=timezone.now() + min(life, MAX_LIFETIME),
    )
    audit_write(
        Action.CREATED, token, by=by, after={"user": user.pk, "scope": Scope(scope), "expiry": token.expiry}
    )
    return token, secret


@transaction.atomic
def token_revoke(*, token: ApiToken, now: datetime) -> None:
    """Revoke a token; a revoked token is unchanged."""
    if ApiToken.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=now):
        audit_write(Action.CHANGED, token, before={"revoked_at": None}, after={"revoked_at": now})


def tokens_end(*, user: User, now: datetime) -> None:
    """Revoke every token of a user."""
    ApiToken.objects.filter(user=user, revoked_at__isnull=True).update(revoked_at=now)


def token_found(secret: str, now: datetime) -> ApiToken | None:
    """Return the token of a request, if it is in force, and record its use."""
    wanted = hash_token(secret)
    in_force = ApiToken.objects.select_related("user").filter(
        Q(expiry__isnull=True) | Q(expiry__gt=now),
        token_key=secret[: CONSTANTS.TOKEN_KEY_LENGTH],
        revoked_at__isnull=True,
        user__is_active=True,
    )
    token = next((row for row in in_force if compare_digest(row.digest, wanted)), None)
    if token is not None and (
        token.last_used_at is None or token.last_used_at <= now - USE_RECORDED_INTERVAL
    ):
        ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)
    return token
