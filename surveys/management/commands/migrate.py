"""Django's `migrate`; the check that nothing is left out looks as `makemigrations` does."""

from typing import Any

from django.core.checks import Tags
from django.core.management.commands import migrate

from surveys.management.folding import Autodetector


class Command(migrate.Command):
    autodetector = Autodetector

    def check(self, *args: Any, **options: Any) -> None:
        """Of the records and the database. To check addresses is to load every page, which is for who serves them."""
        super().check(*args, **options | {"tags": [Tags.models, Tags.database]})
