"""Requests a second and the slowest of a hundred, with 32 connections open, against a bare JSON view served the same way.

Server and clients share this machine's cores, so the rates are for comparison with each other only.
"""

from __future__ import annotations

import http.client
import os
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

from surveys.models import Scope
from surveys.services.people.tokens import SIGN_IN_LIFE, token_make
from tests.benchmarks import fleet
from tests.benchmarks.measuring import Figure, Figures
from tests.surveys.drills.processes import Processes, free_port, listens, wait_until

CONNECTIONS = 32


class Connection(threading.Thread):
    """Client that requests one address repeatedly over one connection and stores the response times."""

    def __init__(self, port: int, path: str, headers: dict[str, str], requests: int) -> None:
        super().__init__()
        self.port, self.path, self.headers, self.requests = port, path, headers, requests
        self.seconds: list[float] = []

    def run(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        for _ in range(self.requests):
            began = time.perf_counter()
            connection.request("GET", self.path, headers=self.headers)
            answer = connection.getresponse()
            answer.read()
            if answer.status == 200:
                self.seconds.append(time.perf_counter() - began)
        connection.close()


def answers_together(
    port: int, path: str, headers: dict[str, str], requests: int
) -> tuple[float, list[float]]:
    """Return the responses per second of all connections together, and each response time."""
    connections = [Connection(port, path, headers, requests) for _ in range(CONNECTIONS)]
    began = time.perf_counter()
    for one in connections:
        one.start()
    for one in connections:
        one.join()
    passed = time.perf_counter() - began
    taken = [seconds for one in connections for seconds in one.seconds]
    assert len(taken) == CONNECTIONS * requests, "not every request was answered with 200"
    return len(taken) / passed, taken


def figures(small: bool) -> Figures:
    records = fleet.create_fleet()
    size, requests = (100, 3) if small else (100_000, 60)
    records.grow(size, documents=False)
    fleet.analyze_tables()
    _, token = token_make(
        user=records.people.users["office"], name="benchmark", scope=Scope.READ, life=SIGN_IN_LIFE
    )
    headers = {"Authorization": f"Token {token}"}
    with tempfile.TemporaryDirectory() as folder:
        processes = Processes(Path(folder), DATABASE_URL=os.environ["DATABASE_URL"])
        try:
            port = int(processes.server().split(":")[2].partition("/")[0])
            bare_port = free_port()
            processes.start(sys.executable, "-m", "tests.benchmarks.bare_server", f"127.0.0.1:{bare_port}")
            assert wait_until(lambda: listens(bare_port), 60), processes.output()
            yield from compared(port, bare_port, headers, requests, size)
        finally:
            processes.end()


def compared(port: int, bare_port: int, headers: dict[str, str], requests: int, size: int) -> Figures:
    answers_together(bare_port, "/bare/", {}, 2)
    bare, _ = answers_together(bare_port, "/bare/", {}, 10 * requests)
    survey = f"/api/v1/surveys/{fleet.identity(fleet.SURVEY, 77)}/"
    for what, path in (("a survey", survey), ("surveys, 50 rows", "/api/v1/surveys/")):
        answers_together(port, path, headers, 2)
        rate, taken = answers_together(port, path, headers, requests)
        middle, late = statistics.median(taken), statistics.quantiles(taken, n=100)[98]
        yield Figure(
            what=f"{what}: requests of a bare JSON view served in the time of one, {CONNECTIONS} connections",
            value=bare / rate, size=size, seconds=1 / rate, floor_seconds=1 / bare,
        )  # fmt: skip
        yield Figure(
            what=f"{what}: p99 to p50, {CONNECTIONS} connections", value=late / middle, target=5, size=size,
            seconds=late, floor_seconds=middle,
        )  # fmt: skip
