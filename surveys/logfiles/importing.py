"""Import of a logger's file: streamed, every row accepted or rejected with its reason, the file kept unchanged.

The rows are read by a log format; without one by the plain log format: UTF-8 text; one header line; a comma,
semicolon or tab between the columns; a decimal point. Its first column is `time` (ISO 8601; without an
offset it is the site's local time); the others are named quantities with their unit, such as
`transit_time [us]`. Columns of other names are ignored.

Memory stays bounded whatever the file's size: it is read in chunks, and kept on disk beyond a limit.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from tempfile import TemporaryFile
from typing import IO

from compute.base.messages import Finding
from surveys.core.errors import ServiceError
from surveys.logfiles.assembly import LogAssembler
from surveys.logfiles.codec import BLOCK_ROWS
from surveys.logfiles.columns import Column
from surveys.logfiles.format import PLAIN, LogFormat
from surveys.logfiles.parquet_reader import parquet_open, parquet_pieces, parquet_plan
from surveys.logfiles.row_parser import RejectedRow
from surveys.logfiles.storage import Blocks, FileParts, FileStore
from surveys.logfiles.text import chunks
from surveys.logfiles.text_reader import text_pieces, text_plan
from surveys.logfiles.zones import EPOCH

__all__ = ["BLOCK_ROWS", "Intake", "RejectedRow", "import_file"]

# Threads that parse and pack besides the reading thread; more do not help one file.
CREW = 2


@dataclass(slots=True)
class Intake:
    """An imported file: the file itself in compressed parts, its readings in blocks, and findings.

    `file_parts` and `blocks` may lie on disk: store them a batch at a time (`blocks.batches(16)`).
    """

    columns: tuple[Column, ...] = ()
    ignored_columns: tuple[str, ...] = ()
    size_bytes: int = 0
    sha256: str = ""
    file_parts: FileParts = field(default_factory=FileParts)
    blocks: Blocks = field(default_factory=Blocks)
    rows_accepted: int = 0
    rows_rejected: int = 0
    rejected_rows: list[RejectedRow] = field(default_factory=list)
    first_reading_at: datetime = EPOCH
    last_reading_at: datetime = EPOCH
    findings: tuple[Finding, ...] = ()


def import_file(
    source: IO[bytes],
    zone: tzinfo,
    most_bytes: int,
    log_format: LogFormat = PLAIN,
    starts_at: datetime | None = None,
) -> Intake:
    """Read a whole file. `zone` is for times without an offset, `starts_at` for a log format of elapsed seconds.

    Raises ServiceError for a file that cannot be imported: no header, no usable columns, no readable row,
    not text (or no Parquet), too large.
    """
    log_format.check()
    crew = ThreadPoolExecutor(CREW, thread_name_prefix="intake")
    try:
        kept = FileStore(source, most_bytes, crew)
        read = _parquet_read if log_format.form == "parquet" else _text_read
        assembler = read(kept, log_format, zone, starts_at, crew)
    finally:
        crew.shutdown(cancel_futures=True)
    if not assembler.blocks.readings:
        first = next(iter(assembler.rejected_rows), None)
        raise ServiceError(
            "no-readings",
            field="file",
            line=first.line if first else None,
            column=first.column or None if first else None,
            reason=first.reason if first else None,
        )
    return Intake(
        columns=assembler.plan.columns,
        ignored_columns=assembler.plan.unread,
        size_bytes=kept.size_bytes,
        sha256=kept.sha256,
        file_parts=kept.parts,
        blocks=assembler.blocks,
        rows_accepted=assembler.blocks.readings,
        rows_rejected=assembler.rows_rejected,
        rejected_rows=assembler.rejected_rows,
        first_reading_at=assembler.first_reading_at,
        last_reading_at=assembler.last_reading_at,
        findings=assembler.findings(),
    )


def _text_read(
    kept: FileStore, log_format: LogFormat, zone: tzinfo, starts_at: datetime | None, crew: ThreadPoolExecutor
) -> LogAssembler:
    stream = chunks(kept.read_piece, log_format.encoding)
    plan, rows, first_line = text_plan(stream, log_format, zone, starts_at)
    assembler = LogAssembler(plan, first_line, crew)
    for piece in text_pieces(rows, plan, first_line, crew):
        assembler.take(piece)
    assembler.finish()
    return assembler


def _parquet_read(
    kept: FileStore, log_format: LogFormat, zone: tzinfo, starts_at: datetime | None, crew: ThreadPoolExecutor
) -> LogAssembler:
    """Parquet is read from its end, so the file goes to disk first."""
    with TemporaryFile() as file:
        while part := kept.read_piece():
            file.write(part)
        parquet = parquet_open(file)
        plan = parquet_plan(parquet, log_format, zone, starts_at)
        # Rows of a Parquet file have no lines: they are counted from 1.
        assembler = LogAssembler(plan, 1, crew)
        for piece in parquet_pieces(parquet, plan):
            assembler.take(piece)
        assembler.finish()
        return assembler
