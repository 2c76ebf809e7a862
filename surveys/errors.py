"""Refusals of the services: each has a stable code, and names the field it is about if there is one."""


class ServiceError(Exception):
    """The request cannot be done as asked (400)."""

    status = 400

    def __init__(self, detail: str, *, code: str = "invalid", field: str = "") -> None:
        super().__init__(detail)
        self.detail = detail
        self.code = code
        self.field = field


class NotAllowed(ServiceError):
    """This user may not do this (403)."""

    status = 403


class Conflict(ServiceError):
    """The records are not in the state this needs (409)."""

    status = 409
