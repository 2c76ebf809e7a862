"""The benchmarks themselves do not rot: each runs once at a small size. Nothing is timed here."""

from __future__ import annotations

import json

import pytest

from tests.benchmarks import __main__ as benchmarks
from tests.benchmarks import intake


def test_every_benchmark_runs_and_prints_a_ratio(capsys: pytest.CaptureFixture[str]) -> None:
    benchmarks.main(2000)
    figures = json.loads(capsys.readouterr().out)
    assert all(figures[name]["ratio"] > 0 for name in ("properties", "intake", "reduction"))


def test_the_intake_is_measured_against_its_floor_with_its_memory(capsys: pytest.CaptureFixture[str]) -> None:
    intake.main([2000])
    figures = json.loads(capsys.readouterr().out)
    assert figures["readings"] == 2000
    assert figures["ratio"] > 0
    assert 0 < figures["bytes_a_reading"] < 10
    assert 20 < figures["peak_megabytes"] < 300
