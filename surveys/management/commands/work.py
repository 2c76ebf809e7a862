"""Management command that runs the embedded worker."""

from typing import Any

from django.core.checks import Tags
from django.core.management.base import BaseCommand

from surveys.operations.embedded_worker import run_while_parent_lives


class Command(BaseCommand):
    help = "Run background work until standard input closes (embedded worker for a single machine)."

    # The web server checks the pages.
    requires_system_checks = [Tags.models]

    def handle(self, *args: Any, **options: Any) -> None:
        run_while_parent_lives()
