"""Management command that writes a backup."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from surveys.operations.backup.files import BackupError
from surveys.operations.backup.tables import LEFT_OUT
from surveys.operations.backup.taking import BackupSummary, backup_take


class Command(BaseCommand):
    help = (
        "Write a consistent copy of all records to a file, which `restore` loads into SQLite or PostgreSQL. The file contains "
        "secrets: protect it like the database."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="path of the new file")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            summary = backup_take(options["file"], now=timezone.now())
        except BackupError as error:
            raise CommandError(str(error)) from None
        self.stdout.write(summary_text(options["file"], summary))
        left_out = sorted(set(LEFT_OUT.values()))
        self.stdout.write(f"Not included: {'; '.join(left_out)}.")


def summary_text(path: Path, summary: BackupSummary) -> str:
    """Return the number of rows of each table, the total, and the file with its checksum."""
    lines = [f"{count:>12,}  {table}" for table, count in summary.rows.items()]
    lines += [f"{sum(summary.rows.values()):>12,}  rows in total"]
    lines += [f"{path}: {summary.size_bytes:,} bytes, SHA-256 {summary.sha256}"]
    return "\n".join(lines)
