"""Management command that checks the integrity of stored records."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from surveys.operations.integrity_check.everything import DataCheck


class Command(BaseCommand):
    help = (
        "Check stored records: checksums of files, readings against the uploaded log files, results against a recalculation "
        "from the same inputs, and histories for gaps. Changes nothing. Exit status 1 if problems are found."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--sample",
            type=int,
            help="number of records of each kind to check, chosen at random (default: all)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["sample"] is not None and options["sample"] < 1:
            raise CommandError("--sample must be a whole number of at least 1.")
        check, found = DataCheck(options["sample"]), 0
        for finding in check.findings():
            found += 1
            self.stdout.write(str(finding))
        looked_at = ", ".join(f"{count} {name}" for name, count in check.looked_at.items())
        self.stdout.write(f"Checked: {looked_at}.")
        if found:
            raise CommandError(f"{found} problem{'' if found == 1 else 's'} found.", returncode=1)
        self.stdout.write("No problems found.")
