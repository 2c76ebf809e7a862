"""Assembly of a log from pieces in order: times to UTC, rejected rows with their line, checks, packed blocks."""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from compute.base.messages import Finding
from compute.base.unit_table import unit_named
from compute.logs.checks import LogCheck
from surveys.logfiles.codec import BLOCK_ROWS, encode_block
from surveys.logfiles.columns import TIME
from surveys.logfiles.columns_plan import Plan
from surveys.logfiles.notes import zone_findings
from surveys.logfiles.row_parser import Piece, RejectedRow
from surveys.logfiles.storage import Blocks
from surveys.logfiles.zones import EPOCH, LocalClock, moment_of

REJECTED_ROWS_LISTED = 100
BLOCKS_WAITING = 4
Readings = tuple[NDArray[np.int64], dict[str, NDArray[np.float64]]]


class LogAssembler:
    """What comes of a log's pieces. `crew` packs the blocks; without one they are packed at once."""

    def __init__(self, plan: Plan, first_line: int, crew: ThreadPoolExecutor) -> None:
        self.plan, self.line = plan, first_line
        self._crew = crew
        self._clock = LocalClock(plan.zone)
        self._check = LogCheck({c.name: unit_named(c.unit, c.kind) for c in plan.columns})
        self._held: list[Readings] = []
        self._held_count = 0
        self._packing: deque[Future[tuple[int, bytes]]] = deque()
        self._ends: list[int] = []
        self.blocks = Blocks()
        self.rows_rejected = 0
        self.rejected_rows: list[RejectedRow] = []

    def take(self, piece: Piece) -> None:
        """The next piece of the file."""
        times, columns = self._settled(piece)
        self.line += piece.lines
        if not len(times):
            return
        self._ends += [int(times.min()), int(times.max())]
        self._held.append((times, columns))
        self._held_count += len(times)
        while self._held_count >= BLOCK_ROWS:
            self._pack(BLOCK_ROWS)

    def finish(self) -> None:
        """Pack what is left."""
        if self._held_count:
            self._pack(self._held_count)
        self._store(0)

    @property
    def first_reading_at(self) -> datetime:
        """The earliest time of a reading."""
        return moment_of(min(self._ends)) if self._ends else EPOCH

    @property
    def last_reading_at(self) -> datetime:
        """The latest time of a reading."""
        return moment_of(max(self._ends)) if self._ends else EPOCH

    def findings(self) -> tuple[Finding, ...]:
        """The findings on the log."""
        return (*zone_findings(self.plan, self._clock), *self._check.findings())

    def _settled(self, piece: Piece) -> Readings:
        rejected_rows = [RejectedRow(self.line + r.line, r.column, r.reason) for r in piece.rejected_rows]
        times, columns = piece.times, piece.columns
        if piece.local.any():
            times, absent = self._in_utc(piece)
            if absent.any():
                rejected_rows += [
                    RejectedRow(
                        self.line + int(piece.at[n]), TIME, self._clock.skipped_hour(int(piece.times[n]))
                    )
                    for n in np.flatnonzero(absent)[:REJECTED_ROWS_LISTED]
                ]
                rejected_rows.sort(key=lambda row: row.line)
                self.rows_rejected += max(int(absent.sum()) - REJECTED_ROWS_LISTED, 0)
                times = times[~absent]
                columns = {name: values[~absent] for name, values in columns.items()}
        self.rows_rejected += len(rejected_rows)
        self.rejected_rows += rejected_rows[: REJECTED_ROWS_LISTED - len(self.rejected_rows)]
        return times, columns

    def _in_utc(self, piece: Piece) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        if piece.local.all():
            return self._clock.in_utc(piece.times)
        local = np.flatnonzero(piece.local)
        times, absent = piece.times.copy(), np.zeros(len(piece.times), dtype=bool)
        times[local], absent[local] = self._clock.in_utc(piece.times[local])
        return times, absent

    def _pack(self, count: int) -> None:
        """Cut a block off what is held, check it and have it packed."""
        times = np.concatenate([part for part, _ in self._held])
        columns = {
            column.name: np.concatenate([part[column.name] for _, part in self._held])
            for column in self.plan.columns
        }
        block = times[:count], {name: values[:count] for name, values in columns.items()}
        self._held = [(times[count:], {name: values[count:] for name, values in columns.items()})]
        self._held_count -= count
        self._check.feed(*block)
        self._packing.append(self._crew.submit(_packed, *block))
        self._store(BLOCKS_WAITING)

    def _store(self, waiting: int) -> None:
        while len(self._packing) > waiting:
            self.blocks.append(*self._packing.popleft().result())


def _packed(times: NDArray[np.int64], columns: dict[str, NDArray[np.float64]]) -> tuple[int, bytes]:
    return len(times), encode_block(times, columns)
