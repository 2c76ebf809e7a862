"""The daily e-mail to the calibration admins: what crossed a threshold since it was last told.

A run claims its rows first, sends, and only then marks them as sent: of two runs at once one sends, and a mail that fails is
sent by the next run. A run that dies between sending and marking leaves its claim to expire, and its mail is sent again.
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from django.core.mail import EmailMessage

from surveys.calibration.due_list import DueRow, due_list, office_today
from surveys.models import CalibrationReminder, Role, User

LEASE = timedelta(minutes=10)
logger = logging.getLogger(__name__)


def remind_of_due_calibrations(now: datetime) -> int:
    """Send what has crossed a threshold to everybody who keeps calibrations; returns how many rows were told.

    Raises what the mail backend raises; nothing counts as told then.
    """
    people = User.objects.filter(
        role__in=(Role.CALIBRATION_ADMIN, Role.ADMINISTRATOR), is_active=True
    ).exclude(email="")
    recipients = list(people.filter(role=Role.CALIBRATION_ADMIN).order_by("email")) or list(people)
    if not recipients:
        logger.info(
            "nobody to remind of calibrations: no calibration admin or administrator has an e-mail address"
        )
        return 0
    today = office_today(now)
    rows = [row for row in due_list(recipients[0], today) if row.threshold is not None]
    claim = uuid.uuid4()
    told = _claim(rows, claim, now)
    if not told:
        return 0
    try:
        EmailMessage(
            subject=f"Calibrations due: {len(told)}",
            body="\n".join(_lines(told, today)),
            to=[person.email for person in recipients],
        ).send()
    except Exception:
        CalibrationReminder.objects.filter(claim=claim, sent_at__isnull=True).update(claimed_until=now)
        raise
    CalibrationReminder.objects.filter(claim=claim, sent_at__isnull=True).update(sent_at=now)
    return len(told)


def _claim(rows: Sequence[DueRow], claim: uuid.UUID, now: datetime) -> list[DueRow]:
    """The rows this run is to tell of: those nobody told of, nor is about to."""
    by_key = {(row.instrument.pk, row.due_on, row.threshold): row for row in rows}
    until = now + LEASE
    CalibrationReminder.objects.bulk_create(
        [
            CalibrationReminder(
                instrument=row.instrument, due_on=row.due_on, threshold_days=row.threshold, claim=claim, claimed_until=until
            )
            for row in rows
            if row.due_on is not None and row.threshold is not None
        ],
        ignore_conflicts=True,
    )  # fmt: skip
    CalibrationReminder.objects.filter(
        sent_at__isnull=True, claimed_until__lte=now, instrument__in={row.instrument.pk for row in rows}
    ).update(claim=claim, claimed_until=until)
    claimed = CalibrationReminder.objects.filter(claim=claim).values_list(
        "instrument_id", "due_on", "threshold_days"
    )
    mine = set(claimed)
    return [row for key, row in by_key.items() if key in mine]


def _lines(rows: Sequence[DueRow], today: date) -> list[str]:
    lines = [f"As of {today.isoformat()}:", ""]
    for row in rows:
        left = row.days_left or 0
        days = "1 day" if abs(left) == 1 else f"{abs(left)} days"
        when = f"{days} overdue" if left < 0 else f"{days} left"
        one = row.instrument
        owner = f", {one.asset_number}" if one.asset_number else ""
        lines.append(f"- {one} ({one.type_name}{owner}), {one.get_state_display()}: due {row.due_on}, {when}")
    return [*lines, "", "The whole list: instruments/calibration-due/ of the service."]
