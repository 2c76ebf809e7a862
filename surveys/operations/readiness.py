"""Readiness of the service: database, migrations, broker, sweep."""

from __future__ import annotations

import logging
from collections.abc import Callable

import redis
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from surveys.operations.broker_health import connected, sweep_age_seconds

logger = logging.getLogger(__name__)

# A sweep waits in the queue like any other task, behind the tasks that workers are running.
SWEEPS_MISSED = 20
_migrated: set[str] = set()


def failed_parts() -> list[str]:
    """Return the names of the parts that fail; empty if the service is ready. The log holds the reasons."""
    parts: dict[str, Callable[[], str]] = {"database": _database, "migrations": _migrations}
    if settings.CELERY_BROKER_URL:
        parts |= {"broker": _broker, "sweep": _sweep}
    failed = []
    for name, fault in parts.items():
        try:
            problem = fault()
        except (DatabaseError, redis.RedisError) as error:
            problem = type(error).__name__
        if problem:
            logger.warning("not ready: %s: %s", name, problem)
            failed.append(name)
    return failed


def _database() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        connection.close()
        raise
    return ""


def _migrations() -> str:
    """Check that the database is migrated. The result holds for this process: a newer version may migrate further."""
    name = str(connection.settings_dict["NAME"])
    if name not in _migrated:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            return "some are not applied"
        _migrated.add(name)
    return ""


def _broker() -> str:
    with connected() as broker:
        broker.ping()
    return ""


def _sweep() -> str:
    with connected() as broker:
        age = sweep_age_seconds(broker, timezone.now())
    if age is None:
        return "none since the broker started"
    return f"the last was {age:.0f} s ago" if age > SWEEPS_MISSED * settings.SWEEP_SECONDS else ""
