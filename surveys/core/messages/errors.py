"""Messages of errors: passed through the errors of the frameworks, rendered for the reader."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from compute.base.errors import ComputeError
from compute.base.messages import Message, message
from surveys.core.errors import ServiceError
from surveys.core.messages.rendering import render
from surveys.core.messages.values import METRIC, Reader

MAX_ERROR_LENGTH = 2000


class MessageCode(str):
    """Code of an error that carries its message, so that the message passes through errors that hold only a code."""

    message: Message

    def __new__(cls, of: Message) -> MessageCode:
        created = super().__new__(cls, of.code)
        created.message = of
        return created

    def __reduce__(self) -> Any:
        return MessageCode, (self.message,)


def message_of(error: BaseException | Any) -> Message | None:
    """Return the message of an error of the physics or of a service, or of an error whose code carries one."""
    if isinstance(error, ComputeError | ServiceError):
        return error.message
    code = getattr(error, "code", None)
    return code.message if isinstance(code, MessageCode) else None


def failure_of(error: Exception) -> Message:
    """Return the message of an error that ended a calculation; an unexpected error has the general one."""
    return message_of(error) or message(
        "calculation-failed", error=f"{type(error).__name__}: {error}"[:MAX_ERROR_LENGTH].rstrip(".")
    )


def code_of(error: ComputeError | ServiceError) -> MessageCode:
    """Return the code of an error, with its message, for an error of a framework."""
    return MessageCode(error.message)


def error_text(error: BaseException | Any, reader: Reader = METRIC) -> str:
    """Return the problem and its remedy in the words of the catalogue."""
    if found := message_of(error):
        return render(found, reader).body
    return str(error)


def model_error(key: str, /, **parameters: Any) -> ValidationError:
    """Return a validation error of a model: the key of a message and its parameters."""
    return model_error_of(message(key, **parameters))


def model_error_of(of: Message) -> ValidationError:
    """Return a validation error of a model for a message."""
    return ValidationError(render(of).body, code=MessageCode(of))
