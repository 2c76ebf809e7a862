"""The benchmarks themselves do not rot: each runs once at a small size. Nothing is timed here."""

from __future__ import annotations

import json

import pytest

from tests.benchmarks import __main__ as benchmarks


def test_every_benchmark_runs_and_prints_a_ratio(capsys: pytest.CaptureFixture[str]) -> None:
    benchmarks.main(2000)
    figures = json.loads(capsys.readouterr().out)
    assert all(figures[name]["ratio"] > 0 for name in ("properties", "intake", "reduction"))
