"""The benchmark of recomputation does not rot: it runs at a small size, and its log is one the service reduces. Nothing is timed."""

from __future__ import annotations

import json

import pytest

from tests.benchmarks import recompute


def test_it_runs_and_prints_its_ratios(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recompute, "REPEATS", 1)
    recompute.main(2000)
    figures = json.loads(capsys.readouterr().out)
    assert figures["logs"][0]["ratio_to_formula"] > 0
    assert figures["short"]["surveys_a_second"] > 0


def test_its_log_comes_back_as_the_flow_it_was_made_from() -> None:
    reduction = recompute.recomputed(recompute.made_log(70_000))
    assert reduction.readings_used == 70_000
    assert reduction.mean_velocity == pytest.approx(1.2, rel=5e-3)
