"""The check of all records, or of a sample."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TypeVar

from django.db.models import Model, QuerySet

from surveys.models import CombinedResult, Document, Log, Report, Result
from surveys.operations.integrity_check.figures import corrupt_combinations, corrupt_results, outdated
from surveys.operations.integrity_check.files import corrupt_documents, corrupt_logs, corrupt_reports
from surveys.operations.integrity_check.finding import Corruption
from surveys.operations.integrity_check.history import RULES, corrupt_history
from surveys.results.combining import RELATED_OF_PART
from surveys.results.dependencies import REPEATED_FROM
from surveys.results.inputs_in_force import batched

M = TypeVar("M", bound=Model)
BATCH_SIZE = 50


class DataCheck:
    """A check that only reads. `findings` can be read once; `looked_at` then has the number of records of each kind."""

    def __init__(self, sample: int | None = None) -> None:
        """With `sample`, check a random sample of that size of each kind of record. Histories are always checked completely."""
        self._sample = sample
        self.looked_at: Counter[str] = Counter()

    def findings(self) -> Iterator[Corruption]:
        """Every corruption found."""
        yield from corrupt_history()
        self.looked_at["rules of history"] = len(RULES)
        for document in self._some(Document.objects.all(), "documents"):
            yield from corrupt_documents(document)
        for report in self._some(Report.objects.all(), "reports"):
            yield from corrupt_reports(report)
        logs = Log.objects.select_related("survey__measuring_point__pipe__site")
        for log in self._some(logs, "logs"):
            yield from corrupt_logs(log)
        results = Result.objects.select_related(*RELATED_OF_PART).prefetch_related(*REPEATED_FROM)
        for some in batched(self._some(results, "results"), BATCH_SIZE):
            for result in some:
                yield from corrupt_results(result)
            yield from outdated(some)
        for combined in self._some(CombinedResult.objects.select_related("combination"), "combined results"):
            yield from corrupt_combinations(combined)

    def _some(self, rows: QuerySet[M], name: str) -> Iterator[M]:
        """All rows, or a sample; only a few are in memory at a time."""
        keys = rows.model._base_manager.order_by("?" if self._sample is not None else "pk")
        ids = keys.values_list("pk", flat=True)[: self._sample]
        for some in batched(ids.iterator(), BATCH_SIZE):
            for row in rows.filter(pk__in=some).order_by("pk").iterator(chunk_size=BATCH_SIZE):
                self.looked_at[name] += 1
                yield row
