"""The embedded worker."""

from typing import Any

from django.core.checks import Tags
from django.core.management.base import BaseCommand

from surveys.embedded import work_while_parent_lives


class Command(BaseCommand):
    help = "Work off recomputations until standard input closes (the worker of a single machine)."

    # The pages are for the web server beside it to load and check.
    requires_system_checks = [Tags.models]

    def handle(self, *args: Any, **options: Any) -> None:
        work_while_parent_lives()
