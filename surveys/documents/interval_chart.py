"""The chart of an interval review as SVG: as-found results, their trend with its band, the limits, the proposed date."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext, ngettext

from compute.base.svg import document, label, polygon, polyline, rule, ticks
from compute.base.unit_table import KINDS
from compute.base.units import System, express
from surveys.core.messages.numbers import SIGNS, number_text, with_unit

WIDTH, HEIGHT = 680.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 82.0, 16.0, 34.0, 44.0
INK, SOFT, LINE, LIMIT = "#1d2733", "#8a8f98", "#1f5f6b", "#a8441a"


def review_chart(chart: Mapping[str, Any], start: date, proposed: float, units: System) -> str:
    """`chart` as `compute.calibration.intervals.Chart` has it; `proposed` is how long after the last point the next calibration is due."""
    scale, unit = _unit(chart["y_kind"], units)
    in_days = chart["x_unit"] == "days"
    points = [(x, y * scale) for x, y in zip(chart["point_x"], chart["point_y"], strict=True)]
    line = [(x, y * scale) for x, y in zip(chart["line_x"], chart["line_y"], strict=True)]
    next_at = max(x for x, _ in points) + proposed if in_days else None
    xs = [x for x, _ in (*points, *line)] + ([next_at] if next_at is not None else [])
    bands = [value * scale for value in (*chart["band_low"], *chart["band_high"])]
    limits = [value * scale for value in chart["limits"]]
    ys = [y for _, y in points] + limits + _near(bands, limits)
    (left, right), (low, high) = _room(xs, 0.03), _room(ys, 0.12)

    def place(x: float, y: float) -> tuple[float, float]:
        across = LEFT + (WIDTH - LEFT - RIGHT) * (x - left) / (right - left)
        up = HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (min(max(y, low), high) - low) / (high - low)
        return across, up

    parts = [label(LEFT, TOP - 16, gettext("As found, {unit}").format(unit=unit), "start", INK)]
    parts += _grid(low, high, place, left)
    if chart["band_low"]:
        upper = [place(x, y * scale) for x, y in zip(chart["line_x"], chart["band_high"], strict=True)]
        lower = [place(x, y * scale) for x, y in zip(chart["line_x"], chart["band_low"], strict=True)]
        parts.append(polygon([*upper, *reversed(lower)], LINE, 0.14))
        parts.append(polyline([place(x, y) for x, y in line], LINE, 1.4))
    for limit in limits:
        (x1, y), (x2, _) = place(left, limit), place(right, limit)
        parts.append(rule(x1, y, x2, y, LIMIT, 1.1, "7 4"))
    if limits:
        parts.append(
            label(
                WIDTH - RIGHT,
                TOP - 16,
                gettext("dashed: limits; shaded: 95 % prediction interval"),
                "end",
                LIMIT,
            )
        )
    for x, y in points:
        at = place(x, y)
        parts.append(f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="3.6" fill="{INK}"/>')
    parts += _days(points, next_at, place, start, high) if in_days else _hours(left, right, place, low)
    title = ngettext(
        "As-found result of {count} calibration in {unit}, with limits",
        "As-found results of {count} calibrations in {unit}, with limits",
        len(points),
    ).format(count=len(points), unit=unit)
    if next_at is not None:
        proposed_on = start + timedelta(days=int(next_at))
        title += "; " + gettext("next calibration proposed for {day}").format(day=proposed_on)
    return document(WIDTH, HEIGHT, title, parts)


def _unit(kind: str, units: System) -> tuple[float, str]:
    """Factor and name of the unit errors are drawn in; shares and relative errors in per cent."""
    if kind == "number":
        return 100.0, "%"
    of_error = KINDS[kind].difference
    shown = express(1.0, of_error, units)
    return float(shown["value"]), SIGNS.get(str(shown["unit"]), str(shown["unit"]))


def _near(bands: Sequence[float], limits: Sequence[float]) -> list[float]:
    """Of a band what lies within twice the limits: a wide one far ahead would flatten all else."""
    reach = 2 * max((abs(limit) for limit in limits), default=float("inf"))
    return [value for value in bands if abs(value) <= reach]


def _room(values: Sequence[float], share: float) -> tuple[float, float]:
    low, high = min(values), max(values)
    room = ((high - low) or abs(high) or 1.0) * share
    return low - room, high + room


def _grid(low: float, high: float, place: Any, left: float) -> list[str]:
    parts = []
    for tick in ticks(low, high):
        _, y = place(left, tick)
        parts.append(rule(LEFT, y, WIDTH - RIGHT, y, SOFT, 0.4))
        parts.append(label(LEFT - 6, y + 4, number_text(tick), "end", INK))
    return [*parts, rule(LEFT, HEIGHT - BOTTOM, WIDTH - RIGHT, HEIGHT - BOTTOM, INK, 1.0)]


def _days(
    points: Sequence[tuple[float, float]], next_at: float | None, place: Any, start: date, high: float
) -> list[str]:
    parts, last_end = [], -1e9
    for x, _ in points:
        across, _ = place(x, high)
        if across - last_end > 74:
            parts.append(
                label(
                    across, HEIGHT - BOTTOM + 18, f"{start + timedelta(days=int(x)):%Y-%m-%d}", "middle", INK
                )
            )
            last_end = across
    if next_at is not None:
        across, up = place(next_at, high)
        parts.append(rule(across, up, across, HEIGHT - BOTTOM, LINE, 1.2, "2 3"))
        text = gettext("next: {day}").format(day=start + timedelta(days=int(next_at)))
        parts.append(label(across - 5, HEIGHT - BOTTOM + 34, text, "end", LINE))
    return parts


def _hours(left: float, right: float, place: Any, low: float) -> list[str]:
    return [
        label(place(tick, low)[0], HEIGHT - BOTTOM + 18, with_unit(number_text(tick), "h"), "middle", INK)
        for tick in ticks(left, right)
    ]
