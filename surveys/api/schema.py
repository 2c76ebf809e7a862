"""The OpenAPI description: what every operation has in common is said here once."""

from __future__ import annotations

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter

from surveys.api.problems import Problem
from surveys.inputs.problems import CONTENT_TYPE

UNITS = OpenApiParameter(
    "units", str, enum=["metric", "us"], description="Units of the answer; metric by default."
)
# The usual ones by name; "default" is every other, such as 412 of a stale edit.
ERRORS = ("400", "401", "403", "404", "409", "default")


class Schema(AutoSchema):
    """Units for every answer."""

    def get_override_parameters(self) -> list[Any]:
        return [UNITS]


def problems_described(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Describe a problem document for every error of every operation."""
    content = {CONTENT_TYPE: {"schema": {"$ref": f"#/components/schemas/{Problem.__name__}"}}}
    for path in result["paths"].values():
        for operation in path.values():
            for code in ERRORS:
                operation["responses"].setdefault(code, {"content": content, "description": "What was wrong"})
    return result
