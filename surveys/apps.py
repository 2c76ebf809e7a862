"""Django app configuration."""

import gc

from django.apps import AppConfig
from django.contrib.admin.apps import AdminConfig


class SurveysConfig(AppConfig):
    name = "surveys"
    verbose_name = "Flow Surveys"

    def ready(self) -> None:
        from django.db.models.signals import post_migrate

        from surveys.core import append_only, no_overlap

        post_migrate.connect(append_only.install_guards, sender=self)
        post_migrate.connect(no_overlap.install_guards, sender=self)
        # Objects loaded so far are permanent. Excluding them from garbage collection saves a fifth of the start time.
        gc.freeze()


class AdminPagesConfig(AdminConfig):
    default_site = "surveys.pages.admin.site.AdminPages"

    def ready(self) -> None:
        super().ready()
        from django.contrib import admin
        from django_otp.plugins.otp_totp.models import TOTPDevice

        from surveys.pages.admin import records  # noqa: F401

        # The owner enrols a second factor. The API removes it and writes an audit log entry.
        admin.site.unregister(TOTPDevice)
