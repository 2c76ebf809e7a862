"""A paper as data to PDF.

One template sets every paper: a list of blocks with a title above and page numbers below.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from importlib.resources import files
from typing import Any

from surveys.documents.typesetting import pdf_of, qr_svg

Block = dict[str, Any]
MAX_TEXT_LENGTH = 4000
# Letters that turn the direction of what follows: in a name they would turn the figures beside it. Right-to-left scripts need none of them.
TURNING = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A)])


@dataclass(slots=True)
class PdfDocument:
    """A paper to be: its blocks in order, and the drawings they name."""

    title: str
    subtitle: str
    footer: str
    stamp: datetime
    address: str = ""
    mark: str = ""
    blocks: list[Block] = field(default_factory=list)
    drawings: dict[str, str] = field(default_factory=dict)

    def heading(self, text: str) -> None:
        """A section begins."""
        self.blocks.append({"type": "heading", "text": text})

    def text(self, text: str) -> None:
        """A paragraph."""
        self.blocks.append({"type": "text", "text": _cut(text)})

    def caption(self, text: str) -> None:
        """What the drawing after it shows; they stay together."""
        self.blocks.append({"type": "caption", "text": _cut(text)})

    def callout(self, label: str, text: str, severity: str = "info") -> None:
        """A remark set apart: `error`, `warning` or `info`."""
        self.blocks.append({"type": "callout", "label": label, "text": _cut(text), "severity": severity})

    def safety_notes(self, items: Sequence[str], closing: str) -> None:
        """What can hurt, each once, and what all of it defers to."""
        self.blocks.append(
            {"type": "safety_notes", "items": [_cut(item) for item in items], "closing": closing}
        )

    def figure(self, label: str, value: str, beneath: str = "") -> None:
        """The one figure a reader looks for."""
        self.blocks.append({"type": "figure", "label": label, "value": value, "beneath": _cut(beneath)})

    def facts(self, rows: Sequence[tuple[str, str]]) -> None:
        """Names with what they are."""
        self.blocks.append({"type": "facts", "rows": [[name, _cut(value)] for name, value in rows]})

    def table(
        self,
        head: Sequence[str],
        rows: Sequence[Sequence[str]],
        right: int = 0,
        flexible: Sequence[int] = (0,),
        total: bool = False,
    ) -> None:
        """A table; the last `right` columns are of numbers, the `flexible` ones share what room the others leave.

        With `total` the last row is what the others come to.
        """
        cut = [[_cut(cell) for cell in row] for row in rows]
        shape = {"right": right, "flexible": list(flexible), "total": total}
        self.blocks.append({"type": "table", "head": list(head), "rows": cut, **shape})

    def checklist(self, items: Sequence[str]) -> None:
        """Boxes to tick."""
        self.blocks.append({"type": "checklist", "items": [_cut(item) for item in items]})

    def form(self, rows: Sequence[Sequence[str]]) -> None:
        """Cells to write in by hand; the first of each row says what."""
        self.blocks.append({"type": "form", "rows": [list(row) for row in rows]})

    def drawing(self, svg: str, alternative: str, width: int = 100) -> None:
        """A drawing, so many per cent of the line wide."""
        self.drawings_beside([(svg, alternative, width)])

    def drawings_beside(self, drawn: Sequence[tuple[str, str, int]]) -> None:
        """Drawings beside one another: each with what it shows, and its width in per cent of the line."""
        row = []
        for svg, alternative, width in drawn:
            name = f"drawing-{len(self.drawings)}"
            self.drawings[name] = svg
            row.append({"name": name, "alternative": alternative, "width": width})
        self.blocks.append({"type": "drawings", "row": row})

    def new_page(self) -> None:
        """What follows begins on a page of its own."""
        self.blocks.append({"type": "page"})


def _cut(text: str) -> str:
    """A text no longer than a page holds; that it goes on is shown."""
    return text if len(text) <= MAX_TEXT_LENGTH else f"{text[:MAX_TEXT_LENGTH]} [...]"


def typeset(pdf: PdfDocument) -> bytes:
    """The PDF of a paper."""
    source = files("surveys.documents").joinpath("paper.typ").read_bytes()
    document = {
        "title": pdf.title,
        "subtitle": pdf.subtitle,
        "footer": pdf.footer,
        "mark": pdf.mark,
        "qr": bool(pdf.address),
        "blocks": pdf.blocks,
    }
    inputs: Mapping[str, str] = {
        "document": json.dumps(document, ensure_ascii=False).translate(TURNING),
        **pdf.drawings,
    }
    if pdf.address:
        inputs = {**inputs, "qr": qr_svg(pdf.address)}
    return pdf_of(source, inputs, pdf.stamp)
