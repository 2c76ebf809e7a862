"""Parts of the service as processes: killed one after another, restarted and monitored."""

from __future__ import annotations

import threading
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from typing import Any

import psycopg

from tests.surveys.drills.compose import Fleet
from tests.surveys.drills.processes import Cluster, Processes, wait_until

OURS = ("web", "worker-1", "worker-2", "beat")
# Order of the kills, repeated while there is time.
FAULTS = ("web", "worker", "workers", "beat", "broker", "database", "database-killed")
# While these parts are down, a request can fail; no other part may cause a failure.
EXCUSES = frozenset({"web", "database", "database-killed"})
AWAY_SECONDS = 3.0
READY_WITHIN_SECONDS = 120.0
LOOK_EVERY_SECONDS = 1.0
MEMORY_EVERY_SECONDS = 5.0


@dataclass
class Fault:
    """Killed part with the times of the kill and of each recovery (monotonic; `killed_at` also in clock time)."""

    part: str
    killed: float
    killed_at: datetime
    ready: float | None = None
    caught_up: float | None = None


@dataclass
class Watched:
    """Observations of the watcher."""

    faults: list[Fault] = field(default_factory=list)
    memory: dict[tuple[str, int], list[tuple[float, int]]] = field(default_factory=lambda: defaultdict(list))
    ended_by_themselves: dict[str, int] = field(default_factory=lambda: defaultdict(int))


class Parts:
    """Separate PostgreSQL and Redis, and the services of the compose file."""

    def __init__(self, folder: Path, cluster: Cluster, broker_port: int, **settings: str) -> None:
        self.cluster, self.broker_port = cluster, broker_port
        self.servers = Processes(folder, DATABASE_URL=cluster.url)
        self.fleet = Fleet(folder, Processes(folder), cluster.url, broker_port, **settings)
        self.servers.env = self.fleet.environment("manage")
        self.watched = Watched()
        self.over = threading.Event()
        self.broker = self.servers.redis(broker_port)

    def start(self) -> None:
        """Migrate, start all, wait until it is ready."""
        assert self.fleet.start("migrate").wait(180) == 0, self.fleet.drill.output()
        for name in OURS:
            self.fleet.start(name)
        assert wait_until(self.ready, READY_WITHIN_SECONDS), self.fleet.drill.output()
        threading.Thread(target=self._watch, daemon=True).start()

    def end(self) -> None:
        self.over.set()
        self.fleet.drill.end()
        self.servers.end()

    def ready(self) -> bool:
        """Whether `/readyz` reports ready; processes that ended are restarted, as the engine does."""
        for name in self.fleet.restart_ended():
            self.watched.ended_by_themselves[name] += 1
        try:
            return self.fleet.ask("/readyz")[0] == 200
        except OSError:
            return False

    def strike(self, part: str) -> Fault:
        """Kill a part, wait, start it again, and wait until the service is ready."""
        fault = Fault(part, time.monotonic(), datetime.now(UTC))
        self.watched.faults.append(fault)
        down, up = self._ways()[part]
        down()
        time.sleep(AWAY_SECONDS)
        up()
        if wait_until(self.ready, READY_WITHIN_SECONDS):
            fault.ready = time.monotonic()
        return fault

    def _ways(self) -> dict[str, tuple[Callable[[], object], Callable[[], object]]]:
        """Return the functions that stop and start each part."""

        def processes(*names: str) -> tuple[Callable[[], object], Callable[[], object]]:
            return lambda: [self.fleet.kill(name) for name in names], lambda: [
                self.fleet.start(name) for name in names
            ]

        return {
            "web": processes("web"),
            "worker": processes("worker-1"),
            "workers": processes("worker-1", "worker-2"),
            "beat": processes("beat"),
            "broker": (lambda: self.servers.kill(self.broker), self._broker_again),
            "database": (self.cluster.crash, self.cluster.start_again),
            "database-killed": (self.cluster.kill, self.cluster.start_again),
        }

    def _broker_again(self) -> None:
        self.broker = self.servers.redis(self.broker_port)

    def _watch(self) -> None:
        memory_at = 0.0
        while not self.over.wait(LOOK_EVERY_SECONDS):
            now = time.monotonic()
            if now - memory_at >= MEMORY_EVERY_SECONDS:
                memory_at = now
                for name, process in list(self.fleet.running.items()):
                    if name in OURS and (bytes_held := memory_of_group(process.pid)):
                        self.watched.memory[name, process.pid].append((now, bytes_held))
            for fault in [one for one in self.watched.faults if one.ready and not one.caught_up]:
                if self._done_since(fault.killed_at):
                    fault.caught_up = time.monotonic()

    def _done_since(self, killed_at: datetime) -> bool:
        """Whether all work in progress at the time of a kill is done."""
        left = (
            "SELECT (SELECT count(*) FROM surveys_recomputation WHERE requested_at <= %(at)s AND state IN ('waiting', 'running'))"
            " + (SELECT count(*) FROM surveys_dispatchplan WHERE requested_at <= %(at)s AND state IN ('waiting', 'running'))"
        )
        try:
            return self.asked(left, {"at": killed_at}) == 0
        except psycopg.OperationalError:
            return False

    def asked(self, query: str, values: Any = None) -> Any:
        """Return one value from the database."""
        return self.rows(query, values)[0][0]

    def rows(self, query: str, values: Any = None) -> list[Any]:
        """Return rows from the database over a separate connection, because earlier connections end with the server."""
        with psycopg.connect(self.cluster.url, autocommit=True, connect_timeout=5) as database:
            return database.execute(query, values).fetchall()

    def work_left(self) -> int:
        """Return the recomputations and plans that are not done yet."""
        return int(
            self.asked(
                "SELECT (SELECT count(*) FROM surveys_recomputation WHERE state IN ('waiting', 'running'))"
                " + (SELECT count(*) FROM surveys_dispatchplan WHERE state IN ('waiting', 'running'))"
            )
        )


def memory_of_group(group: int) -> int:
    """Return the bytes held by the processes of a group, with shared pages divided between them."""
    held = 0
    for place in Path("/proc").glob("[0-9]*"):
        try:
            of = int((place / "stat").read_text().rpartition(")")[2].split()[2])
            if of != group:
                continue
            rollup = (place / "smaps_rollup").read_text()
        except OSError:  # it ended
            continue
        held += next(int(line.split()[1]) * 1024 for line in rollup.splitlines() if line.startswith("Pss:"))
    return held


def memory_figures(watched: Watched) -> dict[str, list[int]]:
    """Return, for the longest-lived process of each part, the megabytes in each minute; a leak would show as steady growth."""
    found: dict[str, list[int]] = {}
    for name in OURS:
        lives = [seen for (of, _), seen in watched.memory.items() if of == name]
        longest = max(lives, key=lambda seen: seen[-1][0] - seen[0][0], default=[])
        by_minute: dict[int, list[int]] = defaultdict(list)
        for at, held in longest:
            by_minute[int((at - longest[0][0]) / 60)].append(held)
        found[name] = [round(median(held) / 1e6) for held in by_minute.values()]
    return found
