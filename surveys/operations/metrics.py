"""The figures for Prometheus that no request counts: the backlog, the queue, the tasks, the instruments overdue."""

from __future__ import annotations

from collections.abc import Iterator

import redis
from django.conf import settings
from django.db import DatabaseError
from django.db.models import Count, Min
from django.utils import timezone
from prometheus_client import REGISTRY, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from surveys.calibration.due_list import counts_of, due_rows, office_today
from surveys.models import Instrument, Recomputation, RecomputationItem
from surveys.models.instrument import State
from surveys.operations.broker_health import QUEUE, SECONDS, TASKS, connected, sweep_age_seconds

OPEN = (RecomputationItem.State.WAITING, RecomputationItem.State.RUNNING)


class FleetCollector(Collector):
    """Collected at each scrape."""

    def collect(self) -> Iterator[Metric]:
        """The figures; of a part that does not answer, that it does not."""
        yield from _collected(
            "surveys_database_up", "Whether the database answered.", DatabaseError, _of_records
        )
        if settings.CELERY_BROKER_URL:
            yield from _collected(
                "surveys_broker_up", "Whether the broker answered.", redis.RedisError, _of_broker
            )

    def describe(self) -> list[Metric]:
        """Nothing is asked when it is registered."""
        return []


def metrics_text() -> bytes:
    """All figures in the text format of Prometheus."""
    return generate_latest(REGISTRY)


def _collected(name: str, help_text: str, error: type[Exception], figures: object) -> Iterator[Metric]:
    try:
        found = list(figures())  # type: ignore[operator]
    except error:
        yield GaugeMetricFamily(name, help_text, value=0)
        return
    yield GaugeMetricFamily(name, help_text, value=1)
    yield from found


def _of_records() -> Iterator[Metric]:
    now = timezone.now()
    backlog = GaugeMetricFamily(
        "surveys_recomputation_backlog",
        "Surveys and combinations waiting to be recomputed, or being.",
        labels=["state"],
    )
    items = RecomputationItem.objects.order_by()
    counted = dict(
        items.filter(state__in=OPEN).values_list("state").annotate(n=Count("pk")).values_list("state", "n")
    )
    for state in OPEN:
        backlog.add_metric([state], counted.get(state, 0))
    yield backlog
    failed = Recomputation.objects.filter(state=Recomputation.State.FINISHED_WITH_FAILURES).count()
    yield GaugeMetricFamily("surveys_recomputations_failed", "Recomputations with failures.", value=failed)
    oldest = items.filter(state=RecomputationItem.State.WAITING, run_after__lte=now).aggregate(
        at=Min("run_after")
    )["at"]
    age = (now - oldest).total_seconds() if oldest else 0.0
    yield GaugeMetricFamily("surveys_queue_age_seconds", "How long the oldest work has waited.", value=age)
    instruments = list(Instrument.objects.exclude(state=State.RETIRED))
    due = GaugeMetricFamily(
        "surveys_instruments", "Instruments in use, by how their calibration stands.", labels=["status"]
    )
    for status, count in counts_of(due_rows(instruments, office_today(now))).items():
        due.add_metric([status], count)
    yield due


def _of_broker() -> Iterator[Metric]:
    with connected() as broker:
        waiting, age = broker.llen(QUEUE), sweep_age_seconds(broker, timezone.now())
        counts, seconds = broker.hgetall(TASKS), broker.hgetall(SECONDS)
    yield GaugeMetricFamily("surveys_broker_messages", "Messages no worker has taken.", value=waiting)
    if age is not None:
        yield GaugeMetricFamily("surveys_sweep_age_seconds", "How long ago the last sweep was.", value=age)
    tasks = CounterMetricFamily("surveys_tasks", "Tasks ended.", labels=["task", "state"])
    for name, count in counts.items():
        tasks.add_metric(name.split("|"), int(count))
    yield tasks
    spent = CounterMetricFamily("surveys_task_seconds", "Time spent in tasks.", labels=["task"])
    for name, of_task in seconds.items():
        spent.add_metric([name], float(of_task))
    yield spent


REGISTRY.register(FleetCollector())
