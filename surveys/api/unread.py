"""Reads what a refused upload left unread, so that its connection can serve the next request."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, UnreadablePostError
from django.http.response import HttpResponseBase

# A log of a million rows is smaller; what is larger costs its sender the connection.
MAX_READ, CHUNK = 64 * 2**20, 2**16


def read_remaining_body(
    get_response: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Middleware that reads the body of a request that was rejected before the body was read.

    The web server drops a connection with too much left on it after it has promised to keep it, and a client that
    reuses its connections would see the next request fail.
    """

    def middleware(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        try:
            for _ in range(MAX_READ // CHUNK):
                if not request.read(CHUNK):
                    break
        except UnreadablePostError:
            pass  # The sender has gone.
        return response

    return middleware
