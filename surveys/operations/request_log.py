"""Request ids, in the log lines of a request, in those of its tasks, and in its response."""

from __future__ import annotations

from uuid import uuid4

import structlog
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve
from django_structlog.middlewares import RequestMiddleware


def route_of(request: HttpRequest) -> str:
    """Return the method and the route of a request, not the address, which may hold a token or a name."""
    try:
        found = request.resolver_match or resolve(request.path_info)
        return f"{request.method} /{found.route}"
    except Resolver404:
        return f"{request.method} of no address here"


class RequestLines(RequestMiddleware):
    """Middleware that logs one line for each response, by its route."""

    def prepare(self, request: HttpRequest) -> None:
        structlog.contextvars.bind_contextvars(request_id=str(uuid4()))

    @staticmethod
    def format_request(request: HttpRequest) -> str:
        return route_of(request)

    def handle_response(self, request: HttpRequest, response: HttpResponse) -> None:
        response["X-Request-ID"] = structlog.contextvars.get_contextvars().get("request_id", "")
        super().handle_response(request, response)
