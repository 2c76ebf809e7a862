"""A label for an instrument as a PDF of 62 x 29 mm: what it is, calibrated and due when, a QR code to its page.

The same record gives the same bytes: the time stamp is the calibration's.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime

from surveys.documents.typesetting import pdf_of, qr_svg
from surveys.models import Calibration, Instrument

# Long texts are shrunk to fit.
SOURCE = """
#let label = json(bytes(sys.inputs.label))
#set document(title: "Label of " + label.serial, date: auto)
#set page(width: 62mm, height: 29mm, margin: 2mm)
#set text(font: "DejaVu Sans Mono", size: 6.5pt, hyphenate: false, lang: "en", fallback: true)
#let fitted(body, size, weight: "regular") = layout(room => context {
  let set-at(points) = box(text(size: points, weight: weight, body))
  let wide = measure(set-at(size)).width
  // A hair narrower than the room, or rounding would break the line; what is longer still is cut.
  let points = if wide > room.width { calc.max(size * (room.width / wide) * 0.98, 3.2pt) } else { size }
  box(width: room.width, height: measure(set-at(points)).height + 0.6mm, clip: true, align(horizon, box(width: 1000mm, set-at(points))))
})
#grid(
  columns: (1fr, 23mm), column-gutter: 2mm,
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
  grid.cell(align: center + horizon, image(bytes(sys.inputs.qr), format: "svg", width: 23mm, alt: "QR code to the page of the instrument")),
)
"""


def label_pdf(instrument: Instrument, calibration: Calibration | None, address: str) -> bytes:
    """The label of an instrument with its calibration in force; `address` is what the QR code says."""
    shown = {
        "kind": instrument.get_kind_display(),
        "type": instrument.type_name,
        "serial": instrument.serial,
        "owner": instrument.asset_number,
        "calibrated": f"calibrated {calibration.calibrated_on}"
        if calibration
        else "no certificate on record",
        "due": f"due {calibration.due_on}" if calibration else "not calibrated",
    }
    stamp = calibration.recorded_at if calibration else datetime(1970, 1, 1, tzinfo=UTC)
    return pdf_of(SOURCE.encode(), {"label": json.dumps(shown), "qr": qr_svg(address)}, stamp)
