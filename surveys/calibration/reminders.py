"""Daily e-mail to the calibration administrators with the instruments that crossed a threshold since the last one.

A run claims its rows, sends, and then marks them as sent: of two concurrent runs one sends, and a failed e-mail is sent by the
next run. If a run ends between sending and marking, its claim expires and the e-mail is sent again.
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from django.conf import settings
from django.core.mail import EmailMessage
from django.urls import reverse
from django.utils.translation import gettext, ngettext

from surveys.calibration.due_list import DueRow, due_list, office_today
from surveys.models import CalibrationReminder, Role, User

LEASE = timedelta(minutes=10)
logger = logging.getLogger(__name__)


def remind_of_due_calibrations(now: datetime) -> int:
    """Send the instruments that crossed a threshold to the calibration administrators; return their number.

    Raises the errors of the mail backend; no row counts as sent then.
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
    due = _claim(rows, claim, now)
    if not due:
        return 0
    try:
        _mail(due, today, [person.email for person in recipients]).send()
    except Exception:
        CalibrationReminder.objects.filter(claim=claim, sent_at__isnull=True).update(claimed_until=now)
        raise
    CalibrationReminder.objects.filter(claim=claim, sent_at__isnull=True).update(sent_at=now)
    return len(due)


def _claim(rows: Sequence[DueRow], claim: uuid.UUID, now: datetime) -> list[DueRow]:
    """Return the rows claimed by this run: those neither sent nor claimed by another run."""
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


def _mail(rows: Sequence[DueRow], today: date, to: list[str]) -> EmailMessage:
    subject = ngettext(
        "{count} calibration due ({day})", "{count} calibrations due ({day})", len(rows)
    ).format(count=len(rows), day=today)
    lines = [
        gettext("You receive this e-mail because you manage the calibration of the instruments."),
        "",
        ngettext(
            "As of {day}, {count} instrument has reached a notice threshold or is overdue:",
            "As of {day}, {count} instruments have reached a notice threshold or are overdue:",
            len(rows),
        ).format(count=len(rows), day=today),
        "",
        *(_line(row) for row in rows),
        "",
        gettext("Plan the calibrations here:"),
        f"{settings.PUBLIC_URL}{reverse('fleet-due')}",
    ]
    return EmailMessage(subject, "\n".join(lines), to=to)


def _line(row: DueRow) -> str:
    left, one = row.days_left or 0, row.instrument
    text = (
        ngettext("{count} day overdue", "{count} days overdue", -left)
        if left < 0
        else ngettext("{count} day left", "{count} days left", left)
    )
    names = ", ".join(
        name for name in (one.get_kind_display(), one.type_name, one.serial, one.asset_number) if name
    )
    return gettext("- {instrument} ({state}): due on {day}, {time}").format(
        instrument=names, state=one.get_state_display(), day=row.due_on, time=text.format(count=abs(left))
    )
