"""Uploaded PDF files, stored unchanged: certificates of calibrations, documents of instruments."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime
from typing import IO

import zstandard
from django.db import transaction

from surveys.core.errors import Conflict, ServiceError
from surveys.models import Calibration, Document, DocumentPart, Instrument, Qualification, User
from surveys.models.document import MAX_DOCUMENT_BYTES
from surveys.services.fleet.calibrations import instrument_lock

MAX_BYTES = MAX_DOCUMENT_BYTES
PART_BYTES = 1 << 20
# ISO 32000-1:2008 7.5.2 and 7.5.5: a header with the version, at the end a marker (from memory). Readers look for the
# marker in the last kilobyte.
HEADER = re.compile(rb"%PDF-[12]\.[0-9]")
END_MARKER, LAST_BYTES = b"%%EOF", 1024


@dataclass(frozen=True, slots=True)
class File:
    """An uploaded file: its size, checksum and compressed parts."""

    size_bytes: int
    sha256: str
    parts: tuple[bytes, ...]


def pdf_read(source: IO[bytes]) -> File:
    """Read a PDF and check its first and last bytes; its content is not examined.

    Raises ServiceError for a file that is not a PDF or is too large, without reading further.
    """
    digest, size, parts, tail = hashlib.sha256(), 0, [], b""
    while data := source.read(PART_BYTES):
        if not size and not HEADER.match(data):
            raise ServiceError("not-a-pdf", field="file")
        size += len(data)
        if size > MAX_BYTES:
            raise ServiceError("file-too-large/pdf", field="file", limit_mb=MAX_BYTES // 1_000_000)
        digest.update(data)
        parts.append(zstandard.ZstdCompressor(level=3, write_content_size=True).compress(data))
        tail = (tail + data)[-LAST_BYTES:]
    if not size:
        raise ServiceError("file-empty", field="file")
    if END_MARKER not in tail:
        raise ServiceError("pdf-cut-off", field="file")
    return File(size, digest.hexdigest(), tuple(parts))


def certificate_attach(
    *, calibration: Calibration, file: IO[bytes], file_name: str, by: User, now: datetime
) -> tuple[Document, bool]:
    """Store the certificate's file. Returns it, and whether it is new: the same file again changes nothing.

    Raises Conflict if the calibration already has another file, ServiceError for a file that is not a PDF.
    """
    taken = pdf_read(file)
    with transaction.atomic():
        instrument_lock(calibration.instrument_id)
        known = Document.objects.filter(calibration=calibration).first()
        if known is not None:
            if known.sha256 != taken.sha256:
                raise Conflict("certificate-exists/calibration", field="file")
            return known, False
        document = Document(calibration=calibration, file_name=file_name, received_by=by, received_at=now)
        return _store(document, taken), True


@transaction.atomic
def qualification_attach(
    *, qualification: Qualification, file: IO[bytes], file_name: str, by: User, now: datetime
) -> tuple[Document, bool]:
    """Store the certificate of a qualification; as `certificate_attach`."""
    taken = pdf_read(file)
    Qualification.objects.select_for_update().get(pk=qualification.pk)
    known = Document.objects.filter(qualification=qualification).first()
    if known is None:
        document = Document(qualification=qualification, file_name=file_name, received_by=by, received_at=now)
        return _store(document, taken), True
    if known.sha256 != taken.sha256:
        raise Conflict("certificate-exists/qualification", field="file")
    return known, False


def document_add(
    *, instrument: Instrument, document: Document, file: IO[bytes], by: User, now: datetime
) -> tuple[Document, bool]:
    """Store a document of an instrument. Returns it, and whether it is new: the same file again changes nothing."""
    taken = pdf_read(file)
    with transaction.atomic():
        instrument_lock(instrument.pk)
        if known := Document.objects.filter(instrument=instrument, sha256=taken.sha256).first():
            return known, False
        document.instrument, document.received_by, document.received_at = instrument, by, now
        return _store(document, taken), True


def _store(document: Document, taken: File) -> Document:
    document.size_bytes, document.sha256 = taken.size_bytes, taken.sha256
    document.save(force_insert=True)
    DocumentPart.objects.bulk_create(
        [DocumentPart(document=document, sequence=n, content=part) for n, part in enumerate(taken.parts)],
        batch_size=4,
    )
    return document
