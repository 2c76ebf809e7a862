"""One run of each benchmark at a small size by the usual command, without time limits."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks import recompute
from tests.benchmarks.registry import BENCHMARKS, PARTS
from tests.surveys.drills.processes import ROOT


def _marked(name: str) -> object:
    benchmark = BENCHMARKS[name]
    marks = [pytest.mark.needs_postgresql] if benchmark.database == "PostgreSQL" else []
    return pytest.param(name, marks=[*marks, pytest.mark.needs_redis] if benchmark.broker else marks)


@pytest.mark.parametrize("name", [_marked(name) for name in BENCHMARKS])
def test_each_benchmark_runs_and_returns_numbers(name: str, tmp_path: Path) -> None:
    path = tmp_path / "figures.json"
    command = [sys.executable, "-m", "tests.benchmarks", name, "--small", "--json", str(path)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    figures = json.loads(path.read_text())
    assert figures
    assert all(math.isfinite(figure["value"]) and figure["value"] >= 0 for figure in figures)


def test_every_module_here_is_a_benchmark_or_a_part_of_some() -> None:
    modules = {file.stem for file in Path(__file__).parent.glob("*.py")}
    known = {benchmark.module for benchmark in BENCHMARKS.values()} | set(PARTS)
    assert {name for name in modules if not name.startswith(("test_", "__"))} == known


def test_the_log_recomputed_comes_back_as_the_flow_it_was_made_from() -> None:
    reduction = recompute.recomputed(recompute.example_log(70_000))
    assert reduction.readings_used == 70_000
    assert reduction.mean_velocity == pytest.approx(1.2, rel=5e-3)
