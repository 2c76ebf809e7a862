"""What is kept at the broker beside its messages: when the last sweep was, how many tasks ended how, and how long they took."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from typing import Any

import redis
from celery.signals import after_task_publish, heartbeat_sent, task_postrun, task_prerun
from django.conf import settings
from django.utils import timezone
from django_structlog.celery.signals import bind_extra_task_metadata
from structlog.contextvars import bind_contextvars

LAST_SWEEP, TASKS, SECONDS = "surveys:last-sweep", "surveys:tasks", "surveys:task-seconds"
QUEUE = "celery"
PATIENCE_SECONDS = 1.0


def connected() -> redis.Redis:
    """A connection to the broker that gives up soon."""
    return redis.Redis.from_url(
        settings.CELERY_BROKER_URL,
        socket_connect_timeout=PATIENCE_SECONDS,
        socket_timeout=PATIENCE_SECONDS,
        decode_responses=True,
    )


def swept(now: datetime) -> None:
    """Note that a sweep was made: beat sent it, the broker had it, and a worker took it."""
    if settings.CELERY_BROKER_URL:
        # A broker that is down is reported by its callers; the work continues.
        with suppress(redis.RedisError), connected() as broker:
            broker.set(LAST_SWEEP, now.isoformat())


def sweep_age_seconds(broker: redis.Redis, now: datetime) -> float | None:
    """How long ago the last sweep was; None if the broker knows of none."""
    last: Any = broker.get(LAST_SWEEP)
    return (now - datetime.fromisoformat(last)).total_seconds() if last else None


def _begun(task: Any = None, **_: Any) -> None:
    task.request.begun_at = timezone.now()


def _ended(task: Any = None, state: str | None = None, **_: Any) -> None:
    if not settings.CELERY_BROKER_URL:  # done at once, by no worker
        return
    now = timezone.now()
    seconds = (now - getattr(task.request, "begun_at", now)).total_seconds()
    with suppress(redis.RedisError), connected() as broker:
        broker.hincrby(TASKS, f"{task.name}|{state or 'UNKNOWN'}", 1)
        broker.hincrbyfloat(SECONDS, task.name, seconds)


def _alive(**_: Any) -> None:
    if settings.ALIVE_FILE:
        settings.ALIVE_FILE.touch()


def _named(task: Any = None, **_: Any) -> None:
    bind_contextvars(task=task.name)


def watch_tasks() -> None:
    """Count the tasks of this process and name them in its log, if it is a worker; and show that it, or beat, is alive."""
    bind_extra_task_metadata.connect(_named)
    task_prerun.connect(_begun)
    task_postrun.connect(_ended)
    heartbeat_sent.connect(_alive)
    after_task_publish.connect(_alive)
