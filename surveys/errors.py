"""Refusals of the services: each has a stable code, and names the field it is about if there is one."""

from __future__ import annotations

from compute.marks import Told


class ServiceError(Told, Exception):
    """The request cannot be done as asked (400); `said` and `detail` as of `compute.errors.ComputeError`."""

    status = 400

    def __init__(self, said: str, *, code: str = "invalid", field: str = "") -> None:
        self.said = said
        super().__init__(self.detail)
        self.code = code
        self.field = field


class NotAllowed(ServiceError):
    """This user may not do this (403)."""

    status = 403


class Conflict(ServiceError):
    """The records are not in the state this needs (409)."""

    status = 409
