"""Problem documents (RFC 9457) as answers of the API."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.http.response import HttpResponseBase
from rest_framework import serializers
from rest_framework.response import Response

from surveys.api.idempotency import Replay
from surveys.inputs.problems import CONTENT_TYPE, errors_read, not_now, problem, status_and_errors


class Problem(serializers.Serializer):
    """An error: what was wrong, where, and what to do."""

    class Error(serializers.Serializer):
        field = serializers.CharField(
            help_text="Path in the request, such as pipe.wall_thickness; empty if none."
        )
        code = serializers.CharField()
        detail = serializers.CharField()

        class Meta:
            ref_name = "ProblemError"

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    code = serializers.CharField()
    errors = Error(many=True)


def exception_handler(error: Exception, context: Mapping[str, Any]) -> HttpResponseBase | None:
    """Turn an error of a view into a problem document; None for one that is a fault of ours."""
    if isinstance(error, Replay):
        return error.response
    found = status_and_errors(error) or not_now(error)
    if found is None:
        return None
    request = context.get("request")
    us = request is not None and request.query_params.get("units") == "us"
    status, errors = found[0], errors_read(found[1], "us" if us else "metric")
    headers = {"Retry-After": "1"} if status == HTTPStatus.SERVICE_UNAVAILABLE else {}
    if status == HTTPStatus.UNAUTHORIZED:
        headers["WWW-Authenticate"] = getattr(error, "auth_header", "") or "Token"
    if wait := getattr(error, "wait", None):
        headers["Retry-After"] = str(int(wait) + 1)
    return Response(problem(status, errors), status=status, headers=headers, content_type=CONTENT_TYPE)
