"""Logging: one line of JSON for each event, with the ids of its request and task.

A line holds no personal data and no secret: the route instead of the address, and database errors without values.
"""

from __future__ import annotations

import re
from typing import Any

import structlog

Event = Any  # An event of structlog as it passes from processor to processor.
# A database error ends with the row and the parameters, up to its end or the next error of a chain.
VALUES = re.compile(r"\s*\b(?:DETAIL|CONTEXT):.*?(?=\n\n(?:The above|During handling)|\Z)", re.DOTALL)


def drop_repeated_values(_logger: Any, _name: str, event: Event) -> Event:
    """Remove the values that database errors repeat."""
    for name, value in event.items():
        if isinstance(value, BaseException):
            value = f"{type(value).__name__}: {value}"
        if isinstance(value, str):
            event[name] = VALUES.sub("", value)
    return event


SHARED: list[Any] = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
]
# Less verbose: the service logs the same events, or the lines hold personal data.
LEVELS = {
    # These lines hold the address with its tokens; `request_finished` and `request_failed` name the route.
    "django.request": "CRITICAL",
    "django.server": "CRITICAL",
    # Personal data; the audit log holds failures to sign in.
    "axes": "ERROR",
    # The web server logs through the same handler.
    "gunicorn.error": "INFO",
    "celery.worker.strategy": "WARNING",
    "celery.app.trace": "WARNING",
}


def configured(level: str) -> dict[str, Any]:
    """Return the setting LOGGING; the loggers of structlog use the same handler."""
    structlog.configure(
        processors=[
            structlog.stdlib.filter_by_level,
            *SHARED,
            structlog.stdlib.PositionalArgumentsFormatter(),
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )
    line = {
        "()": structlog.stdlib.ProcessorFormatter,
        "foreign_pre_chain": SHARED,
        "processors": [
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            # As text, without the values of variables.
            structlog.processors.format_exc_info,
            drop_repeated_values,
            structlog.processors.JSONRenderer(default=str),
        ],
    }
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"line": line},
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
        "root": {"handlers": ["stderr"], "level": level},
        "loggers": {name: {"level": at, "propagate": True} for name, at in LEVELS.items()},
    }
