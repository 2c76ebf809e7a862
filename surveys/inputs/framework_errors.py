"""Errors of the frameworks as messages of the catalogue."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from compute.base.messages import Message, field_name, message

# Codes that have an entry of their own. `invalid` is not among them: what the framework writes of a date or an id says more.
CODES = frozenset(
    {
        "authentication-failed",
        "blank",
        "does-not-exist",
        "empty",
        "incorrect-type",
        "invalid-choice",
        "max-length",
        "max-string-length",
        "max-value",
        "method-not-allowed",
        "min-length",
        "min-value",
        "not-a-dict",
        "not-a-list",
        "not-acceptable",
        "not-authenticated",
        "null",
        "null-characters-not-allowed",
        "parse-error",
        "permission-denied",
        "required",
        "surrogate-characters-not-allowed",
        "throttled",
        "unique",
        "unsupported-media-type",
    }
)
COUNTED = frozenset({"max-length", "min-length", "throttled"})
LIMITED = frozenset({"max-value", "min-value"})
QUOTED = frozenset({"invalid-choice", "does-not-exist", "method-not-allowed", "unsupported-media-type"})

NUMBER = re.compile(r"-?\d+(\.\d+)?")
GIVEN = re.compile(r'"(.*)"', re.DOTALL)
MAX_GIVEN = 60


def framework_message(
    code: str, text: str, field: str, params: Mapping[str, Any] | None = None
) -> Message | None:
    """The message of an error that a framework raised with its own text; None if the catalogue has none for its code.

    The limit and the rejected value are only in the text where the framework keeps no parameters.
    """
    if code not in CODES:
        return None
    parameters: dict[str, Any] = {"quantity": field_name(field)} if field else {}
    if code in COUNTED:
        parameters["count"] = _whole((params or {}).get("limit_value"), text)
    elif code in LIMITED:
        parameters["limit"] = _number((params or {}).get("limit_value"), text)
    elif code in QUOTED and (given := GIVEN.search(text)):
        parameters["given"] = given[1][:MAX_GIVEN]
    return message(code, **parameters)


def _number(known: Any, text: str) -> float | None:
    found = NUMBER.search(text)
    return float(known) if isinstance(known, int | float) else float(found[0]) if found else None


def _whole(known: Any, text: str) -> int | None:
    number = _number(known, text)
    return None if number is None else int(number)
