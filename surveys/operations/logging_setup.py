"""The log: a line of JSON for each event, with the ids of the request and of the task it belongs to.

A line names no person and holds no secret: of an address only its route is told, of a database's error not the values it repeats.
"""

from __future__ import annotations

import re
from typing import Any

import structlog

Event = Any  # what structlog hands from processor to processor: a mapping of names to values
# A database's error goes on with the row and the parameters it stumbled over, up to its end or the next error of a chain.
VALUES = re.compile(r"\s*\b(?:DETAIL|CONTEXT):.*?(?=\n\n(?:The above|During handling)|\Z)", re.DOTALL)


def drop_repeated_values(_logger: Any, _name: str, event: Event) -> Event:
    """Take away the values that errors repeat."""
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
# Quieter than the rest: what they say is said by our own lines, or names people.
LEVELS = {
    # Each names the address as it came, with whatever token is in it; `request_finished` and `request_failed` name the route.
    "django.request": "CRITICAL",
    "django.server": "CRITICAL",
    # Names of people; failures to sign in are in the audit log.
    "axes": "ERROR",
    # The web server's own lines go the same way as all others.
    "gunicorn.error": "INFO",
    "celery.worker.strategy": "WARNING",
    "celery.app.trace": "WARNING",
}


def configured(level: str) -> dict[str, Any]:
    """The setting LOGGING; structlog's own loggers go the same way."""
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
