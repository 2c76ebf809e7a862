"""Management command that runs the web server."""

from contextlib import nullcontext
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser

from surveys.commands.web_server import serve
from surveys.operations.embedded_worker import embedded_worker_process


class Command(BaseCommand):
    help = "Serve the API and the pages. Without a broker, also run the embedded worker."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--bind", default="127.0.0.1:8000", help="address and port (default: 127.0.0.1:8000)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        with nullcontext() if settings.CELERY_BROKER_URL else embedded_worker_process():
            serve(options["bind"])
