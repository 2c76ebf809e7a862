"""Many clients that write at the same time to the service on SQLite beside the embedded worker, without rejection."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.surveys.drills.clients import write_together
from tests.surveys.drills.history import wrong_sentences
from tests.surveys.drills.processes import Processes, post, wait_until

CLIENTS, WRITES_EACH, SURVEYS = 16, 12, 60


def test_sixteen_writing_clients_and_a_recomputation_meet_no_locked_database(
    processes: Callable[..., Processes], tmp_path: Path
) -> None:
    file = tmp_path / "surveys.sqlite3"
    drill = processes(DATABASE_URL=f"sqlite:///{file}")
    ids = drill.seed(SURVEYS, 40)
    address = drill.server()
    clients = write_together(address, ids, clients=CLIENTS, writes=WRITES_EACH)
    correction = {"reason": "Gauged.", "pipe": {"wall_thickness": "8.0 mm"}}
    status, answer = post(f"{address}pipes/{ids['pipe']}/corrections/", ids["tokens"]["office"], correction)
    for client in clients:
        client.join()
    assert status == 202, answer
    answers = [answer for client in clients for answer in client.answers]
    assert len(answers) == CLIENTS * WRITES_EACH
    assert [answer for answer in answers if answer[0] != 201] == []

    database = sqlite3.connect(file)
    try:

        def ask(query: str) -> Any:
            return database.execute(query).fetchone()[0]

        open_runs = "SELECT count(*) FROM surveys_recomputation WHERE finished_at IS NULL"
        assert wait_until(lambda: ask(open_runs) == 0, 120), drill.output()
        assert ask("SELECT count(*) FROM surveys_survey") == SURVEYS + CLIENTS * WRITES_EACH
        assert ask("SELECT count(*) FROM surveys_result") == 2 * SURVEYS
        assert wrong_sentences(ask) == {}
    finally:
        database.close()
    assert "locked" not in drill.output()
