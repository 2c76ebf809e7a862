"""The check of data."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from surveys.data_check.everything import DataCheck


class Command(BaseCommand):
    help = (
        "Check that stored files have their checksums, logs the readings of their files, results the figures of what they rest "
        "on, and histories no gap. Prints findings and exits 1 if there are any. Changes nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--sample", type=int, help="so many records of each kind, by lot, instead of all")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["sample"] is not None and options["sample"] < 1:
            raise CommandError("--sample is a whole number from 1.")
        check, found = DataCheck(options["sample"]), 0
        for finding in check.findings():
            found += 1
            self.stdout.write(str(finding))
        looked_at = ", ".join(f"{count} {name}" for name, count in check.looked_at.items())
        self.stdout.write(f"Looked at {looked_at}.")
        if found:
            raise CommandError(f"{found} findings.", returncode=1)
        self.stdout.write("Nothing is amiss.")
