"""Servers and processes for the drills."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest

from tests.needs import POSTGRESQL_URL
from tests.surveys.drills.processes import Cluster, Processes


@pytest.fixture
def fresh_postgresql() -> Iterator[str]:
    """Return the address of a new, empty database."""
    name = f"surveys_test_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(POSTGRESQL_URL, autocommit=True) as server:
        server.execute(f'CREATE DATABASE "{name}"')
    yield POSTGRESQL_URL.rsplit("/", 1)[0] + f"/{name}"
    with psycopg.connect(POSTGRESQL_URL, autocommit=True) as server:
        server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture
def cluster() -> Iterator[Cluster]:
    """Start a separate PostgreSQL that can be stopped."""
    own = Cluster()
    yield own
    own.remove()


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[Callable[..., Processes]]:
    """Return a factory of process environments; all processes end with the test."""
    created: list[Processes] = []

    def make(**settings: str) -> Processes:
        created.append(Processes(tmp_path, **settings))
        return created[-1]

    yield make
    for one in created:
        one.end()
