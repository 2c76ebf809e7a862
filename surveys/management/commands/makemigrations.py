"""Django's `makemigrations`, with constraints in the models it creates."""

from django.core.management.commands import makemigrations

from surveys.management.folding import Autodetector


class Command(makemigrations.Command):
    autodetector = Autodetector
