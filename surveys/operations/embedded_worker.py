"""Worker in the web process of a single machine, without a broker."""

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
from django.db import close_old_connections, connection
from django.utils import timezone

from surveys.calibration import reminders
from surveys.dispatch import plans
from surveys.results import recalculation

logger = logging.getLogger(__name__)

# A look for work is one plain query (some tenths of a millisecond); this bounds the wait of a correction.
LOOK_EVERY_SECONDS = 0.04
AFTER_ERROR_SECONDS = 1.0
TURN_SECONDS = 5.0
# A reminder is sent once, however often due dates are checked; a failed e-mail is sent again at the next check.
REMIND_EVERY = timedelta(minutes=30)


def run_until(stopped: threading.Event) -> None:
    """Process due tasks until stopped. Waits for a database that fails."""
    reminded_at: datetime | None = None
    while not stopped.is_set():
        wait = LOOK_EVERY_SECONDS
        try:
            for recomputation_id in (
                recalculation.recomputations_due() if recalculation.recomputation_pending() else []
            ):
                # In turns, so that a short run need not wait for a long one.
                recalculation.recomputation_run(recomputation_id, for_seconds=TURN_SECONDS)
            _plan()
            reminded_at = _remind(reminded_at, timezone.now())
            close_old_connections()
        except Exception:  # the worker outlives whatever it was, and looks again
            logger.exception("the embedded worker met an error")
            connection.close()
            wait = AFTER_ERROR_SECONDS
        stopped.wait(wait)


def _plan() -> None:
    """Make one plan that is due, if any; recomputations are looked at between two."""
    for plan_id in plans.plans_due()[:1] if plans.plans_pending() else []:
        plans.make_plan(plan_id)


def _remind(last: datetime | None, now: datetime) -> datetime | None:
    """ProgressCallback what is due for calibration, as beat would have it done daily; returns when that was last looked at."""
    hour = now.astimezone(ZoneInfo(settings.OFFICE_TIME_ZONE)).hour
    if hour < settings.REMINDER_HOUR or (last is not None and now - last < REMIND_EVERY):
        return last
    try:
        reminders.remind_of_due_calibrations(now)
    except OSError:
        logger.exception("the reminder of calibrations could not be sent; it is tried again")
    return now


def run_while_parent_lives() -> None:
    """Work until standard input closes: the parent holds its other end, so that a killed parent leaves no orphan."""
    stopped = threading.Event()
    threading.Thread(target=_wait_for_end_of_input, args=(stopped,), daemon=True).start()
    run_until(stopped)


def _wait_for_end_of_input(stopped: threading.Event) -> None:
    sys.stdin.buffer.read()
    stopped.set()


@contextmanager
def embedded_worker_process() -> Iterator[list[subprocess.Popen[bytes]]]:
    """Run the embedded worker as a child for as long as the block lasts; one that dies is followed by another.

    Gives the list of those started, the latest last.
    """
    over = threading.Event()
    started = [_started()]
    keeper = threading.Thread(target=_keep, args=(started, over), daemon=True)
    keeper.start()
    try:
        yield started
    finally:
        over.set()
        keeper.join()


def _started() -> subprocess.Popen[bytes]:
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "work"]
    return subprocess.Popen(command, stdin=subprocess.PIPE)  # noqa: S603 - our own interpreter and script


def _keep(started: list[subprocess.Popen[bytes]], over: threading.Event) -> None:
    while not over.wait(0.2):
        # One that dies at once is not followed in a frenzy.
        if started[-1].poll() is not None and not over.wait(AFTER_ERROR_SECONDS):
            logger.warning("the embedded worker ended; starting another")
            _stop(started[-1])
            started.append(_started())
    _stop(started[-1])


def _stop(child: subprocess.Popen[bytes]) -> None:
    if child.stdin:
        child.stdin.close()
    deadline = time.monotonic() + 10
    while child.poll() is None and time.monotonic() < deadline:
        time.sleep(0.02)
    if child.poll() is None:
        child.kill()
    child.wait()
