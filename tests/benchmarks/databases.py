"""Databases for one run: created, named by their address, deleted."""

from __future__ import annotations

import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg

from tests.needs import POSTGRESQL_URL


@contextmanager
def new_database(kind: str) -> Iterator[str]:
    """Create a new, empty database and return its address."""
    with _on_sqlite() if kind == "SQLite" else on_postgresql() as url:
        yield url


@contextmanager
def _on_sqlite() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        yield f"sqlite:///{folder}/benchmark.sqlite3"


@contextmanager
def on_postgresql() -> Iterator[str]:
    name = f"surveys_benchmark_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(POSTGRESQL_URL, autocommit=True) as server:
        server.execute(f'CREATE DATABASE "{name}"')
    try:
        yield POSTGRESQL_URL.rsplit("/", 1)[0] + f"/{name}"
    finally:
        with psycopg.connect(POSTGRESQL_URL, autocommit=True) as server:
            server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
