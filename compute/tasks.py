"""Background tasks. They take ids, load what they need again, and may run twice without harm."""

from __future__ import annotations

from uuid import UUID

from celery import shared_task
from django.utils import timezone

from surveys import recompute as work
from surveys import reminders


@shared_task
def recompute(recomputation_id: str) -> None:
    """Work off one recomputation, sharing it with whoever else works on it."""
    work.work_off(UUID(recomputation_id))


@shared_task
def sweep() -> None:
    """Send again every recomputation that has work due: broker down at the time, worker killed, restart."""
    for recomputation_id in work.recomputations_due():
        recompute.delay(str(recomputation_id))


@shared_task(autoretry_for=(OSError,), retry_backoff=60, retry_backoff_max=3600, max_retries=12)
def remind_of_due_calibrations() -> None:
    """Tell the calibration admins what crossed a threshold; a mail that fails (an OSError, as SMTP's are) is tried again."""
    reminders.remind_of_due_calibrations(timezone.now())
