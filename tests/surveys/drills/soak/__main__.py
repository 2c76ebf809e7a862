"""Ten minutes of work with everything killed in turn: `python -m tests.surveys.drills.soak [--minutes 10]`.

PostgreSQL and Redis of its own, web, two workers and beat as the compose file has them; technicians, office, clients and a planner over
HTTP. Prints figures as JSON, and ends with 1 if a promise was broken (see `assessment`).
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import threading
import time
from itertools import cycle, islice
from pathlib import Path
from typing import Any

# Settings for the code of the service used here; its processes have the settings of the compose file.
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")

from tests.surveys.drills.processes import Cluster, free_port, wait_until
from tests.surveys.drills.soak.assessment import ROWS, faults_found, figures
from tests.surveys.drills.soak.caller import Caller, Notes
from tests.surveys.drills.soak.fleet import SmallFleet
from tests.surveys.drills.soak.parts import FAULTS, Parts, memory_figures
from tests.surveys.drills.soak.people import everybody

# The longest wait: a plan whose worker was killed.
DRAINED_WITHIN_SECONDS = 420.0
# Maximum extra time on a busy machine, until each kind of write was accepted once.
MAX_OVERRUN_SECONDS = 180.0
NO_LIMITS = {
    f"THROTTLE_{what}_{whom}": "off"
    for what in ("COMPUTE", "UPLOAD", "REPORT")
    for whom in ("ADDRESS", "USER")
}


def soak(seconds: float, strikes: list[str], folder: Path, **settings: str) -> dict[str, Any]:
    """Work for a time, or until each kind of write was accepted, with the parts killed one after another at equal intervals.

    Return the values and the faults.
    """
    cluster = Cluster()
    parts = Parts(folder, cluster, free_port(), **NO_LIMITS, **settings)
    try:
        parts.start()
        fleet = SmallFleet.of(json.loads(parts.servers.python("-m", "tests.surveys.drills.soak.fleet")))
        notes, stopped = Notes(), threading.Event()
        people = everybody(fleet, parts.fleet.port, notes, stopped)
        began = time.monotonic()
        for one in people:
            one.start()
        for number, part in enumerate(strikes, start=1):
            _pass_time(parts, began + seconds * number / (len(strikes) + 1))
            parts.strike(part)
        _pass_time(parts, began + seconds)
        gives_up = began + seconds + MAX_OVERRUN_SECONDS
        while not all(notes.promised[kind] for kind in ROWS) and time.monotonic() < gives_up:
            _pass_time(parts, time.monotonic() + 0.5)
        stopped.set()
        for one in people:
            while one.is_alive():
                _pass_time(parts, time.monotonic() + 0.5)
        lasted = time.monotonic() - began
        drained = wait_until(
            lambda: parts.ready() and parts.work_left() == 0, DRAINED_WITHIN_SECONDS, every=0.5
        )
        left = time.monotonic() - began - lasted
        # The watcher, which checks once a second, sees it too.
        wait_until(lambda: all(fault.caught_up for fault in parts.watched.faults), 10)
        parts.over.set()
        wrong = (
            [] if drained else [f"after {DRAINED_WITHIN_SECONDS:.0f} s {parts.work_left()} runs are not done"]
        )
        wrong += faults_found(parts, notes, Caller(parts.fleet.port, notes, token=fleet.office.token))
        wrong += _data_check(parts)
        return _report(parts, notes, lasted, left, wrong)
    finally:
        parts.end()
        cluster.remove()


def _pass_time(parts: Parts, until: float) -> None:
    """Let the users work; restart processes that end, as the engine does."""
    while (left := until - time.monotonic()) > 0:
        time.sleep(min(left, 1.0))
        parts.ready()


def _data_check(parts: Parts) -> list[str]:
    try:
        parts.servers.python("manage.py", "check_integrity", within_seconds=1800)
    except AssertionError as error:
        return [f"the integrity check: {error}"]
    return []


def _report(parts: Parts, notes: Notes, lasted: float, left: float, wrong: list[str]) -> dict[str, Any]:
    faults = parts.watched.faults
    return {
        "lasted_s": round(lasted),
        "requests": len([one for one in notes.attempts if one.kind != "check"]),
        "by_kind": figures(notes, faults, lasted),
        "acknowledged": {kind: len(ones) for kind, ones in notes.promised.items()},
        "answers_lost": notes.answers_lost,
        "answers_replayed": notes.replayed,
        "results": parts.asked("SELECT count(*) FROM surveys_result"),
        "faults": [
            {
                "part": one.part,
                "ready_after_s": one.ready and round(one.ready - one.killed, 1),
                "caught_up_after_s": one.caught_up and round(one.caught_up - one.killed, 1),
            }
            for one in faults
        ],
        "ended_by_themselves": dict(parts.watched.ended_by_themselves),
        "drained_after_s": round(left, 1),
        "memory_MB_by_minute": memory_figures(parts.watched),
        "wrong": wrong,
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--strikes", type=int, default=9, help="so many kills, evenly")
    parser.add_argument("--output", type=Path, help="keep the output of the processes in this folder")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="surveys-soak-") as temporary:
        place = arguments.output or Path(temporary)
        place.mkdir(exist_ok=True, parents=True)
        report = soak(arguments.minutes * 60, list(islice(cycle(FAULTS), arguments.strikes)), place)
    print(json.dumps(report, indent=1))  # noqa: T201
    sys.exit(1 if report["wrong"] else 0)
