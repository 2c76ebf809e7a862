"""Cost and scaling of workers, with the real processes, on PostgreSQL with Redis.

- surveys a second with one worker process and with two, their ratio, and beside it that of two processes that share
  nothing but this machine's cores (the database needs its part of those too);
- handing out items in shares and singly, and their ratio;
- how long an idle embedded worker takes to begin;
- sixteen clients writing to the service on SQLite beside a recomputation.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
from celery import Celery

from tests.benchmarks.databases import on_postgresql
from tests.benchmarks.measuring import Figure, Figures
from tests.needs import REDIS_URL
from tests.surveys.drills.clients import write_together
from tests.surveys.drills.processes import ROOT, Processes, post, wait_until

PATIENCE_SECONDS = 300
CLIENTS = 16
# Long enough for a recomputation of one survey to be over, so that the worker is idle again.
IDLE_PAUSE_SECONDS = 0.6


@contextmanager
def started(**settings: str) -> Iterator[Processes]:
    with tempfile.TemporaryDirectory() as folder:
        processes = Processes(Path(folder), **settings)
        try:
            yield processes
        finally:
            processes.end()


def rows(url: str, query: str) -> list[tuple[Any, ...]]:
    with psycopg.connect(url, autocommit=True) as connection:
        return connection.execute(query).fetchall()


def ready(workers: int) -> None:
    """Wait until a number of workers respond."""
    with Celery(broker=REDIS_URL) as app:
        app.control.purge()
        assert wait_until(lambda: len(app.control.ping(timeout=1.0)) == workers, PATIENCE_SECONDS)


def scaling(url: str, surveys: int) -> Figures:
    """Return the surveys per second of a recomputation with one worker process and with two."""
    rates = {}
    with started(DATABASE_URL=url, CELERY_BROKER_URL=REDIS_URL) as processes:
        for workers, wall in ((1, 8.0), (2, 7.9)):
            processes.worker("-n", f"{workers}@benchmark")
            ready(workers)
            warm(processes, url, wall)
            run, _ = processes.python("-m", "tests.surveys.drills.correct", str(wall + 0.01)).split()
            rates[workers] = surveys / seconds(url, run)
    floor = floor_of_scaling(min(surveys / 50, 8))
    yield Figure(what="two busy processes to one, sharing nothing but the cores", value=floor)
    yield Figure(what="surveys a second by one worker", value=rates[1], unit="/s", size=surveys)
    yield Figure(
        what="surveys a second by two workers to one", value=rates[2] / rates[1], target=1.8, at_least=True, size=surveys
    )  # fmt: skip


def warm(processes: Processes, url: str, wall: float) -> None:
    """Run one recomputation that is not measured, because the first one loads the modules."""
    run, _ = processes.python("-m", "tests.surveys.drills.correct", str(wall)).split()
    seconds(url, run)


def seconds(url: str, run: str) -> float:
    """Return the time of a recomputation from its first claim to its end, by its record."""
    query = (
        f"SELECT extract(epoch FROM finished_at - started_at) FROM surveys_recomputation WHERE id = '{run}'"
    )
    assert wait_until(lambda: rows(url, query)[0][0] is not None, PATIENCE_SECONDS, every=1.0)
    return float(rows(url, query)[0][0])


# The physics alone, as often as it goes in some seconds: what two cores do for two processes here, whoever else uses them.
BUSY = """
import time
from compute.measuring.beam import trace
from tests.compute.cases import steel_setup
setup, done, over = steel_setup(), 0, time.perf_counter() + {seconds}
while time.perf_counter() < over:
    trace(setup)
    done += 1
