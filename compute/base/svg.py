"""Parts of drawings and charts as SVG text; numbers to a tenth of a unit, text escaped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from xml.sax.saxutils import escape

FONT = "DejaVu Sans Mono, monospace"


def document(width: float, height: float, title: str, parts: Sequence[str], role: str = "img") -> str:
    """Return a drawing with its title, for readers who cannot see it.

    Parameters
    ----------
    width : float
    height : float
    title : str
    parts : sequence of str
    role : str  img; group where there are links in it

    Returns
    -------
    svg : str

    Source
    ------
    none : SVG 1.1.
    """
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="{role}">'
        f"<title>{escape(title)}</title>{''.join(parts)}</svg>"
    )


def label(
    x: float, y: float, text: str, anchor: str, fill: str, size: int = 11, weight: str = "normal"
) -> str:
    """Return a line of text.

    Parameters
    ----------
    x : float
    y : float
    text : str
    anchor : str  start, middle or end
    fill : str
    size : int
    weight : str

    Returns
    -------
    svg : str

    Source
    ------
    none : SVG 1.1.
    """
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-family="{FONT}" font-size="{size}" font-weight="{weight}" '
        f'text-anchor="{anchor}" fill="{fill}">{escape(text)}</text>'
    )


def rule(x1: float, y1: float, x2: float, y2: float, stroke: str, width: float, dashes: str = "none") -> str:
    """Return a straight line.

    Parameters
    ----------
    x1 : float
    y1 : float
    x2 : float
    y2 : float
    stroke : str
    width : float
    dashes : str

    Returns
    -------
    svg : str

    Source
    ------
    none : SVG 1.1.
    """
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{stroke}" stroke-width="{width}" '
        f'stroke-dasharray="{dashes}"/>'
    )


def polyline(points: Sequence[tuple[float, float]], stroke: str, width: float) -> str:
    """Return a line through points.

    Parameters
    ----------
    points : sequence of (float, float)
    stroke : str
    width : float

    Returns
    -------
    svg : str

    Source
    ------
    none : SVG 1.1.
    """
    return f'<polyline points="{_pairs(points)}" fill="none" stroke="{stroke}" stroke-width="{width}"/>'


def polygon(points: Sequence[tuple[float, float]], fill: str, opacity: float) -> str:
    """Return an area without an outline.

    Parameters
    ----------
    points : sequence of (float, float)
    fill : str
    opacity : float  0 to 1

    Returns
    -------
    svg : str

    Source
    ------
    none : SVG 1.1.
    """
    return f'<polygon points="{_pairs(points)}" fill="{fill}" fill-opacity="{opacity}"/>'


def ticks(low: float, high: float) -> list[float]:
    """Return about four round numbers between two ends.

    Parameters
    ----------
    low : float  low below high
    high : float  low below high

    Returns
    -------
    ticks : list of float  rising

    Source
    ------
    common practice: steps of 1, 2 or 5 times a power of ten.
    """
    step = 10.0 ** math.floor(math.log10((high - low) / 4))
    step *= next(factor for factor in (1, 2, 5, 10) if (high - low) / (step * factor) <= 5)
    first, last = math.ceil(low / step), math.floor(high / step)
    return [round(n * step, 12) for n in range(first, last + 1)]


def _pairs(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
