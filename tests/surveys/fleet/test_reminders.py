"""Daily reminder: once for each instrument, due date and threshold."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core import mail
from django.db import close_old_connections, connections

from surveys.calibration import reminders
from surveys.calibration.reminders import remind_of_due_calibrations
from surveys.models import CalibrationReminder, Instrument, User
from surveys.operations import tasks
from surveys.operations.celery import app

NOON = datetime(2027, 3, 16, 12, tzinfo=UTC)
"""On the day the kit's calibrations are due."""


@pytest.fixture
def admins(cast: Any, kit: Any) -> Any:
    User.objects.filter(pk=cast.calibration_admin.pk).update(email="calibrations@aldervale.example")
    return cast


@pytest.mark.django_db
def test_each_threshold_gives_one_reminder(admins: Any) -> None:
    days = (95, 90, 89, 60, 31, 30, 1, 0, -1, -2, -40)
    sent = [left for left in days if remind_of_due_calibrations(NOON - timedelta(days=left))]
    assert sent == [90, 60, 30, -1]
    assert [message.to for message in mail.outbox] == [["calibrations@aldervale.example"]] * 4
    assert mail.outbox[-1].subject == "3 calibrations due (2027-03-17)"
    assert mail.outbox[-1].body.count("1 day overdue") == 3
    assert mail.outbox[-1].body.endswith("\nhttp://localhost:8000/fleet/due/")
    assert ", G-0033" in mail.outbox[0].body


@pytest.mark.django_db
def test_a_first_run_reminds_of_the_nearest_threshold_only(admins: Any) -> None:
    assert remind_of_due_calibrations(NOON - timedelta(days=10)) == 3
    assert set(CalibrationReminder.objects.values_list("threshold_days", flat=True)) == {30}


@pytest.mark.django_db
def test_a_mail_that_fails_is_sent_by_the_next_run(admins: Any, settings: Any) -> None:
    # Nothing listens on the port for discarding: a real refusal of a real connection.
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
    with pytest.raises(ConnectionRefusedError):
        remind_of_due_calibrations(NOON)
    assert not CalibrationReminder.objects.filter(sent_at__isnull=False).exists()
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    assert remind_of_due_calibrations(NOON) == 3
    assert len(mail.outbox) == 1


@pytest.mark.django_db
def test_a_claimed_but_unsent_reminder_is_sent_when_its_claim_expires(admins: Any, monkeypatch: Any) -> None:
    class Killed(BaseException):
        pass

    def dies(*_: Any, **__: Any) -> None:
        raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(reminders.EmailMessage, "send", dies)
        with pytest.raises(Killed):
            remind_of_due_calibrations(NOON)
    assert remind_of_due_calibrations(NOON + timedelta(minutes=1)) == 0
    assert remind_of_due_calibrations(NOON + timedelta(minutes=11)) == 3


@pytest.mark.django_db
def test_a_new_certificate_restarts_the_reminders(admins: Any, kit: Any) -> None:
    from tests.surveys.fleet.test_due_dates import calibrated

    assert remind_of_due_calibrations(NOON) == 3
    calibrated(admins.calibration_admin, kit.gauge, NOON.date(), (NOON + timedelta(days=20)).date())
    assert remind_of_due_calibrations(NOON) == 1


@pytest.mark.django_db
def test_retired_instruments_and_offices_without_an_address_are_not_written_to(cast: Any, kit: Any) -> None:
    assert remind_of_due_calibrations(NOON) == 0
    User.objects.filter(pk=cast.administrator.pk).update(email="office@aldervale.example")
    Instrument.objects.filter(pk=kit.gauge.pk).update(state="retired")
    assert remind_of_due_calibrations(NOON) == 2


@pytest.mark.django_db(transaction=True)
def test_of_runs_at_once_one_sends(admins: Any) -> None:
    start, sent = threading.Barrier(4), []

    def run() -> None:
        close_old_connections()
        start.wait()
        sent.append(remind_of_due_calibrations(NOON))
        connections.close_all()

    threads = [threading.Thread(target=run) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(sent) == 3
    assert sum(message.body.count("due on 2027-03-16") for message in mail.outbox) == 3


@pytest.mark.django_db
def test_beat_runs_the_task_once_a_day(admins: Any) -> None:
    entry = app.conf.beat_schedule["remind of due calibrations"]
    assert entry["task"] == tasks.remind_of_due_calibrations.name
    assert (entry["schedule"].hour, entry["schedule"].minute) == ({6}, {0})
    tasks.remind_of_due_calibrations()
