"""Celery application, loaded only by workers, by beat and by a process that sends its first task.

Without a broker address no task is sent: the embedded worker does the work.
"""

import os
from typing import Any

from celery import Celery
from celery.schedules import crontab
from celery.signals import setup_logging
from django.conf import settings
from django_structlog.celery.receivers import CeleryReceiver
from django_structlog.celery.steps import DjangoStructLogInitStep

from surveys.operations.broker_health import watch_tasks

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "surveys.settings")

app = Celery("surveys")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["surveys.operations"])
app.conf.beat_schedule = {
    "check a sample of the data": {
        "task": "surveys.operations.tasks.check_data",
        "schedule": crontab(hour=3, minute=0),
    },
    "remind of due calibrations": {
        "task": "surveys.operations.tasks.remind_of_due_calibrations",
        "schedule": crontab(hour=settings.REMINDER_HOUR, minute=0),
    },
    "resend unfinished recomputations": {
        "task": "surveys.operations.tasks.sweep",
        "schedule": float(settings.SWEEP_SECONDS),
    },
}

# The sender of a task passes on the ids of its log lines; signals hold their receivers weakly.
celery_log_receiver = CeleryReceiver()
celery_log_receiver.connect_signals()
app.steps["worker"].add(DjangoStructLogInitStep)


@setup_logging.connect
def _keep_django_logging(**_: Any) -> None:
    """Keep the logging configuration of Django; Celery leaves logging alone if this signal has a receiver."""


watch_tasks()
