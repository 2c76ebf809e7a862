"""The Django app of the project."""

import gc

from django.apps import AppConfig
from django.contrib.admin.apps import AdminConfig


class SurveysConfig(AppConfig):
    name = "surveys"
    verbose_name = "Flow surveys"

    def ready(self) -> None:
        from django.db.models.signals import post_migrate

        from surveys import append_only, no_overlap

        post_migrate.connect(append_only.install_guards, sender=self)
        post_migrate.connect(no_overlap.install_guards, sender=self)
        # What is loaded by now stays; to look through it for garbage, over and over, is a fifth of the start.
        gc.freeze()


class AdminPagesConfig(AdminConfig):
    default_site = "surveys.admin_site.AdminPages"

    def ready(self) -> None:
        super().ready()
        from django.contrib import admin
        from django_otp.plugins.otp_totp.models import TOTPDevice

        # A second factor is enrolled by its owner and taken away through the API, which says so in the audit log.
        admin.site.unregister(TOTPDevice)
