"""The sample logs are read as they were made to be."""

from __future__ import annotations

import json
import runpy
from pathlib import Path
from typing import Any

import pytest

from surveys.core.errors import ServiceError
from surveys.logfiles.detection import detect_format
from surveys.logfiles.format import LogFormat
from tests.surveys.logfiles.logs import read

FIXTURES = Path(__file__).parents[3] / "fixtures"
FOLDER = FIXTURES / "logs" / "samples"
SAMPLES: list[dict[str, Any]] = json.loads((FOLDER / "samples.json").read_text(encoding="utf-8"))
GOOD = [sample for sample in SAMPLES if sample["rows_accepted"]]


def test_the_samples_agree_with_their_script(tmp_path: Path) -> None:
    runpy.run_path(str(FIXTURES / "make_sample_logs.py"))["main"](tmp_path)
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == {
        file.name: file.read_bytes() for file in FOLDER.iterdir()
    }


@pytest.mark.parametrize("sample", GOOD, ids=[sample["file"] for sample in GOOD])
def test_a_sample_is_read_by_its_log_format(sample: dict[str, Any]) -> None:
    intake = read((FOLDER / sample["file"]).read_bytes(), LogFormat.from_json(sample["log_format"]))
    assert (intake.rows_accepted, intake.rows_rejected) == (sample["rows_accepted"], sample["rows_rejected"])
    assert [finding.code for finding in intake.findings] == sample["findings"]


def test_corrupt_rows_are_named_one_by_one() -> None:
    intake = read((FOLDER / "bad-rows.csv").read_bytes())
    assert [(r.line, r.column) for r in intake.rejected_rows] == [
        (12, "transit_time"), (22, ""), (32, "time"), (42, ""), (52, "")
    ]  # fmt: skip


def test_a_sample_without_usable_columns_is_rejected() -> None:
    with pytest.raises(ServiceError) as caught:
        read((FOLDER / "bad-header.csv").read_bytes())
    assert caught.value.code == "columns-missing"


@pytest.mark.parametrize(
    "name", ["plain.csv", "semicolons-decimal-commas.csv", "two-byte-tabs-counted-backwards.txt"]
)
def test_the_detected_format_of_a_sample_reads_all_its_rows(name: str) -> None:
    content = (FOLDER / name).read_bytes()
    detection = detect_format(content)
    if name.startswith("semicolons"):
        # "T mean" is no word for a transit time: the guess says so and takes no column for it.
        assert "columns-not-detected" in [warning.code for warning in detection.warnings]
    else:
        assert read(content, detection.log_format).rows_accepted == 120
