"""Many clients writing at once to the service on SQLite, with the embedded worker at its work: nobody is turned away."""

from __future__ import annotations

import sqlite3
import statistics
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.surveys.drills.history import what_reads_wrong
from tests.surveys.drills.processes import Processes, post, wait_until

CLIENTS, WRITES_EACH, SURVEYS = 16, 12, 60


class Client(threading.Thread):
    """Posts surveys one after another and keeps the answers' statuses and how long they took."""

    def __init__(self, number: int, address: str, ids: dict[str, Any]) -> None:
        super().__init__()
        self.number, self.address, self.ids = number, address, ids
        self.answers: list[tuple[int, Any]] = []
        self.seconds: list[float] = []

    def run(self) -> None:
        body = {
            "measuring_point": self.ids["point"],
            "setup": self.ids["setup"],
            "instruments": [self.ids["meter"]],
            "started_at": "2026-10-06T09:30:00+02:00",
        }
        path = f"{self.address}surveys/"
        for turn in range(WRITES_EACH):
            started = time.perf_counter()
            note = {"note": f"client {self.number}, write {turn}"}
            self.answers.append(post(path, self.ids["tokens"]["technician"], body | note))
            self.seconds.append(time.perf_counter() - started)


def test_sixteen_writing_clients_and_a_recomputation_meet_no_locked_database(
    processes: Callable[..., Processes], tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    file = tmp_path / "surveys.sqlite3"
    drill = processes(DATABASE_URL=f"sqlite:///{file}")
    ids = drill.seed(SURVEYS, 40)
    address = drill.server()
    clients = [Client(number, address, ids) for number in range(CLIENTS)]
    for client in clients:
        client.start()
    correction = {"reason": "Gauged.", "pipe": {"wall_thickness": "8.0 mm"}}
    status, answer = post(f"{address}pipes/{ids['pipe']}/corrections/", ids["tokens"]["office"], correction)
    assert status == 202, answer
    for client in clients:
        client.join()
    answers = [answer for client in clients for answer in client.answers]
    assert len(answers) == CLIENTS * WRITES_EACH
    assert [answer for answer in answers if answer[0] != 201] == []
    hundredths = statistics.quantiles((s for client in clients for s in client.seconds), n=100)
    record_property("median_seconds", round(hundredths[49], 4))
    record_property("p99_seconds", round(hundredths[98], 4))

    database = sqlite3.connect(file)
    try:

        def ask(query: str) -> Any:
            return database.execute(query).fetchone()[0]

        closed = "SELECT count(*) FROM surveys_recomputation WHERE finished_at IS NULL"
        assert wait_until(lambda: ask(closed) == 0, 120), drill.said()
        assert ask("SELECT count(*) FROM surveys_survey") == SURVEYS + CLIENTS * WRITES_EACH
        assert ask("SELECT count(*) FROM surveys_result") == 2 * SURVEYS
        assert what_reads_wrong(ask) == {}
    finally:
        database.close()
    assert "locked" not in drill.said()
