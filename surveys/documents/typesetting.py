"""Typesetting of documents and labels to PDF.

Records are passed as data, never as source, so that hostile text stays text. The same source, data and stamp give the same
bytes: the fonts are those of the typesetter, the time is the time of the record.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Any

import segno

logger = logging.getLogger(__name__)

# Accessible (PDF/UA-1) and archivable (PDF/A-2a), if the fonts have every character.
STANDARDS = ["ua-1", "a-2a"]


def pdf_of(source: bytes, inputs: Mapping[str, str], stamp: datetime) -> bytes:
    """Return the PDF of a source and its inputs; the input `unprinted` is set if the fonts lack a character."""
    import typst

    compiled: Any = partial(
        typst.compile,
        source,
        format="pdf",
        ignore_system_fonts=True,
        timestamp=int(stamp.timestamp()),
    )
    try:
        return bytes(compiled(sys_inputs=dict(inputs), pdf_standards=STANDARDS))
    except typst.TypstError as error:
        # These standards do not allow characters without a glyph: such a document is made without them.
        logger.warning("a document is not PDF/UA-1 and PDF/A-2a: %s", str(error)[:500])
        return bytes(compiled(sys_inputs={**inputs, "unprinted": "yes"}))


def qr_svg(address: str) -> str:
    """Return a QR code as SVG, with the quiet zone of four modules that ISO/IEC 18004 requires (from memory)."""
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", border=4, xmldecl=False)
    return out.getvalue().decode()
