"""Stored files against their checksums, and the readings of logs against the files they came from."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from tempfile import TemporaryFile
from typing import IO

import numpy as np
import zstandard
from numpy.typing import NDArray

from surveys.core.errors import ServiceError
from surveys.core.messages import error_text
from surveys.logfiles.codec import decode_block
from surveys.logfiles.format import LogFormat
from surveys.logfiles.importing import Intake, import_file
from surveys.models import Document, Log, Report
from surveys.operations.integrity_check.finding import Corruption
from surveys.pipes.selectors import kept_file

# Zones differ by whole quarters of an hour [us].
QUARTER = 900_000_000
# What unpacking and decoding spoilt bytes raises: of the packer, of the numbers, of the header.
UNREADABLE = (zstandard.ZstdError, ServiceError, ValueError, KeyError, TypeError, IndexError, MemoryError)


def corrupt_documents(document: Document) -> Iterator[Corruption]:
    """Check that the parts of a document give the uploaded file."""
    digest, size = hashlib.sha256(), 0
    try:
        for piece in kept_file(document.parts):
            digest.update(piece)
            size += len(piece)
    except zstandard.ZstdError as error:
        yield Corruption(
            "document-unreadable", f"document {document.pk}", f"A part cannot be decompressed: {error}."
        )
        return
    if (digest.hexdigest(), size) != (document.sha256, document.size_bytes):
        yield Corruption(
            "document-altered", f"document {document.pk}", _wrong_file_error(size, document.size_bytes)
        )


def corrupt_reports(report: Report) -> Iterator[Corruption]:
    """Check that the PDF of a report is the one that was issued."""
    if hashlib.sha256(report.content).hexdigest() != report.sha256:
        yield Corruption("report-altered", f"report {report.pk}", "The PDF is not the one that was issued.")


def corrupt_logs(log: Log) -> Iterator[Corruption]:
    """Check that the parts of a log give the uploaded file, and that the file gives the stored readings, to the bit."""
    name, digest, size = f"log {log.pk}", hashlib.sha256(), 0
    with TemporaryFile() as file:
        try:
            for piece in kept_file(log.file_parts):
                digest.update(piece)
                size += len(piece)
                file.write(piece)
        except zstandard.ZstdError as error:
            yield Corruption(
                "log-file-unreadable", name, f"A part of the file cannot be decompressed: {error}."
            )
            return
        if (digest.hexdigest(), size) != (log.sha256, log.size_bytes):
            yield Corruption("log-file-altered", name, _wrong_file_error(size, log.size_bytes))
            return
        file.seek(0)
        yield from _corrupt_readings(log, name, file)


def _corrupt_readings(log: Log, name: str, file: IO[bytes]) -> Iterator[Corruption]:
    started_at = log.survey.data.order_by("recorded_at", "id").values_list("started_at", flat=True)[0]
    zone = log.survey.measuring_point.pipe.site.zone
    try:
        again = import_file(file, zone, log.size_bytes, LogFormat.from_json(log.format), started_at)
    except ServiceError as error:
        yield Corruption("log-not-read-again", name, f"The file cannot be read: {error_text(error)}")
        return
    if again.rows_accepted != log.rows_accepted or len(again.blocks) != log.blocks.count():
        yield Corruption(
            "readings-missing",
            name,
            f"The file has {again.rows_accepted} readings in {len(again.blocks)} blocks; the log has {log.rows_accepted} readings "
            f"in {log.blocks.count()} stored blocks.",
        )
        return
    yield from _corrupt_blocks(log, name, again)


def _corrupt_blocks(log: Log, name: str, again: Intake) -> Iterator[Corruption]:
    stored = log.blocks.order_by("sequence").values_list("sequence", "count", "content").iterator(2)
    for n, ((sequence, count, content), (count_again, content_again)) in enumerate(
        zip(stored, again.blocks, strict=True)
    ):
        if (sequence, count) != (n, count_again):
            yield Corruption(
                "readings-missing",
                name,
                f"Block {n} with {count_again} readings is missing; block {sequence} with {count} readings is stored instead.",
            )
            return
        try:
            same = _same_readings(bytes(content), content_again)
        except UNREADABLE as error:
            yield Corruption("readings-unreadable", name, f"Block {n} cannot be decompressed: {error}.")
            continue
        if not same:
            yield Corruption("readings-altered", name, f"The readings of block {n} differ from the file.")


def _same_readings(one: bytes, other: bytes) -> bool:
    if one == other:
        return True
    # Another version of the packer may give other bytes for the same readings.
    (times, columns), (times_again, columns_again) = decode_block(one), decode_block(other)
    return (
        columns.keys() == columns_again.keys()
        and len(times) == len(times_again)
        and _same_bits(times % QUARTER, times_again % QUARTER)
        and all(_same_bits(columns[name], columns_again[name]) for name in columns)
    )


def _same_bits(one: NDArray[np.generic], other: NDArray[np.generic]) -> bool:
    return one.tobytes() == other.tobytes()


def _wrong_file_error(size: int, wanted: int) -> str:
    return f"The stored file ({size} bytes) differs from the uploaded file ({wanted} bytes): the SHA-256 is different."
