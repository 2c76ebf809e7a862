"""Correct the wall of the database's only pipe, so many times: `python -m tests.surveys.drills.correct WALL_MM...`.

Prints, for each, the id of the recomputation and the time at which the correction had been committed (seconds since 1970).
With `--pause SECONDS` between them, so that a worker falls idle.
"""

from __future__ import annotations

import argparse
import time

import django
from django.apps import apps

if not apps.ready:
    django.setup()

from django.utils import timezone

from surveys.models import Pipe, User
from surveys.services.pipes.pipes import pipe_correct, version_to_correct
from tests.surveys.scene import STARTED, with_wall


def correct(wall_mm: float) -> str:
    """Make one correction and return the id of its recomputation."""
    pipe = Pipe.objects.get()
    _, recomputation = pipe_correct(
        pipe=pipe,
        corrects=version_to_correct(pipe, STARTED.date()),
        statement=with_wall(wall_mm / 1000),
        reason="Gauged.",
        valid_from=None,
        wall_measurement=None,
        by=User.objects.get(username="office"),
        now=timezone.now(),
    )
    return str(recomputation.pk)


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("walls", type=float, nargs="+")
    parser.add_argument("--pause", type=float, default=0.0)
    arguments = parser.parse_args()
    for wall in arguments.walls:
        print(correct(wall), time.time(), flush=True)  # noqa: T201
        time.sleep(arguments.pause)
