"""Errors of the services: each has a stable code, and names its field if there is one."""

from __future__ import annotations

import re
from typing import Any, Self

from compute.base.errors import ComputeError
from compute.base.marks import Told
from compute.base.messages import Message, field_name, message

KEY = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*(/[a-z0-9]+(-[a-z0-9]+)*)?")


class ServiceError(Told, Exception):
    """Request that cannot be done (400): the key of a message of the catalogue and its parameters."""

    status = 400

    def __init__(self, said: str, /, *, code: str = "", field: str = "", **parameters: Any) -> None:
        self.field = field
        # Sentence with a code: for errors that are not in the catalogue yet.
        self.message: Message | None = None
        if not code and KEY.fullmatch(said):
            named = {"quantity": field_name(field)} if field else {}
            self.message = message(said, **named | parameters)
            code = self.message.code
        self.code = code or "invalid"
        self.said = said if self.message is None else str(self.message)
        super().__init__(self.detail)

    @classmethod
    def of(cls, error: ComputeError, field: str = "") -> Self:
        """Return the error for an error of the physics, under a field of the request."""
        if error.message is None:
            return cls(error.said, code=error.code, field=field or error.field)
        return cls(error.message.key, field=field or error.field, **error.message.parameters)


class NotAllowed(ServiceError):
    """Action that this user is not permitted to do (403)."""

    status = 403


class Conflict(ServiceError):
    """Action that the state of the records does not permit (409)."""

    status = 409