print(done)
"""


def floor_of_scaling(seconds: float) -> float:
    """Return the speed-up of two busy processes that share only the machine."""

    def done_by(count: int) -> int:
        running = [
            subprocess.Popen(
                [sys.executable, "-c", BUSY.format(seconds=seconds)], cwd=ROOT, stdout=subprocess.PIPE
            )
            for _ in range(count)
        ]
        return sum(int(process.communicate()[0]) for process in running)

    alone = done_by(1)
    return done_by(2) / alone


def fan_out(url: str, items: int) -> Figures:
    """Return the seconds from the first message to the last item finished, in shares and singly, by two worker processes."""
    taken = {}
    with started(DATABASE_URL=url, CELERY_BROKER_URL=REDIS_URL) as processes:
        options = ("-A", "tests.benchmarks.fan_out", "worker", "-c", "2", "-l", "error")
        processes.start(sys.executable, "-m", "celery", *options)
        ready(1)
        for kind in ("in shares", "singly"):
            output = processes.python("-m", "tests.benchmarks.fan_out", kind, str(items)).split()
            left = "SELECT count(*) FROM surveys_recomputationitem WHERE state <> 'done'"
            assert wait_until(lambda: rows(url, left)[0][0] == 0, PATIENCE_SECONDS)  # noqa: B023
            last = "SELECT extract(epoch FROM max(finished_at)) FROM surveys_recomputationitem"
            taken[kind] = float(rows(url, last)[0][0]) - float(output[1])
    shares, singly = taken["in shares"], taken["singly"]
    yield Figure(
        what="items handed out in shares to singly", value=shares / singly, target=0.03, size=items,
        seconds=shares, floor_seconds=singly,
    )  # fmt: skip


def idle_latency(url: str, corrections: int) -> Figures:
    """Return the milliseconds from a committed correction to the start of the embedded worker, on PostgreSQL without a
    broker.
    """
    with started(DATABASE_URL=url) as processes:
        processes.server()
        warm(processes, url, 7.85)
        walls = [str(8 + 0.001 * n) for n in range(corrections)]
        pause = ("--pause", str(IDLE_PAUSE_SECONDS))
        output = processes.python("-m", "tests.surveys.drills.correct", *pause, *walls).splitlines()
        waits = []
        for run, committed in (line.split() for line in output):
            query = f"SELECT extract(epoch FROM started_at) FROM surveys_recomputation WHERE id = '{run}'"
            assert wait_until(lambda: rows(url, query)[0][0] is not None, PATIENCE_SECONDS)  # noqa: B023
            waits.append(1000 * (float(rows(url, query)[0][0]) - float(committed)))
    middle = statistics.median(waits)
    yield Figure(
        what="an idle embedded worker begins after, median",
        value=middle,
        unit="ms",
        target=50,
        size=corrections,
    )
    yield Figure(what="the same, worst", value=max(waits), unit="ms", size=corrections)


def clients_on_sqlite(writes: int) -> Figures:
    """Return the response times of sixteen clients that post surveys beside the embedded worker."""
    with (
        tempfile.TemporaryDirectory() as folder,
        started(DATABASE_URL=f"sqlite:///{folder}/x.sqlite3") as processes,
    ):
        ids = processes.seed(100, 40)
        address = processes.server()
        clients = write_together(address, ids, clients=CLIENTS, writes=writes)
        body = {"reason": "Gauged.", "pipe": {"wall_thickness": "8.0 mm"}}
        post(f"{address}pipes/{ids['pipe']}/corrections/", ids["tokens"]["office"], body)
        for client in clients:
            client.join()
    taken = statistics.quantiles((s for client in clients for s in client.seconds), n=100)
    rejected = sum(status != 201 for client in clients for status, _ in client.answers)
    middle, late = taken[49], taken[98]
    yield Figure(
        what="writes of 16 clients refused on SQLite",
        value=rejected,
        target=0,
        unit="",
        size=CLIENTS * writes,
    )
    yield Figure(
        what="p99 of these writes to p50", value=late / middle, target=5, size=CLIENTS * writes, seconds=late, floor_seconds=middle
    )  # fmt: skip


def figures(small: bool) -> Figures:
    surveys, items, corrections = (2, 50, 2) if small else (400, 10_000, 20)
    with on_postgresql() as url, started(DATABASE_URL=url) as processes:
        processes.seed(surveys, 40 if small else 60)
        yield from scaling(url, surveys)
        yield from fan_out(url, items)
    with on_postgresql() as url, started(DATABASE_URL=url) as processes:
        processes.seed(1, 60)
        yield from idle_latency(url, corrections)
    if not small:  # the drill of these clients runs as a test
        yield from clients_on_sqlite(50)
