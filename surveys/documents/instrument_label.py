"""Label of an instrument as PDF: kind, type, serial number, calibration, due date, and a QR code to its page.

The same record gives the same bytes: the time stamp is that of the calibration.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime

from django.conf import settings
from django.utils.translation import get_language, gettext

from surveys.documents.typesetting import pdf_of, qr_svg
from surveys.models import Calibration, Instrument

# Long texts are shrunk to fit.
SOURCE = """
#let label = json(bytes(sys.inputs.label))
#set document(title: label.title, date: auto)
#set page(width: label.width * 1mm, height: label.height * 1mm, margin: 2mm)
#let code = calc.min(label.height - 6, label.width * 0.4) * 1mm
#set text(font: "DejaVu Sans Mono", size: 6.5pt, hyphenate: false, lang: label.language, fallback: true)
#let fitted(body, size, weight: "regular") = layout(room => context {
  let set-at(points) = box(text(size: points, weight: weight, body))
  let wide = measure(set-at(size)).width
  // Slightly narrower than the cell, as rounding would break the line; longer texts are cut.
  let points = if wide > room.width { calc.max(size * (room.width / wide) * 0.98, 3.2pt) } else { size }
  box(width: room.width, height: measure(set-at(points)).height + 0.6mm, clip: true, align(horizon, box(width: 1000mm, set-at(points))))
})
#grid(
  columns: (1fr, code), column-gutter: 2mm,
  grid.cell(align: horizon, block(width: 100%)[
    #set par(leading: 0pt, spacing: 0pt)
    #stack(
      spacing: 1.2mm,
      fitted(label.kind, 6.5pt),
      fitted(label.type, 6.5pt),
      fitted(label.serial, 13pt, weight: "bold"),
      if label.owner != "" { fitted(label.owner, 8pt) },
      line(length: 100%, stroke: 0.4pt),
      fitted(label.calibrated, 6.5pt),
      fitted(label.due, 9pt, weight: "bold"),
    )
  ]),
  grid.cell(align: center + horizon, image(bytes(sys.inputs.qr), format: "svg", width: code, alt: label.qr)),
)
"""


def label_pdf(instrument: Instrument, calibration: Calibration | None, address: str) -> bytes:
    """Return the label of an instrument with its calibration in force; `address` is the content of the QR code."""
    shown = {
        "kind": instrument.get_kind_display(),
        "type": instrument.type_name,
        "serial": instrument.serial,
        "owner": instrument.asset_number,
        "calibrated": gettext("calibrated {day}").format(day=calibration.calibrated_on)
        if calibration
        else gettext("no certificate"),
        "due": gettext("due {day}").format(day=calibration.due_on)
        if calibration
        else gettext("not calibrated"),
        "title": gettext("Label of {serial}").format(serial=instrument.serial),
        "qr": gettext("QR code to the page of the instrument"),
        "language": (get_language() or "en").partition("-")[0],
        "width": settings.LABEL_WIDTH_MM,
        "height": settings.LABEL_HEIGHT_MM,
    }
    stamp = calibration.recorded_at if calibration else datetime(1970, 1, 1, tzinfo=UTC)
    return pdf_of(SOURCE.encode(), {"label": json.dumps(shown), "qr": qr_svg(address)}, stamp)
