"""Service as processes: settings that prevent the start, workers that end with their parent, a real broker."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import redis

from tests.needs import REDIS_URL
from tests.surveys.drills.conftest import fresh_postgresql
from tests.surveys.drills.processes import ROOT, environment, wait_until

__all__ = ["fresh_postgresql"]


def manage(*arguments: str, **changes: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env=environment(**changes),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize(
    ("changes", "hint"),
    [
        ({"SECRET_KEY": ""}, "SECRET_KEY is missing or weak"),
        ({"SECRET_KEY": "secret"}, "SECRET_KEY is missing or weak"),
        ({"ALLOWED_HOSTS": ""}, "ALLOWED_HOSTS is empty"),
        ({"DEBUG": "maybe"}, "Enter on or off"),
        ({"DATABASE_URL": "oracle://x"}, "DATABASE_URL has the unknown scheme"),
        ({"CELERY_BROKER_URL": "amqp://x"}, "not a Redis address"),
        ({"LOG_UPLOAD_MAX_MB": "-1"}, "whole number"),
    ],
)
def test_a_missing_or_silly_setting_stops_the_start_with_a_hint(changes: dict[str, str], hint: str) -> None:
    answer = manage("check", **changes)
    assert answer.returncode != 0
    assert hint in answer.stderr


def test_production_mode_is_the_default_and_passes_the_deployment_check() -> None:
    answer = manage("check", "--deploy", "--fail-level", "WARNING")
    assert answer.returncode == 0, answer.stderr


def test_no_heavy_library_is_loaded_by_starting_up() -> None:
    code = (
        "import django, sys; django.setup(); from django.urls import get_resolver; get_resolver().url_patterns; "
        "print([m for m in ('scipy', 'pint', 'CoolProp', 'matplotlib', 'ortools', 'pyarrow') if m in sys.modules])"
    )
    answer = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert answer.stdout.strip() == "[]"


def test_the_embedded_worker_stops_when_its_parent_is_killed(tmp_path: Path) -> None:
    env = environment(DATABASE_URL=f"sqlite:///{tmp_path / 'x.sqlite3'}", HTTPS="off")
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=env, check=True, timeout=120
    )
    code = (
        "import django, time; django.setup(); from surveys.operations.embedded_worker import embedded_worker_process\n"
        "with embedded_worker_process() as started: print(started[-1].pid, flush=True); time.sleep(60)"
    )
    parent = subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True
    )
    assert parent.stdout
    child = int(parent.stdout.readline())
    time.sleep(1)
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    parent.stdout.close()
    assert wait_until(lambda: not alive(child), 15)


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().split()[2] != "Z"
    except FileNotFoundError:
        return False


def test_an_embedded_worker_that_is_killed_is_followed_by_another(tmp_path: Path) -> None:
    env = environment(DATABASE_URL=f"sqlite:///{tmp_path / 'x.sqlite3'}", HTTPS="off")
    code = (
        "import django, os, signal, time; django.setup(); from surveys.operations.embedded_worker import embedded_worker_process\n"
        "with embedded_worker_process() as started:\n"
        "    os.kill(started[0].pid, signal.SIGKILL)\n"
        "    while len(started) < 2: time.sleep(0.05)\n"
        "    print(started[1].poll())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stdout.strip() == "None"


STORY = """
import contextlib, django
django.setup()
from django.core.management import call_command
from surveys.commands.demo.people import make_cast
from surveys.commands.demo.story import run_story
call_command("migrate", verbosity=0)
run_story(make_cast(), print, contextlib.nullcontext)
"""


@pytest.mark.needs_postgresql
@pytest.mark.needs_redis
def test_the_main_job_on_postgresql_with_a_celery_worker_on_redis(fresh_postgresql: str) -> None:
    client = redis.Redis.from_url(REDIS_URL)
    client.flushdb()
    client.close()
    env = environment(DATABASE_URL=fresh_postgresql, CELERY_BROKER_URL=REDIS_URL)
    worker = subprocess.Popen(
        [sys.executable, "-m", "celery", "-A", "surveys.operations", "worker", "-c", "1", "-l", "warning"],
        cwd=ROOT, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        finished = subprocess.run(
            [sys.executable, "-c", STORY],
            cwd=ROOT,
            env=env,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert finished.returncode == 0, finished.stderr
        assert "8. New result: 137.6" in finished.stdout
    finally:
        worker.terminate()
        worker.wait(20)


def test_a_broker_that_is_down_costs_time_but_no_work(tmp_path: Path) -> None:
    # Nothing listens on port 1; the correction is recorded all the same, and the sweep finds it.
    env = environment(
        DATABASE_URL=f"sqlite:///{tmp_path / 'x.sqlite3'}", CELERY_BROKER_URL="redis://127.0.0.1:1/0"
    )
    story = STORY.replace("contextlib.nullcontext", "stop") + ""
    code = (
        "import contextlib\nclass Asked(Exception): pass\ndef stop(): raise Asked\n"
        + story.replace("run_story(make", "try:\n    run_story(make", 1).rstrip()
        + "\nexcept Asked: pass\nfrom surveys.results import recalculation as recompute\n"
        + "due = recompute.recomputations_due(); print('due', len(due)); recompute.recomputation_run(due[0])\n"
        + "print('left', len(recompute.recomputations_due()))\n"
    )
    answer = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert answer.returncode == 0, answer.stderr
    assert "due 1\nleft 0" in answer.stdout
    assert "broker not reached" in answer.stderr


def test_the_demo_runs_twice_on_one_database_and_needs_no_setting(tmp_path: Path) -> None:
    # Its folder is put elsewhere so that a person's own demo is left alone.
    code = (
        "import sys, pathlib; from surveys.commands.demo import environment as e; e.FOLDER = pathlib.Path(sys.argv.pop()); e.prepare()\n"
        "import django; django.setup(); from django.core.management import call_command; call_command('demo', '--once')"
    )
    for _ in range(2):
        answer = subprocess.run(
            [sys.executable, "-c", code, str(tmp_path / "demo")],
            cwd=ROOT,
            env={
                "PATH": os.environ["PATH"],
                "HOME": str(tmp_path),
                "DJANGO_SETTINGS_MODULE": "surveys.settings",
            },
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert answer.returncode == 0, answer.stderr
        assert "Spacing for current pipe data 169.7\N{NO-BREAK SPACE}mm" in answer.stdout
        assert "the error of the new result is <\N{NO-BREAK SPACE}0.01\N{NO-BREAK SPACE}%" in answer.stdout
