"""Short soak; `python -m tests.surveys.drills.soak` is the full one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.surveys.drills.soak.__main__ import soak
from tests.surveys.drills.soak.assessment import ROWS


@pytest.mark.needs_own_postgresql
@pytest.mark.needs_redis
def test_a_short_soak_with_three_kills_keeps_every_promise(tmp_path: Path) -> None:
    strikes = ["web", "workers", "database-killed"]
    report = soak(15, strikes, tmp_path, SWEEP_SECONDS="1", RECOMPUTATION_LEASE_SECONDS="6")
    assert report["wrong"] == []
    assert {kind: report["acknowledged"].get(kind, 0) > 0 for kind in ROWS} == dict.fromkeys(ROWS, True)
    assert [one["part"] for one in report["faults"] if one["ready_after_s"]] == strikes
