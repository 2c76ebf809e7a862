"""The benchmark of workers does not rot: its parts run once at a small size on one database. Nothing is timed here.

The clients it lets write to SQLite are those of the drill.
"""

from __future__ import annotations

import pytest

from tests.benchmarks import workers


@pytest.mark.needs_postgresql
@pytest.mark.needs_redis
def test_the_benchmark_of_workers_tells_rates_ratios_and_waits() -> None:
    with workers.database() as url, workers.started(DATABASE_URL=url) as processes:
        processes.seed(2, 40)
        assert workers.idle_latency(url, 2)["worst_ms"] > 0
        assert workers.scaling(url, 2)["two_to_one"] > 0
        assert workers.fan_out(url, 50)["shares_to_single"] > 0
