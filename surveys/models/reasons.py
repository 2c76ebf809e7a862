"""Reasons of changes: the text of a person, or a message of the service that is rendered for the reader."""

from __future__ import annotations

from typing import Any

from django.db import models

from compute.base.messages import Message
from surveys.core.messages import METRIC, Reader, render


class SystemReason(dict[str, Any]):
    """A reason that the service wrote: a stored message, with its words in the active language as its text."""

    def __str__(self) -> str:
        return self.text()

    def text(self, reader: Reader = METRIC) -> str:
        """Return the reason in the words of a reader."""
        return render(self, reader).body


Reason = str | SystemReason


def system_reason(of: Message) -> SystemReason:
    """Return a message as the reason of a change that no person gave."""
    return SystemReason(of.stored())


def reason_text(reason: Reason, reader: Reader = METRIC) -> str:
    """Return a reason as a person entered it, or in the words of a reader if the service wrote it."""
    return reason.text(reader) if isinstance(reason, SystemReason) else reason


class ReasonField(models.JSONField):
    """A reason: a JSON text as a person entered it, or the message of a reason that the service wrote."""

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Any:
        found = super().from_db_value(value, expression, connection)
        return SystemReason(found) if isinstance(found, dict) else found
