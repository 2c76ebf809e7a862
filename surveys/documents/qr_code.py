"""QR codes."""

from __future__ import annotations

import io

import segno


def qr_svg(address: str) -> str:
    """A QR code as an SVG document of one path, black on white whatever the page's colours."""
    out = io.BytesIO()
    segno.make(address, error="m").save(
        out, kind="svg", scale=5, border=4, light="white", xmldecl=False, omitsize=True
    )
    return out.getvalue().decode()
