"""Endpoints `/healthz`, `/readyz` and `/metrics` for monitoring from inside the network.

They respond before any other middleware: a probe knows no host name and uses no TLS, and its requests need no log lines.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase

Answer = Callable[[HttpRequest], HttpResponseBase]


def probes(get_response: Answer) -> Answer:
    """Middleware that answers the probes and passes on all other requests."""

    def middleware(request: HttpRequest) -> HttpResponseBase:
        requested = request.method in ("GET", "HEAD")
        if requested and request.path_info == "/healthz":
            return JsonResponse({"alive": True})
        if requested and request.path_info == "/readyz":
            return _ready()
        if requested and request.path_info == "/metrics" and _may_read_metrics(request):
            return _metrics()
        return get_response(request)

    return middleware


def _ready() -> HttpResponse:
    from surveys.operations.readiness import failed_parts

    failed = failed_parts()
    return JsonResponse({"ready": not failed, "failed": failed}, status=503 if failed else 200)


def _may_read_metrics(request: HttpRequest) -> bool:
    """Whether the request carries the metrics token; without a token the address returns 404."""
    given = request.headers.get("Authorization", "")
    wanted = f"Bearer {settings.METRICS_TOKEN}"
    return bool(settings.METRICS_TOKEN) and hmac.compare_digest(given.encode(), wanted.encode())


def _metrics() -> HttpResponse:
    from prometheus_client import CONTENT_TYPE_LATEST

    from surveys.operations.metrics import metrics_text

    return HttpResponse(metrics_text(), content_type=CONTENT_TYPE_LATEST)
