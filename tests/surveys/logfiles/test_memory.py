"""A million rows in bounded memory, measured in a process of its own; and nothing heavy loaded before it is needed."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks.log_import import PEAK, log_bytes

ROOT = Path(__file__).parents[3]
MAX_RESIDENT_BYTES = 300_000_000
MILLION = 1_000_000


def run(code: str, *arguments: str) -> dict[str, int]:
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], cwd=ROOT, capture_output=True, text=True, check=True
    )
    found: dict[str, int] = json.loads(done.stdout)
    return found


SET_UP = """
import json, os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
import django
django.setup()
"""
TAKE_IN = (
    PEAK
    + """
from datetime import UTC
from surveys.logfiles.importing import import_file
from surveys.logfiles.format import LogFormat
with open(sys.argv[1], "rb") as file:
    intake = import_file(file, UTC, 10**9, LogFormat.from_json(json.loads(sys.argv[2])))
print(json.dumps({"peak": peak(), "rows": intake.rows_accepted, "size": intake.size_bytes, "stored": intake.blocks.size_bytes}))
"""
)


@pytest.fixture(scope="module")
def million(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A CSV of a million rows and more than 60 MB."""
    file = tmp_path_factory.mktemp("logs") / "million.csv"
    file.write_bytes(log_bytes(MILLION))
    return file


def test_a_million_rows_stay_under_300_mb_and_take_less_than_10_bytes_each(million: Path) -> None:
    found = run(SET_UP + TAKE_IN, str(million), "{}")
    assert found["size"] > 60_000_000
    assert found["rows"] == MILLION
    assert found["peak"] < MAX_RESIDENT_BYTES
    assert found["stored"] <= 10 * MILLION


def test_a_million_rows_of_parquet_stay_under_300_mb(million: Path) -> None:
    import pyarrow.csv as pc
    import pyarrow.parquet as pq

    file = million.with_suffix(".parquet")
    pq.write_table(pc.read_csv(million), file)
    found = run(SET_UP + TAKE_IN, str(file), json.dumps({"form": "parquet"}))
    assert found["rows"] == MILLION
    assert found["peak"] < MAX_RESIDENT_BYTES


def test_setting_up_loads_no_library_that_only_the_intake_needs() -> None:
    loaded = run(
        SET_UP
        + """
import surveys.services.surveys.surveys, surveys.urls
from django.core.management import call_command
call_command("check", stdout=open(os.devnull, "w"))
print(json.dumps({name: name in sys.modules for name in ("pyarrow", "pandas")}))
"""
    )
    assert loaded == {"pyarrow": False, "pandas": False}
