"""The OpenAPI description: what every operation has in common is said here once."""

from __future__ import annotations

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse

from surveys.api.problems import CONTENT_TYPE, Problem

UNITS = OpenApiParameter(
    "units", str, enum=["metric", "us"], description="Units of the answer; metric by default."
)
# The usual ones by name; "default" is every other, such as 412 of a stale edit.
ERRORS = ("400", "401", "403", "404", "409", "default")


class Schema(AutoSchema):
    """Units for every answer, and a problem document for every error."""

    def get_override_parameters(self) -> list[Any]:
        return [UNITS]

    def get_operation(self, *args: Any, **kwargs: Any) -> dict[str, Any] | None:
        operation: dict[str, Any] | None = super().get_operation(*args, **kwargs)
        if operation is not None:
            error = OpenApiResponse(Problem, description="What was wrong")
            for code in ERRORS:
                answer = self._get_response_for_code(error, code, [CONTENT_TYPE])
                operation["responses"].setdefault(code, answer)
        return operation
