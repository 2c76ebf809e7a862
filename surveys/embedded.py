"""The worker beside the web process of a single machine: no broker, the same work."""

from __future__ import annotations

import logging
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import close_old_connections
from django.utils import timezone

from surveys import recompute, reminders

# A look for due work is one indexed query (a tenth of a millisecond); this bounds the wait of a correction.
LOOK_EVERY_SECONDS = 0.05
# What was told is told once, however often it is looked at; a mail that failed is tried again at the next look.
REMIND_EVERY = timedelta(minutes=30)
logger = logging.getLogger(__name__)


def work_until(stopped: threading.Event) -> None:
    """Do whatever is due, again and again, until told to stop."""
    reminded_at: datetime | None = None
    while not stopped.is_set():
        for recomputation_id in recompute.recomputations_due():
            recompute.work_off(recomputation_id)
        reminded_at = _remind(reminded_at, timezone.now())
        close_old_connections()
        stopped.wait(LOOK_EVERY_SECONDS)


def _remind(last: datetime | None, now: datetime) -> datetime | None:
    """Tell what is due for calibration, as beat would have it done daily; returns when that was last looked at."""
    hour = now.astimezone(ZoneInfo(settings.OFFICE_TIME_ZONE)).hour
    if hour < settings.REMINDER_HOUR or (last is not None and now - last < REMIND_EVERY):
        return last
    try:
        reminders.remind_of_due_calibrations(now)
    except OSError:
        logger.exception("the reminder of calibrations could not be sent; it is tried again")
    return now


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
