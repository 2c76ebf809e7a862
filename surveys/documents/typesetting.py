"""Source and data to PDF, for papers and labels.

All that comes from records goes in as data, never as source, so that hostile text stays text. The same source, data and stamp give
the same bytes: the fonts are those inside the typesetter, the time is the record's.
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

# Accessible (PDF/UA-1) and for keeping (PDF/A-2a), as far as the record's letters are in the fonts.
STANDARDS = ["ua-1", "a-2a"]


def pdf_of(source: bytes, inputs: Mapping[str, str], stamp: datetime) -> bytes:
    """The PDF that a source makes of its inputs; of letters that are in none of the fonts it is told by an input `unprinted`."""
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
        # A letter that is in none of the fonts may not be in such a PDF; the paper is worth more than the standard.
        logger.warning("a paper is not PDF/UA-1 and PDF/A-2a: %s", str(error)[:500])
        return bytes(compiled(sys_inputs={**inputs, "unprinted": "yes"}))


def qr_svg(address: str) -> str:
    """A QR code as SVG, with the quiet zone of four modules that ISO/IEC 18004 asks for (from memory)."""
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", border=4, xmldecl=False)
    return out.getvalue().decode()
