"""Middleware that rejects a body shorter than the length its sender announced.

A web server passes on what it received and then an end of file; half a log would be imported as a whole one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from django.core.exceptions import BadRequest

from surveys.core.errors import ServiceError

Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class BodyTruncated(ServiceError, BadRequest):
    """Error for a connection that ended within the body; a BadRequest too, for readers of the body outside the API."""


class LengthCheckedBody:
    """A request body that raises if it ends too early."""

    def __init__(self, body: Any, length: int) -> None:
        self._body, self._missing, self._length = body, length, length

    def read(self, size: int) -> bytes:
        return self._counted(self._body.read(size), size)

    def readline(self, size: int) -> bytes:
        return self._counted(self._body.readline(size), size)

    def _counted(self, content: bytes, size: int) -> bytes:
        self._missing -= len(content)
        if not content and size and self._missing > 0:
            # Raised once: a reader that clears the connection afterwards finds its end.
            missing, self._missing = self._missing, 0
            raise BodyTruncated("body-cut-off", received=self._length - missing, expected=self._length)
        return content


def check_body_length(application: Application) -> Application:
    """Wrap a WSGI application so that it reads whole bodies or gets an error."""

    def guarded(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        length = environ.get("CONTENT_LENGTH") or ""
        if length.isascii() and length.isdigit():
            environ["wsgi.input"] = LengthCheckedBody(environ["wsgi.input"], int(length))
        return application(environ, start_response)

    return guarded
