"""Management command that recalculates results with the current method version."""

from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from compute.results.survey import METHOD_VERSION, METHODS
from surveys.core.errors import ServiceError
from surveys.core.messages import error_text
from surveys.models import User
from surveys.services.results.recomputations import method_preview, recompute_by_method


class Command(BaseCommand):
    help = "Recalculate results of earlier method versions. --dry-run only shows the changes."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--since", required=True, help="date of the earliest survey, e.g. 2026-01-31")
        parser.add_argument("--dry-run", action="store_true", help="show the changes and store nothing")
        parser.add_argument(
            "--by", help="user name of the person who requests the recalculation; required without --dry-run"
        )
        parser.add_argument("--reason", default=f"method version {METHOD_VERSION}: {METHODS[-1].change}")

    def handle(self, *args: Any, **options: Any) -> None:
        since = _date(options["since"])
        if options["dry_run"]:
            self._preview(since)
            return
        by = User.objects.filter(username=options["by"] or "").first()
        if by is None:
            raise CommandError(
                "Enter --by USERNAME, the user name of the person who requests the recalculation."
            )
        try:
            recomputation = recompute_by_method(
                since=since, reason=options["reason"], by=by, now=timezone.now()
            )
        except ServiceError as error:
            raise CommandError(error_text(error)) from None
        self.stdout.write(
            f"Recalculation {recomputation.pk}: surveys to recalculate: {recomputation.items.count()}."
        )

    def _preview(self, since: datetime) -> None:
        count = notices = failed = 0
        for change in method_preview(since):
            count += 1
            if change.error:
                failed += 1
                self.stdout.write(f"{change.before.survey_id}  cannot be calculated: {change.error}")
                continue
            notices += change.exceeds_threshold
            before, after = change.before.volume_flow_m3_s, change.volume_flow_m3_s
            relative = (
                f"{100 * change.relative_change:+.3f} %" if change.relative_change is not None else "from 0"
            )
            self.stdout.write(
                f"{change.before.survey_id}  {before * 3600:.3f} -> {after * 3600:.3f} m³/h  {relative}"
                + ("  client notified" if change.exceeds_threshold else "")
            )
        self.stdout.write(
            f"Method version {METHOD_VERSION}: surveys to recalculate: {count}; client notices: {notices}; failures: {failed}."
        )


def _date(text: str) -> datetime:
    try:
        return datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError:
        raise CommandError(f"{text!r} is not a date. Enter a date such as 2026-01-31.") from None
