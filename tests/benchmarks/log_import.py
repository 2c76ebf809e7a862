"""Log import against a bare typed parse of the same bytes, from 10,000 readings to ten million.

The floor is pyarrow's CSV reader with its two threads and the type of every column given, in the same run. Peak memory is that
of a separate process with Django set up.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np

from surveys.logfiles.codec import decode_block
from surveys.logfiles.importing import Intake, import_file
from tests.benchmarks.measuring import Figure, Figures, median_seconds, ratio

COLUMNS = (
    "transit_time [us]",
    "time_difference [ns]",
    "flow_velocity [m/s]",
    "volume_flow [m3/h]",
    "sound_speed [m/s]",
    "signal_to_noise [dB]",
)
ROWS_PER_BATCH = 100_000
PEAK = """
# The peak since this program began; ru_maxrss starts from that of the process that began it.
def peak():
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) * 1024 for line in status if line.startswith("VmHWM"))
"""
TAKE_IN = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
import django
django.setup()
from datetime import UTC
from surveys.logfiles.importing import import_file
with open(sys.argv[1], "rb") as file:
    import_file(file, UTC, 10**12)
print(peak())
"""


def log_bytes(count: int) -> bytes:
    """A log of seven columns, ten readings a second, as a meter on a water main would write it; 69 bytes a row."""
    rng = np.random.default_rng(20261006)
    parts = [",".join(["time", *COLUMNS]) + "\n"]
    start = np.datetime64("2026-10-06T09:30:00.000", "ms")
    for first in range(0, count, ROWS_PER_BATCH):
        n = min(ROWS_PER_BATCH, count - first)
        times = np.datetime_as_string(
            start + np.arange(first, first + n) * np.timedelta64(100, "ms")
        ).tolist()
        transit = 311 + rng.normal(0, 0.004, n)
        difference = 170 + rng.normal(0, 0.6, n)
        numbers = (
            transit,
            difference,
            difference * 0.00765,
            difference * 0.87,
            1480 + transit / 100,
            42 + rng.normal(0, 1, n),
        )
        rows = zip(times, *(column.tolist() for column in numbers), strict=True)
        parts += [f"{t},{a:.4f},{b:.3f},{c:.4f},{d:.3f},{e:.2f},{f:.1f}\n" for t, a, b, c, d, e, f in rows]
    return "".join(parts).encode()


def parse_only(content: bytes) -> None:
    """Floor: a typed parse, without checks and storage."""
    import pyarrow as pa
    import pyarrow.csv as pc

    types: dict[str, Any] = {"time": pa.timestamp("us")} | dict.fromkeys(COLUMNS, pa.float64())
    pc.read_csv(pa.BufferReader(content), convert_options=pc.ConvertOptions(column_types=types))


def take(content: bytes) -> Intake:
    """Run the complete import: rows and times checked, file and blocks packed."""
    return import_file(io.BytesIO(content), UTC, 10**12)


def of(count: int, repeats: int) -> Figures:
    """Return the values for a log of a number of readings."""
    content = log_bytes(count)
    intake = take(content)
    # What one log costs however short it is counts in short ones; the target is for long ones.
    target = 2.5 if count >= 1_000_000 else None
    yield ratio(
        "a log taken in, all checks on, to the typed parse of pyarrow",
        lambda: take(content),
        lambda: parse_only(content),
        repeats=repeats, target=target, size=count,
    )  # fmt: skip
    each = median_seconds(lambda: [decode_block(block) for _, block in intake.blocks], repeats)
    yield Figure(what="read back", value=each / count * 1e9, unit="ns", size=count, seconds=each)
    stored = intake.blocks.size_bytes / count
    yield Figure(what="bytes a reading in blocks", value=stored, unit="B", size=count, target=10)
    kept = intake.file_parts.size_bytes / count
    yield Figure(what="bytes a reading of the file as it came", value=kept, unit="B", size=count)
    peak = peak_megabytes(content)
    yield Figure(what="most resident memory", value=peak, unit="MB", size=count, target=300)


def peak_megabytes(content: bytes) -> float:
    """Return the peak resident memory of a process that imports such a log."""
    with tempfile.NamedTemporaryFile(suffix=".csv") as file:
        file.write(content)
        file.flush()
        done = subprocess.run(
            [sys.executable, "-c", PEAK + TAKE_IN, file.name],
            cwd=Path(__file__).parents[2],
            capture_output=True,
            text=True,
            check=True,
        )
    return round(int(done.stdout) / 1e6, 1)


def figures(small: bool) -> Figures:
    for count in (2_000,) if small else (10_000, 100_000, 1_000_000, 10_000_000):
        yield from of(count, 1 if small else 9 if count <= 1_000_000 else 3)
