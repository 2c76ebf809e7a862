"""Django's `makemigrations`, with models created whole and together."""

from django.core.management.commands import makemigrations

from surveys.management.folding import Autodetector


class Command(makemigrations.Command):
    autodetector = Autodetector
