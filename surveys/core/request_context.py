"""Context of a request: the audit log names its user wherever a record is written."""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase

_request: ContextVar[HttpRequest | None] = ContextVar("request", default=None)


def remember_request(
    get_response: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Middleware: remember the request, so that records written meanwhile name its user."""

    def middleware(request: HttpRequest) -> HttpResponseBase:
        token = _request.set(request)
        try:
            return get_response(request)
        finally:
            _request.reset(token)

    return middleware


def actor() -> Any | None:
    """Return the user of the current request; None in a worker, in a command, or without sign-in."""
    request = _request.get()
    user = getattr(request, "user", None)
    return user if user is not None and user.is_authenticated else None


def client_address(request: HttpRequest) -> str:
    """Return the client address of a request: behind a proxy the last one added, since earlier ones may be forged."""
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "") if settings.SECURE_PROXY_SSL_HEADER else ""
    return forwarded.rsplit(",", 1)[-1].strip() or str(request.META.get("REMOTE_ADDR", ""))
