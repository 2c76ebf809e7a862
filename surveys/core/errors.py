"""Errors of the services: each has a stable code, and names its field if there is one."""

from __future__ import annotations

from typing import Any, Self

from compute.base.errors import ComputeError
from compute.base.messages import field_name, message


class ServiceError(Exception):
    """Request that cannot be done (400): the key of a message of the catalogue and its parameters."""

    status = 400

    def __init__(self, key: str, /, *, field: str = "", **parameters: Any) -> None:
        self.field = field
        named = {"quantity": field_name(field)} if field else {}
        self.message = message(key, **named | parameters)
        super().__init__(str(self.message))

    @property
    def code(self) -> str:
        """Return the stable code of the error."""
        return self.message.code

    @classmethod
    def of(cls, error: ComputeError, field: str = "") -> Self:
        """Return the error for an error of the physics, under a field of the request."""
        return cls(error.message.key, field=field or error.field, **error.message.parameters)


class NotAllowed(ServiceError):
    """Action that this user is not permitted to do (403)."""

    status = 403


class Conflict(ServiceError):
    """Action that the state of the records does not permit (409)."""

    status = 409
