"""A backup into an empty database."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from surveys.backup.restoring import backup_restore
from surveys.errors import ServiceError
from surveys.management.commands.backup import sentences


class Command(BaseCommand):
    help = "Put a file made by `backup` into a new database that `migrate` has made: all of it, or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="a file made by `backup`")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            told = backup_restore(options["file"])
        except ServiceError as error:
            raise CommandError(error.detail) from None
        self.stdout.write(sentences(options["file"], told))
        self.stdout.write("Restored: the checksum is right, and each table has the rows it had.")
