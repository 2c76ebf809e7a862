"""To-scale drawings of a set-up as SVG: the pipe lengthwise with the beam and the spacing, and its cross-section.

Lengths along and across the pipe have one scale. Parts that differ by colour differ by label or line too. The caller provides all labels.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from compute.base.svg import document, label

INK, WALL, LINING, MEDIUM, BEAM, BODY = "#1d2733", "#a9b0b8", "#cdbb8f", "#e2eef4", "#a8441a", "#3d4a57"
WIDTH, MARGIN, DIMENSION = 680.0, 14.0, 46.0
# Length and height of a drawn transducer, as fractions of the outer diameter.
BODY_LENGTH, BODY_HEIGHT = 0.22, 0.10
# Conversion of a length along the pipe to a position in the drawing.
Place = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Drawn:
    """The geometry of a set-up for its drawings, lengths in m and angles in rad.

    solids : thickness and angle of the wall and, inside it, of a lining
    spacing : between the facing ends, negative where they overlap; face_offset from the beam's exit to the facing end
    """

    outer_diameter: float
    bore: float
    solids: tuple[tuple[float, float], ...]
    angle_in_medium: float
    traverses: int
    axial_advance: float
    spacing: float
    face_offset: float


@dataclass(frozen=True, slots=True)
class SideLabels:
    """The labels of a side view; the title is for readers who cannot see the drawing."""

    title: str
    spacing: str
    diameter: str
    axis: str
    flow: str


@dataclass(frozen=True, slots=True)
class CrossLabels:
    """The labels of a cross-section; the title is for readers who cannot see the drawing."""

    title: str
    top: str


def side_view(setup: Drawn, labels: SideLabels) -> str:
    """Draw the pipe lengthwise: walls, beam, transducers, and the spacing as a dimension.

    Parameters
    ----------
    setup : Drawn
    labels : SideLabels  in the reader's language and units

    Returns
    -------
    svg : str

    Source
    ------
    definition : the beam as in `compute.measuring.beam.trace`, its sum of advances the axial advance.
    """
    body = BODY_LENGTH * setup.outer_diameter
    # The section of pipe with both transducers and one transducer length on either side.
    left = -setup.axial_advance * 0.02 - 2 * body
    length = setup.axial_advance - 2 * left
    scale = min((WIDTH - 2 * MARGIN) / length, 300 / setup.outer_diameter)
    high = setup.outer_diameter * scale
    lift = BODY_HEIGHT * high
    top, width = MARGIN + DIMENSION + lift, length * scale
    # With an odd number of traverses the downstream transducer is on the opposite side.
    height = top + high + MARGIN + lift * (setup.traverses % 2)
    start = (WIDTH - width) / 2

    def x(along: float) -> float:
        return start + (along - left) * scale

    def y(down: float) -> float:
        return top + down * scale

    parts = [_rectangle(start, top, width, high, WALL)]
    depth = 0.0
    fills = [LINING] * (len(setup.solids) - 1) + [MEDIUM]
    for (thickness, _), fill in zip(setup.solids, fills, strict=True):
        depth += thickness
        parts.append(_rectangle(start, y(depth), width, (setup.outer_diameter - 2 * depth) * scale, fill))
    parts.append(
        f'<line x1="{start:.1f}" y1="{y(setup.outer_diameter / 2):.1f}" x2="{start + width:.1f}" '
        f'y2="{y(setup.outer_diameter / 2):.1f}" stroke="{INK}" stroke-width="0.6" stroke-dasharray="14 4 2 4"/>'
    )
    points = " ".join(f"{x(along):.1f},{y(down):.1f}" for along, down in beam(setup))
    parts.append(f'<polyline points="{points}" fill="none" stroke="{BEAM}" stroke-width="2"/>')
    parts += _transducers(setup, x, top, high, lift, body * scale)
    parts += _spacing_dimension(setup, x, top, lift, labels.spacing)
    parts.append(_text(start + 4, y(setup.outer_diameter / 2) - 5, labels.diameter, "start", size=12))
    parts.append(_text(start + width - 4, y(setup.outer_diameter / 2) - 5, labels.axis, "end"))
    parts += _flow_arrow(start + 8, y(setup.outer_diameter / 2) + high / 4, labels.flow)
    return document(WIDTH, height, labels.title, parts)


def beam(setup: Drawn) -> Sequence[tuple[float, float]]:
    """Return the beam's corners: distance along the pipe from its entry, and depth below the entry surface.

    Parameters
    ----------
    setup : Drawn

    Returns
    -------
    corners : sequence of (float, float) [m]

    Source
    ------
    definition : thickness times tangent in each layer, bore times tangent for each traverse.
    """
    along, down, corners = 0.0, 0.0, [(0.0, 0.0)]
    for thickness, angle in setup.solids:
        along, down = along + thickness * math.tan(angle), down + thickness
        corners.append((along, down))
    sign = 1
    for _ in range(setup.traverses):
        along, down = along + setup.bore * math.tan(setup.angle_in_medium), down + sign * setup.bore
        corners.append((along, down))
        sign = -sign
    for thickness, angle in reversed(setup.solids):
        along, down = along + thickness * math.tan(angle), down - sign * thickness
        corners.append((along, down))
    return corners


def cross_section(setup: Drawn, same_side: bool, labels: CrossLabels) -> str:
    """Draw the pipe across: wall, lining and bore to scale, and the clock positions of the transducers.

    Parameters
    ----------
    setup : Drawn
    same_side : bool
    labels : CrossLabels  in the reader's language

    Returns
    -------
    svg : str

    Source
    ------
    common practice: on a horizontal pipe the transducers sit at the side, off the top (gas) and the bottom (deposits).
    """
    size, centre = 260.0, 130.0
    scale = 150 / setup.outer_diameter
    radius = setup.outer_diameter / 2
    parts = [_circle(centre, radius * scale, WALL)]
    for (thickness, _), fill in zip(setup.solids, [LINING] * (len(setup.solids) - 1) + [MEDIUM], strict=True):
        radius -= thickness
        parts.append(_circle(centre, radius * scale, fill))
    outer, lift = setup.outer_diameter / 2 * scale, BODY_HEIGHT * 150
    parts.append(_rectangle(centre + outer, centre - 14, lift, 28, BODY))
    parts.append(_text(centre + outer + lift + 4, centre + 4, "1" if not same_side else "1, 2", "start"))
    if not same_side:
        parts.append(_rectangle(centre - outer - lift, centre - 14, lift, 28, BODY))
        parts.append(_text(centre - outer - lift - 4, centre + 4, "2", "end"))
    parts.append(_text(centre, 14, labels.top, "middle"))
    return document(size, size, labels.title, parts)


def _transducers(setup: Drawn, x: Place, top: float, high: float, lift: float, body: float) -> list[str]:
    first = x(setup.face_offset) - body
    second = x(setup.axial_advance - setup.face_offset)
    other = top + high if setup.traverses % 2 else top - lift
    return [
        _rectangle(first, top - lift, body, lift, BODY),
        _text(first + body / 2, top - lift / 2 + 4, "1", "middle", "#ffffff"),
        _rectangle(second, other, body, lift, BODY),
        _text(second + body / 2, other + lift / 2 + 4, "2", "middle", "#ffffff"),
    ]


def _flow_arrow(left: float, level: float, word: str) -> list[str]:
    """Draw the flow direction; the first transducer is upstream."""
    shaft = f'<line x1="{left:.1f}" y1="{level:.1f}" x2="{left + 44:.1f}" y2="{level:.1f}" stroke="{INK}" stroke-width="1.4"/>'
    head = f'<path d="M{left + 52:.1f} {level:.1f} l-10 -4 v8 z" fill="{INK}"/>'
    return [shaft, head, _text(left, level - 7, word, "start")]


def _spacing_dimension(setup: Drawn, x: Place, top: float, lift: float, text: str) -> list[str]:
    a, b = x(setup.face_offset), x(setup.axial_advance - setup.face_offset)
    level = top - lift - 16
    lines = [
        f'<line x1="{at:.1f}" y1="{level - 6:.1f}" x2="{at:.1f}" y2="{top:.1f}" stroke="{INK}" stroke-width="0.7"/>'
        for at in (a, b)
    ]
    lines.append(
        f'<line x1="{a:.1f}" y1="{level:.1f}" x2="{b:.1f}" y2="{level:.1f}" stroke="{INK}" stroke-width="1"/>'
    )
    for at, way in ((a, 1), (b, -1)):
        way = way if a <= b else -way
        lines.append(f'<path d="M{at:.1f} {level:.1f} l{7 * way} -3 v6 z" fill="{INK}"/>')
    lines.append(_text((a + b) / 2, level - 8, text, "middle", weight="bold", size=18))
    return lines


def _rectangle(x: float, y: float, width: float, height: float, fill: str) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{fill}" stroke="{INK}" '
        'stroke-width="0.8"/>'
    )


def _circle(centre: float, radius: float, fill: str) -> str:
    return f'<circle cx="{centre}" cy="{centre}" r="{radius:.1f}" fill="{fill}" stroke="{INK}" stroke-width="0.8"/>'


def _text(
    x: float, y: float, text: str, anchor: str, fill: str = INK, weight: str = "normal", size: int = 14
) -> str:
    return label(x, y, text, anchor, fill, size, weight)
