"""What is answered where no view does: a problem document to programs, a page to people."""

from __future__ import annotations

import sys
from http import HTTPStatus

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string

from surveys.api.problems import CONTENT_TYPE, DATABASE_AWAY, NOT_FOUND_DETAIL, problem

API = "/api/"


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """The answer to an address that does not exist, or leads to nothing this user may see: the same for both."""
    return _told(request, HTTPStatus.NOT_FOUND, "not-found", NOT_FOUND_DETAIL)


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """The answer to a request Django itself refuses."""
    return _told(request, HTTPStatus.BAD_REQUEST, "bad-request", "The request cannot be read.")


def server_error(request: HttpRequest) -> HttpResponse:
    """The answer to a fault of ours, or to a database that is away just now."""
    if isinstance(sys.exc_info()[1], OperationalError | InterfaceError):
        answer = _told(request, HTTPStatus.SERVICE_UNAVAILABLE, "service-unavailable", DATABASE_AWAY)
        answer["Retry-After"] = "1"
        return answer
    detail = "Something went wrong here; nothing was changed."
    return _told(request, HTTPStatus.INTERNAL_SERVER_ERROR, "server-error", detail)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The answer to a form or session request without its CSRF token."""
    detail = "The CSRF token is missing or stale; load the page again."
    return _told(request, HTTPStatus.FORBIDDEN, "csrf-failed", detail)


def _told(request: HttpRequest, status: HTTPStatus, code: str, detail: str) -> HttpResponse:
    # A page asks nothing of the session or the database: either may be what failed.
    if not request.path_info.startswith(API) and request.accepts("text/html"):
        return HttpResponse(
            render_to_string("refusal.html", {"title": status.phrase, "detail": detail}), status=status
        )
    document = problem(status, [{"field": "", "code": code, "detail": detail}])
    return JsonResponse(document, status=status, content_type=CONTENT_TYPE)
