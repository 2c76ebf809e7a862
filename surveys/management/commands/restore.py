"""Management command that restores a backup."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from surveys.management.commands.backup import summary_text
from surveys.operations.backup.files import BackupError
from surveys.operations.backup.restoring import backup_restore


class Command(BaseCommand):
    help = "Load a backup file into a new database created by `migrate`. Loads all records or none."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="path of a file written by `backup`")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            summary = backup_restore(options["file"])
        except BackupError as error:
            raise CommandError(str(error)) from None
        self.stdout.write(summary_text(options["file"], summary))
        self.stdout.write("Restored. The checksum and the number of rows of each table are correct.")
