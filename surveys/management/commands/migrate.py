"""Django's `migrate`; the check that nothing is left out looks as `makemigrations` does."""

from django.core.management.commands import migrate

from surveys.management.folding import Autodetector


class Command(migrate.Command):
    autodetector = Autodetector
