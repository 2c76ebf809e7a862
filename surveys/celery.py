"""The Celery application. Without a broker address nothing is ever sent: the embedded worker does the work."""

import os
from typing import Any

from celery import Celery
from celery.signals import setup_logging
from django_structlog.celery.steps import DjangoStructLogInitStep

from surveys.running.broker import watch_tasks

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "surveys.settings")

app = Celery("surveys")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["compute"])
app.steps["worker"].add(DjangoStructLogInitStep)


@setup_logging.connect
def _log_as_the_service_does(**_: Any) -> None:
    """Celery leaves the log alone where somebody else has set it up: Django has."""


watch_tasks()
