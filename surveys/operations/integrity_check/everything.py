"""The whole check, or that of a sample."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TypeVar

from django.db.models import Model, QuerySet

from surveys.models import CombinedResult, Document, Log, Report, Result
from surveys.operations.integrity_check.figures import combined_spoilt, outdated, result_spoilt
from surveys.operations.integrity_check.files import document_spoilt, log_spoilt, report_spoilt
from surveys.operations.integrity_check.finding import Spoilt
from surveys.operations.integrity_check.history import RULES, history_spoilt
from surveys.results.combining import RELATED_OF_PART
from surveys.results.inputs_in_force import batched

M = TypeVar("M", bound=Model)
AT_ONCE = 50


class DataCheck:
    """Reads; writes nothing. `findings` may be asked once; `looked_at` then tells how many of what were looked at."""

    def __init__(self, sample: int | None = None) -> None:
        """With `sample`, so many of each kind of record, taken by lot, instead of all. History is always looked at whole."""
        self._sample = sample
        self.looked_at: Counter[str] = Counter()

    def findings(self) -> Iterator[Spoilt]:
        """Everything that is not as it should be."""
        yield from history_spoilt()
        self.looked_at["rules of history"] = len(RULES)
        for document in self._some(Document.objects.all(), "documents"):
            yield from document_spoilt(document)
        for report in self._some(Report.objects.all(), "reports"):
            yield from report_spoilt(report)
        logs = Log.objects.select_related("survey__measuring_point__pipe__site")
        for log in self._some(logs, "logs"):
            yield from log_spoilt(log)
        results = Result.objects.select_related(*RELATED_OF_PART).prefetch_related(
            "calibrations__points", "corrected_for", "as_found__points", "survey_data__instruments"
        )
        for some in batched(self._some(results, "results"), AT_ONCE):
            for result in some:
                yield from result_spoilt(result)
            yield from outdated(some)
        for combined in self._some(CombinedResult.objects.select_related("combination"), "combined results"):
            yield from combined_spoilt(combined)

    def _some(self, rows: QuerySet[M], name: str) -> Iterator[M]:
        """All rows, or a sample; few at a time are in memory."""
        keys = rows.model._base_manager.order_by("?" if self._sample is not None else "pk")
        ids = keys.values_list("pk", flat=True)[: self._sample]
        for some in batched(ids.iterator(), AT_ONCE):
            for row in rows.filter(pk__in=some).order_by("pk").iterator(chunk_size=AT_ONCE):
                self.looked_at[name] += 1
                yield row
