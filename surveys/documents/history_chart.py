"""The results of a measuring point over time as SVG, for pages and documents: each with its uncertainty as a bar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext, ngettext

from compute.base.svg import document, label, rule, ticks
from surveys.core.messages.numbers import number_text

WIDTH, HEIGHT = 680.0, 280.0
LEFT, RIGHT, TOP, BOTTOM = 74.0, 24.0, 40.0, 34.0
LABEL_WIDTH = 76.0
INK, SOFT, LINE, WITHDRAWN = "#1d2733", "#8a8f98", "#1f5f6b", "#a8441a"


@dataclass(frozen=True, slots=True)
class Mark:
    """One result, in the unit of the chart."""

    at: datetime
    value: float
    expanded_uncertainty: float
    withdrawn: bool = False


def history_chart(marks: Sequence[Mark], unit: str, zone: Any, height: float = HEIGHT) -> str:
    """The chart; there is at least one mark, the oldest is first. A withdrawn result is a cross, not a dot."""
    first, last = marks[0].at.timestamp(), marks[-1].at.timestamp()
    ends = [mark.value + sign * mark.expanded_uncertainty for mark in marks for sign in (-1, 1)]
    room = (max(ends) - min(ends) or abs(max(ends)) or 1.0) * 0.12
    low, high = min(ends) - room, max(ends) + room

    def x(mark: Mark) -> float:
        inner = WIDTH - LEFT - RIGHT - LABEL_WIDTH
        share = (mark.at.timestamp() - first) / (last - first) if last > first else 0.5
        return LEFT + LABEL_WIDTH / 2 + inner * share

    def y(value: float) -> float:
        return height - BOTTOM - (height - TOP - BOTTOM) * (value - low) / (high - low)

    parts = [label(LEFT, 14, gettext("Volume flow, {unit}").format(unit=unit), "start", INK)]
    parts.append(label(LEFT, 29, gettext("bar: expanded uncertainty; cross: withdrawn"), "start", INK))
    for tick in ticks(low, high):
        parts.append(rule(LEFT, y(tick), WIDTH - RIGHT, y(tick), SOFT, 0.4))
        parts.append(label(LEFT - 6, y(tick) + 4, number_text(tick), "end", INK))
    parts.append(rule(LEFT, height - BOTTOM, WIDTH - RIGHT, height - BOTTOM, INK, 1))
    free_from = 0.0
    for mark in marks:
        across = x(mark)
        parts += _mark(mark, across, y)
        if across >= free_from:
            day = f"{mark.at.astimezone(zone):%Y-%m-%d}"
            parts.append(label(across, height - BOTTOM + 18, day, "middle", INK))
            free_from = across + LABEL_WIDTH
    title = ngettext(
        "Volume flow of {count} survey in {unit}, with its uncertainty",
        "Volume flow of {count} surveys in {unit}, with their uncertainties",
        len(marks),
    )
    return document(WIDTH, height, title.format(count=len(marks), unit=unit), parts)


def _mark(mark: Mark, across: float, y: Any) -> list[str]:
    stroke = WITHDRAWN if mark.withdrawn else LINE
    top, under, middle = (y(mark.value + n * mark.expanded_uncertainty) for n in (1, -1, 0))
    bar = [rule(across, top, across, under, stroke, 1.6)]
    bar += [rule(across - 6, end, across + 6, end, stroke, 1.6) for end in (top, under)]
    if mark.withdrawn:
        return [*bar, *(rule(across - 5, middle + d, across + 5, middle - d, stroke, 2.0) for d in (5, -5))]
    return [*bar, f'<circle cx="{across:.1f}" cy="{middle:.1f}" r="4.2" fill="{stroke}"/>']
