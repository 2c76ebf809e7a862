"""Answers where no view answers: a problem document to programs, a page to people."""

from __future__ import annotations

import sys
from http import HTTPStatus

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string

from compute.base.messages import Message, message
from surveys.core.messages import render
from surveys.inputs.problems import CONTENT_TYPE, problem_of_message

API = "/api/"


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """The answer to an address that does not exist, or leads to nothing this user may see: the same for both."""
    return _answer(request, HTTPStatus.NOT_FOUND, message("not-found"))


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """The answer to a request that Django itself rejects."""
    return _answer(request, HTTPStatus.BAD_REQUEST, message("bad-request"))


def server_error(request: HttpRequest) -> HttpResponse:
    """The answer to a fault of the service, or while the database does not respond."""
    if isinstance(sys.exc_info()[1], OperationalError | InterfaceError):
        answer = _answer(request, HTTPStatus.SERVICE_UNAVAILABLE, message("service-unavailable"))
        answer["Retry-After"] = "1"
        return answer
    return _answer(request, HTTPStatus.INTERNAL_SERVER_ERROR, message("server-error"))


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The answer to a form or session request without its CSRF token."""
    return _answer(request, HTTPStatus.FORBIDDEN, message("csrf-failed"))


def _answer(request: HttpRequest, status: HTTPStatus, of: Message) -> HttpResponse:
    # A page uses neither the session nor the database: either may be what failed.
    if not request.path_info.startswith(API) and request.accepts("text/html"):
        found = render(of)
        return HttpResponse(
            render_to_string("refusal.html", {"title": found.title, "detail": found.body}), status=status
        )
    return JsonResponse(problem_of_message(status, of), status=status, content_type=CONTENT_TYPE)
