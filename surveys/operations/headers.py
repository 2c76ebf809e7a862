"""Response headers that the settings of Django do not provide."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.http import ConditionalGetMiddleware

# Browser features a page may use: none.
PERMISSIONS = "camera=(), display-capture=(), geolocation=(), microphone=(), payment=(), usb=()"
# An uploaded file is downloaded, not shown; if a browser shows it anyway, it can do nothing.
FILE_POLICY = "default-src 'none'; sandbox"


def response_headers(
    get_response: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Middleware: keep responses out of shared caches, and restrict files for download."""

    def middleware(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Cache-Control", "private, no-cache")
        if response.headers.get("Content-Disposition", "").startswith("attachment"):
            response.headers["Content-Security-Policy"] = FILE_POLICY
        return response

    return middleware


class ConditionalResponses(ConditionalGetMiddleware):
    """Answer 304 where a client has the current representation; an error is not a representation and has no ETag."""

    def needs_etag(self, response: HttpResponseBase) -> bool:
        return response.status_code < 400 and super().needs_etag(response)
