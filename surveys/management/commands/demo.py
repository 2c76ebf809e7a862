"""Management command that runs the demo."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser

from surveys.commands.demo.people import make_cast, make_tokens
from surveys.commands.demo.story import run_story
from surveys.commands.web_server import serve
from surveys.operations.embedded_worker import embedded_worker_process

BIND = "127.0.0.1:8000"


class Command(BaseCommand):
    help = "Run one survey from start to finish on invented data, then start the server."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--once", action="store_true", help="exit after the survey instead of starting the server"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        cast = make_cast()
        run_story(cast, self.stdout.write)
        self._sign_ins(cast.passwords, make_tokens(cast))
        if not options["once"]:
            self.stdout.write(
                f"\nServer and embedded worker run at http://{BIND}/. Press Ctrl-C to stop both."
            )
            self.stdout.flush()
            with embedded_worker_process():
                serve(BIND)

    def _sign_ins(self, passwords: dict[str, str], tokens: dict[str, str]) -> None:
        self.stdout.write(
            f"\nAPI: http://{BIND}/api/v1/   API documentation: http://{BIND}/api/docs/   Administration: http://{BIND}/admin/"
        )
        self.stdout.write("Users (user name, password, token for `Authorization: Token ...`):")
        for name, password in passwords.items():
            self.stdout.write(f"  {name:18} {password:14} {tokens[name]}")
