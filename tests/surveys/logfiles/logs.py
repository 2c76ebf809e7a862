"""Logs for tests: short files written as a logger would, and how they are read."""

from __future__ import annotations

import io
from datetime import UTC, datetime, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from surveys.logfiles.codec import decode_block
from surveys.logfiles.columns_plan import Plan, plan_of
from surveys.logfiles.format import PLAIN, LogFormat
from surveys.logfiles.importing import Intake, import_file

HEADER = "time,transit_time [us],time_difference [ns]"
COPENHAGEN = ZoneInfo("Europe/Copenhagen")
MAX_BYTES = 10_000_000


def read(
    content: str | bytes,
    log_format: LogFormat = PLAIN,
    zone: tzinfo = COPENHAGEN,
    most: int = MAX_BYTES,
    **more: Any,
) -> Intake:
    """Take in a file's content."""
    raw = content.encode() if isinstance(content, str) else content
    return import_file(io.BytesIO(raw), zone, most, log_format, **more)


def readings(intake: Intake) -> tuple[list[int], dict[str, list[float]]]:
    """All times and columns of an intake, in order."""
    blocks = [decode_block(content) for _, content in intake.blocks]
    names = [column.name for column in intake.columns]
    times = np.concatenate([times for times, _ in blocks]).tolist()
    return times, {name: np.concatenate([columns[name] for _, columns in blocks]).tolist() for name in names}


def utc(*moment: int) -> int:
    """A time of UTC in microseconds since 1970."""
    return round(datetime(*moment, tzinfo=UTC).timestamp()) * 1_000_000  # type: ignore[misc,arg-type]


def log_format(**changes: Any) -> LogFormat:
    """Return a log format of three columns by position, with changes."""
    raw: dict[str, Any] = {
        "delimiter": ",",
        "header_line": None,
        "time": {"at": 1},
        "columns": [
            {"name": "transit_time", "at": 2, "unit": "us"},
            {"name": "time_difference", "at": 3, "unit": "ns"},
        ],
    }
    return LogFormat.from_json(raw | changes)


def plan(of: LogFormat, zone: tzinfo = COPENHAGEN, header: tuple[str, ...] | None = None) -> Plan:
    """Return the plan by which rows are read with a log format."""
    return plan_of(of, of.delimiter or ",", header, zone, None)
