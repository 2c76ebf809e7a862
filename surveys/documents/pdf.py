"""PDF documents: a list of blocks that one template typesets, with a title above and page numbers below."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from importlib.resources import files
from typing import Any

from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from surveys.documents.typesetting import pdf_of, qr_svg

Block = dict[str, Any]
MAX_TEXT_LENGTH = 4000
# Characters that change the direction of the text after them; right-to-left scripts need none of them.
DIRECTION_MARKS = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A)])


WORDS = {
    "error": _("Error"),
    "warning": _("Warning"),
    "info": _("Information"),
    "page": _("page {number} of {count}"),
    "qr": _("QR code to the online record"),
    "safety_notes": _("Safety notes"),
    "unprinted": _("Some characters cannot be printed and appear as empty boxes. See the online record."),
}


@dataclass(slots=True)
class PdfDocument:
    """A document before typesetting: its blocks in order, and the drawings they name."""

    title: str
    subtitle: str
    footer: str
    stamp: datetime
    address: str = ""
    mark: str = ""
    blocks: list[Block] = field(default_factory=list)
    drawings: dict[str, str] = field(default_factory=dict)

    def heading(self, text: str) -> None:
        """Add the heading of a section."""
        self.blocks.append({"type": "heading", "text": text})

    def text(self, text: str) -> None:
        """Add a paragraph."""
        self.blocks.append({"type": "text", "text": _cut(text)})

    def caption(self, text: str) -> None:
        """Add a caption, on the same page as the drawing after it."""
        self.blocks.append({"type": "caption", "text": _cut(text)})

    def callout(self, label: str, text: str, severity: str = "info") -> None:
        """Add a remark of severity `error`, `warning` or `info`."""
        self.blocks.append({"type": "callout", "label": label, "text": _cut(text), "severity": severity})

    def safety_notes(self, items: Sequence[str], closing: str) -> None:
        """Add safety notes; the closing sentence follows the first ones of the document only."""
        first = not any(block["type"] == "safety_notes" for block in self.blocks)
        notes = [_cut(item) for item in items]
        if notes or first:
            self.blocks.append({"type": "safety_notes", "items": notes, "closing": closing if first else ""})

    def figure(self, label: str, value: str, beneath: str = "") -> None:
        """Add the main value of the document."""
        self.blocks.append({"type": "figure", "label": label, "value": value, "beneath": _cut(beneath)})

    def facts(self, rows: Sequence[tuple[str, str]]) -> None:
        """Add names with their values."""
        self.blocks.append({"type": "facts", "rows": [[name, _cut(value)] for name, value in rows]})

    def equations(self, rows: Sequence[tuple[str, str, str]]) -> None:
        """Add equations: name, formula with `_` before a subscript, symbols."""
        self.blocks.append({"type": "equations", "rows": [[_cut(cell) for cell in row] for row in rows]})

    def table(
        self,
        head: Sequence[str],
        rows: Sequence[Sequence[str]],
        right: int = 0,
        flexible: Sequence[int] = (0,),
        total: bool = False,
    ) -> None:
        """Add a table: the last `right` columns hold numbers, the `flexible` ones share the remaining width.

        With `total` the last row is the total of the others.
        """
        cut = [[_cut(cell) for cell in row] for row in rows]
        shape = {"right": right, "flexible": list(flexible), "total": total}
        self.blocks.append({"type": "table", "head": list(head), "rows": cut, **shape})

    def checklist(self, items: Sequence[str]) -> None:
        """Add boxes to tick."""
        self.blocks.append({"type": "checklist", "items": [_cut(item) for item in items]})

    def form(self, rows: Sequence[Sequence[str]]) -> None:
        """Add cells to fill in by hand; the first of each row is its label."""
        self.blocks.append({"type": "form", "rows": [list(row) for row in rows]})

    def drawing(self, svg: str, alternative: str, width: int = 100) -> None:
        """Add a drawing with its text alternative; `width` is in per cent of the line."""
        self.drawings_in_row([(svg, alternative, width)])

    def drawings_in_row(self, drawn: Sequence[tuple[str, str, int]]) -> None:
        """Add drawings side by side, each with its text alternative and its width in per cent of the line."""
        row = []
        for svg, alternative, width in drawn:
            name = f"drawing-{len(self.drawings)}"
            self.drawings[name] = svg
            row.append({"name": name, "alternative": alternative, "width": width})
        self.blocks.append({"type": "drawings", "row": row})

    def new_page(self) -> None:
        """Begin a new page."""
        self.blocks.append({"type": "page"})


def _cut(text: str) -> str:
    """Return a text cut to the longest that is printed; the cut is marked."""
    return text if len(text) <= MAX_TEXT_LENGTH else f"{text[:MAX_TEXT_LENGTH]} […]"


def typeset(pdf: PdfDocument) -> bytes:
    """Return the PDF of a document."""
    source = files("surveys.documents").joinpath("paper.typ").read_bytes()
    document = {
        "title": pdf.title,
        "subtitle": pdf.subtitle,
        "footer": pdf.footer,
        "mark": pdf.mark,
        "qr": bool(pdf.address),
        "language": get_language() or "en",
        "words": {name: str(word) for name, word in WORDS.items()},
        "blocks": pdf.blocks,
    }
    inputs: Mapping[str, str] = {
        "document": json.dumps(document, ensure_ascii=False).translate(DIRECTION_MARKS),
        **pdf.drawings,
    }
    if pdf.address:
        inputs = {**inputs, "qr": qr_svg(pdf.address)}
    return pdf_of(source, inputs, pdf.stamp)
