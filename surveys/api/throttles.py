"""How often one user, one address or one name may ask for what is costly or is guessed at: 429 with `Retry-After` beyond.

Each web process counts for itself and forgets with its end: no broker is needed, and none that is down refuses anybody. Failures to sign
in are counted in the database besides, by name and address, and lock the two.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import ClassVar

from django.conf import settings
from django.http import HttpRequest
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle, SimpleRateThrottle
from rest_framework.views import APIView

from surveys.core.request_context import client_address


class Limit(SimpleRateThrottle):
    """So many requests of one kind by one who asks, in the span that the rate of the kind names; none if the rate is None."""

    def __init__(self, kind: str, who: str) -> None:
        self.kind, self.who = kind, who
        super().__init__()

    def get_rate(self) -> str | None:
        rate: str | None = settings.THROTTLE_RATES[self.kind]
        return rate

    def get_cache_key(self, request: Request, view: APIView) -> str:
        """Of a digest: a name typed may be anything."""
        return f"throttle:{self.kind}:{hashlib.sha256(self.who.encode('utf-8', 'replace')).hexdigest()}"


class ThrottledView(APIView):
    """A view, or an action of one, that says in `throttled_as` what kind of cost it is."""

    throttled_as: ClassVar[str | None] = None

    def get_throttles(self) -> list[BaseThrottle]:
        return list(limits_of(self.throttled_as, self.request._request)) if self.throttled_as else []


def limits_of(kind: str, request: HttpRequest) -> list[Limit]:
    """The limits a request of a kind is under: of its address, and of its user if there is one."""
    user = getattr(request, "user", None)
    ours = [Limit(f"{kind}-user", str(user.pk))] if user is not None and user.is_authenticated else []
    return [Limit(f"{kind}-address", client_address(request)), *ours]


def name_limit(username: str) -> Limit:
    """The limit of signing in under one name, from however many addresses."""
    return Limit("sign-in-name", username.casefold())


def wait_for(limits: Iterable[Limit], request: HttpRequest) -> float | None:
    """Count a request under limits; seconds to wait if it is one too many, None if it may go on."""
    waits = [
        limit.wait() or 1.0
        for limit in limits
        if not limit.allow_request(request, None)  # type: ignore[arg-type]
    ]
    return max(waits, default=None)
