"""Limits of how often one user, one address or one name may ask for an expensive calculation or try to sign in.

Each web process counts for itself and forgets with its end: no broker is needed. Failures to sign in are also counted in the database,
by name and address, and lock the two.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterable

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest

from surveys.core.request_context import client_address

SECONDS = {"s": 1, "m": 60, "h": 3600, "d": 86400}


class Limit:
    """A number of requests of one kind in a time span for one user, address or name; none if the rate of the kind is None."""

    def __init__(self, kind: str, who: str) -> None:
        self.rate: str | None = settings.THROTTLE_RATES[kind]
        # A digest: a name as typed can be anything.
        self.key = f"throttle:{kind}:{hashlib.sha256(who.encode('utf-8', 'replace')).hexdigest()}"
        self.seconds: float | None = None

    def allow_request(self, request: object = None, view: object = None) -> bool:
        """Count a request if the limit allows one more."""
        if self.rate is None:
            return True
        count, _, period = self.rate.partition("/")
        span, now = SECONDS[period[0]], time.time()
        times = [one for one in cache.get(self.key, []) if one > now - span]
        if len(times) >= int(count):
            self.seconds = max(times[0] + span - now if times else span, 0.0)
            return False
        cache.set(self.key, [*times, now], span)
        return True

    def wait(self) -> float | None:
        """Seconds until the limit allows the request that it rejected."""
        return self.seconds


def limits_of(kind: str, request: HttpRequest) -> list[Limit]:
    """The limits a request of a kind is under: of its address, and of its user if there is one."""
    user = getattr(request, "user", None)
    ours = [Limit(f"{kind}-user", str(user.pk))] if user is not None and user.is_authenticated else []
    return [Limit(f"{kind}-address", client_address(request)), *ours]


def name_limit(username: str) -> Limit:
    """The limit of signing in under one name, from any number of addresses."""
    return Limit("sign-in-name", username.casefold())


def wait_for(limits: Iterable[Limit]) -> float | None:
    """Count a request under limits; seconds to wait if it is one too many, None if it may go on."""
    waits = [limit.wait() or 1.0 for limit in limits if not limit.allow_request()]
    return max(waits, default=None)
