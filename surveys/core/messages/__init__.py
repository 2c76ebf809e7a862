"""The message catalogue: the texts of every code, and messages rendered for a reader.

`catalogue/` has the entries, one file for each domain; `fields` and `terms` the words that entries share.
"""

from surveys.core.messages.errors import (
    MessageCode,
    code_of,
    error_text,
    failure_of,
    message_of,
    model_error,
    model_error_of,
)
from surveys.core.messages.rendering import Rendered, answer, findings_read, is_message, render
from surveys.core.messages.values import METRIC, Reader

__all__ = [
    "METRIC",
    "MessageCode",
    "Reader",
    "Rendered",
    "answer",
    "code_of",
    "error_text",
    "failure_of",
    "findings_read",
    "is_message",
    "message_of",
    "model_error",
    "model_error_of",
    "render",
]
