"""Headers of every answer that Django's own settings do not give."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest
from django.http.response import HttpResponseBase

# What a page may ask of the browser: nothing of these is used.
PERMISSIONS = "camera=(), display-capture=(), geolocation=(), microphone=(), payment=(), usb=()"
# A file that came from outside is saved, not shown; should a browser show it all the same, it can do nothing.
FILE_POLICY = "default-src 'none'; sandbox"


def careful_headers(
    get_response: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Middleware: no answer is kept by a cache that others share, and a file for download is shut in."""

    def middleware(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Cache-Control", "private, no-cache")
        if response.headers.get("Content-Disposition", "").startswith("attachment"):
            response.headers["Content-Security-Policy"] = FILE_POLICY
        return response

    return middleware
