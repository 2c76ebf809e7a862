"""Rejections of requests: validation errors whose code carries a message of the catalogue."""

from __future__ import annotations

from rest_framework.exceptions import ErrorDetail, ValidationError

from compute.base.errors import ComputeError
from compute.base.messages import Message, field_name, message
from surveys.core.errors import ServiceError
from surveys.core.messages import MessageCode, code_of, error_text, render


def rejection(key: str, /, *, field: str = "", **parameters: object) -> ValidationError:
    """A rejection by the key of its message, under a field of the request if there is one."""
    named = {"quantity": field_name(field)} if field else {}
    detail = error_detail(message(key, **named | parameters))
    return ValidationError({field: detail} if field else detail)


def error_detail(of: Message) -> ErrorDetail:
    """An error of one field; its text is in metric units until the problem document is made for a reader."""
    return ErrorDetail(render(of).body, code=MessageCode(of))


def rejection_of(error: ComputeError | ServiceError) -> ValidationError:
    """The rejection of a value for an error of the physics or of a service; names no field, the serializer does."""
    return ValidationError(error_text(error), code=code_of(error))
