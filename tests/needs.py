"""Requirements of tests: PostgreSQL, Redis or Chromium. Tests without their requirement are listed, not run.

Mark a test `needs_postgresql`, `needs_own_postgresql` (one to be stopped in the middle), `needs_redis`,
`needs_chromium` or `needs_curl`. With REQUIRE_SERVICES=on (as in CI) a missing one fails the run.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import psycopg
import pytest
import redis

POSTGRESQL_URL = os.environ.get("TEST_POSTGRESQL_URL", "postgresql://postgres@127.0.0.1:5432/postgres")
REDIS_URL = os.environ.get("TEST_REDIS_URL", "redis://127.0.0.1:6379/9")
NOT_RUN = pytest.StashKey[list[tuple[str, str]]]()


@cache
def postgresql_available() -> bool:
    try:
        psycopg.connect(POSTGRESQL_URL, connect_timeout=2).close()
    except psycopg.OperationalError:
        return False
    return True


@cache
def redis_available() -> bool:
    """Whether a Redis server responds and the program to start a separate one exists."""
    if shutil.which("redis-server") is None:
        return False
    client = redis.Redis.from_url(REDIS_URL, socket_connect_timeout=1)
    try:
        return bool(client.ping())
    except redis.RedisError:
        return False
    finally:
        client.close()


@cache
def postgresql_programs() -> Path | None:
    """Return the folder of the programs that create and start PostgreSQL; Debian keeps them off the path."""
    beside = shutil.which("initdb")
    folders = [Path(beside).parent] if beside else sorted(Path("/usr/lib/postgresql").glob("*/bin"))
    return next((folder for folder in reversed(folders) if (folder / "initdb").exists()), None)


def chromium_available() -> bool:
    return shutil.which("chromium") is not None


SERVICES = {
    "needs_postgresql": ("PostgreSQL", postgresql_available),
    "needs_own_postgresql": ("PostgreSQL's own programs", lambda: postgresql_programs() is not None),
    "needs_redis": ("Redis", redis_available),
    "needs_chromium": ("Chromium", chromium_available),
    "needs_curl": ("curl", lambda: shutil.which("curl") is not None),
}


@pytest.fixture(autouse=True)
def exclusive_redis(request: pytest.FixtureRequest) -> Iterator[None]:
    """Run one test at a time with Redis, among all processes and runs of a machine: each one empties it first."""
    if request.node.get_closest_marker("needs_redis") is None:
        yield
        return
    with (Path(tempfile.gettempdir()) / "surveys-tests-redis.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def pytest_configure(config: pytest.Config) -> None:
    config.stash[NOT_RUN] = []
    for marker, (service, _) in SERVICES.items():
        config.addinivalue_line("markers", f"{marker}: runs only where {service} is")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    left_out = []
    for item in items:
        for marker, (service, is_there) in SERVICES.items():
            if item.get_closest_marker(marker) and not is_there():
                left_out.append(item)
                config.stash[NOT_RUN].append((service, item.nodeid))
                break
    if left_out and os.environ.get("REQUIRE_SERVICES") == "on":
        missing = sorted({service for service, _ in config.stash[NOT_RUN]})
        raise pytest.UsageError(f"REQUIRE_SERVICES is on, but there is no {', '.join(missing)}.")
    config.hook.pytest_deselected(items=left_out)
    items[:] = [item for item in items if item not in left_out]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    for service, name in config.stash[NOT_RUN]:
        terminalreporter.write_line(f"NOT RUN, no {service} here: {name}")
