"""A correction with everything failing in turn: at the end each survey has one new result, and nothing is lost or double."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.surveys.test_processes import ROOT, environment, fresh_postgresql, wait_until

SURVEYS = 150
SCRIPT = f"""
import django
django.setup()
from types import SimpleNamespace
from django.core.management import call_command
from django.utils import timezone
call_command("migrate", verbosity=0)
from surveys.demo.people import make_cast
from surveys.demo.records import make_kit
from surveys.models import Client, Site
from tests.surveys.scene import scene
people = make_cast().users
cast = SimpleNamespace(office=people["office"], technician=people["technician"])
site = Site.objects.create(client=Client.objects.first(), name="Works", time_zone="UTC")
here = scene(site, cast, make_kit(people["calibration-admin"], timezone.now()))
here.correct(0.008)
for _ in range({SURVEYS}):
    here.survey(readings=40)
print(here.correct(0.0079).pk)
"""

__all__ = ["fresh_postgresql"]


class Processes:
    """What the drill starts, and ends."""

    def __init__(self, env: dict[str, str], port: int, folder: Path) -> None:
        self.env, self.port, self.folder = env, port, folder
        self.running: list[subprocess.Popen[bytes]] = []

    def start(self, *command: str) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(
            command,
            cwd=ROOT,
            env=self.env,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        self.running.append(process)
        return process

    def redis(self) -> subprocess.Popen[bytes]:
        process = self.start("redis-server", "--port", str(self.port), "--save", "", "--appendonly", "no")
        assert wait_until(self._redis_answers, 10)
        return process

    def _redis_answers(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def worker(self) -> subprocess.Popen[bytes]:
        return self.start(sys.executable, "-m", "celery", "-A", "surveys", "worker", "-c", "2", "-l", "error")

    def beat(self) -> subprocess.Popen[bytes]:
        return self.start(
            sys.executable,
            "-m",
            "celery",
            "-A",
            "surveys",
            "beat",
            "-l",
            "error",
            "--schedule",
            str(self.folder / "beat"),
        )

    @staticmethod
    def kill(process: subprocess.Popen[bytes]) -> None:
        """As the kernel would: the whole group at once, no time for anything."""
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


@pytest.fixture
def processes(fresh_postgresql: str, tmp_path: Path) -> Iterator[Processes]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    env = environment(
        DATABASE_URL=fresh_postgresql,
        CELERY_BROKER_URL=f"redis://127.0.0.1:{port}/0",
        RECOMPUTATION_LEASE_SECONDS="3",
        SWEEP_SECONDS="1",
    )
    started = Processes(env, port, tmp_path)
    yield started
    for process in started.running:
        started.kill(process)


@pytest.mark.needs_postgresql
@pytest.mark.needs_redis
def test_killed_workers_and_a_broker_lost_with_all_its_messages_lose_and_double_nothing(
    processes: Processes, fresh_postgresql: str
) -> None:
    broker = processes.redis()
    told = subprocess.run(
        [sys.executable, "-c", SCRIPT],
        cwd=ROOT,
        env=processes.env,
        capture_output=True,
        text=True,
        timeout=180,
        check=False,
    )
    assert told.returncode == 0, told.stderr
    recomputation = told.stdout.strip().splitlines()[-1]
    with psycopg.connect(fresh_postgresql, autocommit=True) as database:

        def one(query: str) -> Any:
            row = database.execute(query).fetchone()
            assert row
            return row[0]

        def done() -> int:
            items = "SELECT count(*) FROM surveys_recomputationitem"
            return int(one(f"{items} WHERE recomputation_id = '{recomputation}' AND state = 'done'"))

        first = processes.worker()
        assert wait_until(lambda: done() > 5, 60)
        processes.kill(first)
        processes.kill(broker)
        before = done()
        assert before < SURVEYS, "the drill came too late: everything was done before the first kill"
        processes.redis()
        processes.beat()
        second = processes.worker()
        assert wait_until(lambda: done() > before + 5, 60)
        processes.kill(second)
        processes.worker()
        state = f"SELECT state FROM surveys_recomputation WHERE id = '{recomputation}'"
        assert wait_until(lambda: one(state) == "finished", 120), (one(state), done())
        assert done() == SURVEYS
        results = "SELECT count(*) FROM surveys_result"
        assert one(results) == 2 * SURVEYS
        current = "r JOIN surveys_pipedata d ON d.id = r.pipe_data_id WHERE r.replaced_at IS NULL"
        assert one(f"{results} {current} AND d.wall_thickness_m = 0.0079") == SURVEYS
        assert (
            one("SELECT count(DISTINCT replaces_id) FROM surveys_result WHERE replaces_id IS NOT NULL")
            == SURVEYS
        )
