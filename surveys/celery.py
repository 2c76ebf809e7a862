"""The Celery application. Without a broker address nothing is ever sent: the embedded worker does the work."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "surveys.settings")

app = Celery("surveys")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["compute"])
