"""The benchmarks themselves do not rot: each runs once at a small size. Nothing is timed here."""

from __future__ import annotations

import json

import pytest

from tests.benchmarks import __main__ as benchmarks
from tests.benchmarks import workers


def test_every_benchmark_runs_and_prints_a_ratio(capsys: pytest.CaptureFixture[str]) -> None:
    benchmarks.main(2000)
    figures = json.loads(capsys.readouterr().out)
    assert all(figures[name]["ratio"] > 0 for name in ("properties", "intake", "reduction"))


@pytest.mark.needs_postgresql
@pytest.mark.needs_redis
def test_the_benchmark_of_workers_runs_and_turns_nobody_away(capsys: pytest.CaptureFixture[str]) -> None:
    workers.main(surveys=4, items=50, writes=2)
    figures = json.loads(capsys.readouterr().out)
    assert figures["scaling"]["two_to_one"] > 0
    assert figures["fan_out"]["shares_to_single"] > 0
    assert figures["sqlite_clients"]["refused"] == 0
