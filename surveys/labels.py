"""A label for an instrument as a PDF of 62 x 29 mm: what it is, calibrated and due when, a QR code to its record.

The same record gives the same bytes: the fonts are those inside typst, the time stamp is the calibration's.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from datetime import UTC, datetime

import segno
import typst

from surveys.models import Calibration, Instrument

# Everything that comes from a record goes in as data, never as source: hostile text stays text. The long ones are shrunk to fit.
SOURCE = """
#let label = json(bytes(sys.inputs.label))
#set document(title: "Label of " + label.serial, date: none)
#set page(width: 62mm, height: 29mm, margin: 2mm)
#set text(font: "DejaVu Sans Mono", size: 6.5pt, hyphenate: false, fallback: true)
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
  grid.cell(align: center + horizon, image(bytes(sys.inputs.qr), format: "svg", width: 23mm, alt: "QR code to the record")),
)
"""


def label_pdf(instrument: Instrument, calibration: Calibration | None, address: str) -> bytes:
    """The label of an instrument with its calibration in force; `address` is what the QR code says."""
    shown = {
        "kind": instrument.get_kind_display(),
        "type": instrument.type_name,
        "serial": instrument.serial,
        "owner": instrument.owner_number,
        "calibrated": f"calibrated {calibration.calibrated_on}"
        if calibration
        else "no certificate on record",
        "due": f"due {calibration.due_on}" if calibration else "not calibrated",
    }
    stamp = calibration.recorded_at if calibration else datetime(1970, 1, 1, tzinfo=UTC)
    return _compiled({"label": json.dumps(shown), "qr": _qr(address)}, stamp)


def _qr(address: str) -> str:
    """A QR code as SVG, with the quiet zone of four modules that ISO/IEC 18004 asks for (from memory)."""
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", border=4, xmldecl=False)
    return out.getvalue().decode()


def _compiled(inputs: Mapping[str, str], stamp: datetime) -> bytes:
    made = typst.compile(
        SOURCE.encode(),
        format="pdf",
        sys_inputs=dict(inputs),
        ignore_system_fonts=True,
        timestamp=int(stamp.timestamp()),
    )
    return bytes(made)
