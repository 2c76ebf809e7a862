"""Correction during outages of every part in turn: one new result for each survey, nothing lost or duplicated."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from typing import Any

import psycopg
import pytest

from tests.surveys.drills.history import wrong_sentences
from tests.surveys.drills.processes import Cluster, Processes, free_port, post, wait_until

SURVEYS, READINGS = 2000, 40


def query_value(cluster: Cluster, query: str) -> Any:
    """Return one value from the database over a separate connection, because earlier connections end with the server."""
    with psycopg.connect(cluster.url, autocommit=True) as database:
        row = database.execute(query).fetchone()
        assert row
        return row[0]


def open_items(cluster: Cluster) -> int:
    return int(query_value(cluster, "SELECT count(*) FROM surveys_recomputationitem WHERE state <> 'done'"))


@pytest.mark.needs_own_postgresql
@pytest.mark.needs_redis
def test_workers_killed_the_broker_emptied_and_the_database_crashed_lose_and_double_nothing(
    processes: Callable[..., Processes], cluster: Cluster
) -> None:
    port = free_port()
    drill = processes(
        DATABASE_URL=cluster.url,
        CELERY_BROKER_URL=f"redis://127.0.0.1:{port}/0",
        RECOMPUTATION_LEASE_SECONDS="6",
        SWEEP_SECONDS="1",
    )
    broker = drill.redis(port)
    ids = drill.seed(SURVEYS, READINGS)
    correction = f"{drill.server()}pipes/{ids['pipe']}/corrections/"
    workers = [drill.worker(), drill.worker()]
    drill.beat()
    body = {"reason": "Gauged: 8.0 mm.", "pipe": {"wall_thickness": "8.0 mm"}}
    status, answer = post(correction, ids["tokens"]["office"], body)
    assert status == 202, answer

    def left(most: int) -> None:
        """Wait until the number of open items is above 0 and at most the limit: the next event must occur in the middle of
        the run.
        """
        assert wait_until(lambda: open_items(cluster) <= most, 120), (open_items(cluster), drill.output())
        assert open_items(cluster) > 0, "the drill came too late: everything was done"

    left(1700)
    drill.kill(workers[0])
    workers[0] = drill.worker()
    left(1300)
    drill.kill(broker)
    time.sleep(3)
    drill.redis(port)
    left(1000)
    cluster.crash()
    time.sleep(1)
    cluster.start()
    left(500)
    drill.kill(workers[1])
    drill.worker()

    ask = partial(query_value, cluster)
    assert wait_until(
        lambda: (
            ask("SELECT state FROM surveys_recomputation ORDER BY requested_at DESC LIMIT 1") == "finished"
        ),
        120,
    ), drill.output()
    assert wrong_sentences(ask) == {}
    on_new = "r JOIN surveys_pipedata d ON d.id = r.pipe_data_id WHERE r.replaced_at IS NULL AND d.wall_thickness_m = 0.008"
    assert ask(f"SELECT count(*) FROM surveys_result {on_new}") == SURVEYS
    assert ask("SELECT count(*) FROM surveys_result") == 2 * SURVEYS
    # A wall off by 1.7 mm changes the flow by 3 percent, above the client's threshold: one notice for each survey.
    assert ask("SELECT count(DISTINCT before_id) FROM surveys_notice") == SURVEYS
    assert ask("SELECT count(*) FROM surveys_notice") == SURVEYS
