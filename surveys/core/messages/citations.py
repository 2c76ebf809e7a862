"""Citations of sources, in the reader's language."""

from __future__ import annotations

from compute.base.sources import Source
from surveys.core.messages.terms import TERMS


def citation(source: Source) -> str:
    """Return the text of a source with its provenance in words; a published value needs none."""
    if source.provenance == "published":
        return source.text
    words = str(TERMS[f"provenance-{source.provenance}"])
    return words if source.text == "common practice" else f"{source.text}; {words}"
