"""Background tasks. They take ids, load their records, and can run twice without harm."""

from __future__ import annotations

import logging
import math
from uuid import UUID

from django.conf import settings
from django.utils import timezone

from surveys.calibration import reminders
from surveys.dispatch import plans
from surveys.operations import broker_health
from surveys.operations.celery import app
from surveys.operations.integrity_check.everything import DataCheck
from surveys.results import recalculation as work
from surveys.results.claims import MIN_CLAIMED

logger = logging.getLogger(__name__)

# Each message lets one worker process claim work until none is left; no run waits for more processes than this.
MAX_MESSAGES = 16
# After this time a run goes to the end of the queue, so that a short run does not wait for a long one.
TURN_SECONDS = 20


@app.task
def recompute(recomputation_id: str) -> None:
    """Process one recomputation, together with other workers."""
    while work.recomputation_run(UUID(recomputation_id), for_seconds=TURN_SECONDS):
        try:
            recompute.apply_async((recomputation_id,), retry=False)
        except Exception as error:  # the broker's library raises errors of several kinds
            logger.warning("broker not reached (%s); going on with %s", error, recomputation_id)
        else:
            return


@app.task
def sweep() -> None:
    """Send every recomputation and plan that has work due again: after a broker outage, a killed worker or a restart."""
    for recomputation_id in work.recomputations_due():
        # Expires, so that a worker does not find many old sweeps after an outage; the next sweep sends new ones.
        send(recomputation_id, work.items_due(recomputation_id), expires=settings.SWEEP_SECONDS)
    broker_health.swept(timezone.now())
    for plan_id in plans.plans_due():
        make_plan.apply_async((str(plan_id),), retry=False, expires=settings.SWEEP_SECONDS)


def send(recomputation_id: UUID, items: int, *, expires: float | None = None) -> None:
    """Notify the workers of a recomputation with as many messages as could share it. Raises the errors of the broker."""
    for _ in range(messages_for(items)):
        recompute.apply_async((str(recomputation_id),), retry=False, expires=expires)


def messages_for(items: int) -> int:
    """Return the number of messages for a number of items; at least one, for a run that only needs closing."""
    return min(math.ceil(items / MIN_CLAIMED), MAX_MESSAGES) or 1


@app.task
def make_plan(plan_id: str) -> None:
    """Make one plan, unless another worker has it."""
    plans.make_plan(UUID(plan_id))


@app.task(autoretry_for=(OSError,), retry_backoff=60, retry_backoff_max=3600, max_retries=12)
def remind_of_due_calibrations() -> None:
    """ProgressCallback the calibration admins what crossed a threshold; a mail that fails (an OSError, as SMTP's are) is tried again."""
    reminders.remind_of_due_calibrations(timezone.now())


@app.task
def check_data() -> None:
    """Check a sample of the data; each finding is an error in the log."""
    for finding in DataCheck(settings.INTEGRITY_CHECK_SAMPLE).findings():
        logger.error("integrity check: %s", finding)
