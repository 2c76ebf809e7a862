"""The worker beside the web process of a single machine: no broker, the same work."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.db import close_old_connections

from surveys import recompute

# A look for due work is one indexed query (a tenth of a millisecond); this bounds the wait of a correction.
LOOK_EVERY_SECONDS = 0.05


def work_until(stopped: threading.Event) -> None:
    """Do whatever is due, again and again, until told to stop."""
    while not stopped.is_set():
        for recomputation_id in recompute.recomputations_due():
            recompute.work_off(recomputation_id)
        close_old_connections()
        stopped.wait(LOOK_EVERY_SECONDS)


def work_while_parent_lives() -> None:
    """Work until standard input closes: the parent holds its other end, so that a killed parent leaves no orphan."""
    stopped = threading.Event()
    threading.Thread(target=_wait_for_end_of_input, args=(stopped,), daemon=True).start()
    work_until(stopped)


def _wait_for_end_of_input(stopped: threading.Event) -> None:
    sys.stdin.buffer.read()
    stopped.set()


@contextmanager
def worker_beside() -> Iterator[subprocess.Popen[bytes]]:
    """Run the embedded worker as a child for as long as the block lasts."""
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "work"]
    child = subprocess.Popen(command, stdin=subprocess.PIPE)  # noqa: S603 - our own interpreter and script
    try:
        yield child
    finally:
        if child.stdin:
            child.stdin.close()
        deadline = time.monotonic() + 10
        while child.poll() is None and time.monotonic() < deadline:
            time.sleep(0.02)
        if child.poll() is None:
            child.kill()
        child.wait()
