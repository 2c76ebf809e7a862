"""Preview of a log format on the beginning of a file: the first rows, accepted and rejected."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import datetime, tzinfo

import numpy as np
from numpy.typing import NDArray

from compute.base.messages import Finding
from surveys.core.errors import ServiceError
from surveys.logfiles.codec import decode_block
from surveys.logfiles.columns import Column
from surveys.logfiles.export import iso_times
from surveys.logfiles.format import LogFormat
from surveys.logfiles.importing import import_file
from surveys.logfiles.row_parser import RejectedRow

ROWS_SHOWN = 20
REJECTED_ROWS_SHOWN = 20
MAX_SAMPLE_BYTES = 16 << 20


@dataclass(frozen=True, slots=True)
class Preview:
    """The first rows of a sample: times in UTC, values in the columns' units with None where there is none."""

    columns: tuple[Column, ...]
    ignored_columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[float | None, ...]], ...]
    rows_accepted: int
    rows_rejected: int
    rejected_rows: tuple[RejectedRow, ...]
    findings: tuple[Finding, ...]


def preview(
    log_format: LogFormat,
    sample: bytes,
    zone: tzinfo,
    cut_short: bool = False,
    starts_at: datetime | None = None,
) -> Preview:
    """Read a sample by a log format; nothing is kept. `cut_short`: the file goes on, so the last line is left out.

    Raises ServiceError as the import would: a header that does not match, no readable row.
    """
    if cut_short and log_format.form == "csv":
        sample = _whole_lines(sample, log_format.encoding)
    elif cut_short:
        raise ServiceError("sample-cut-short", field="file")
    intake = import_file(io.BytesIO(sample), zone, MAX_SAMPLE_BYTES, log_format, starts_at)
    times, columns = decode_block(intake.blocks[0][1])
    return Preview(
        intake.columns,
        intake.ignored_columns,
        _rows(times[:ROWS_SHOWN], [columns[column.name][:ROWS_SHOWN] for column in intake.columns]),
        intake.rows_accepted,
        intake.rows_rejected,
        tuple(intake.rejected_rows[:REJECTED_ROWS_SHOWN]),
        intake.findings,
    )


def _rows(
    times: NDArray[np.int64], values: list[NDArray[np.float64]]
) -> tuple[tuple[str, tuple[float | None, ...]], ...]:
    cells = [[None if np.isnan(value) else value for value in column.tolist()] for column in values]
    return tuple(zip(iso_times(times), zip(*cells, strict=True), strict=True))


def _whole_lines(sample: bytes, encoding: str) -> bytes:
    """The sample up to its last line end."""
    end = "\n".encode(
        {"utf-16": "utf-16-be" if sample[:2] == b"\xfe\xff" else "utf-16-le"}.get(encoding, encoding)
    )
    at = sample.rfind(end)
    while at > 0 and at % len(end):  # the bytes of a line end across two characters are none
        at = sample.rfind(end, 0, at + len(end) - 1)
    return sample[: at + len(end)] if at >= 0 else sample
