"""The Django app of the project."""

from django.apps import AppConfig


class SurveysConfig(AppConfig):
    name = "surveys"
    verbose_name = "Flow surveys"

    def ready(self) -> None:
        from django.db.models.signals import post_migrate

        from surveys import append_only

        post_migrate.connect(append_only.install_guards, sender=self)
