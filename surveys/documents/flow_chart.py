"""The flow of a log over time as SVG: downsampled with its peaks, with the result and its uncertainty as a band."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
from django.utils.translation import gettext, ngettext

from compute.base.svg import document, label, polyline, rule, ticks
from compute.base.units import System, express
from compute.combining.time_alignment import FlowLog
from compute.logs.series import Outliers
from surveys.core.messages.numbers import SIGNS, number_text
from surveys.logfiles.downsampling import downsampled

WIDTH, HEIGHT = 680.0, 262.0
LEFT, RIGHT, TOP, BOTTOM = 74.0, 12.0, 24.0, 46.0
POINTS = 1200
MARK = "#8a1f5c"
INK, SOFT, SOFT_INK, LINE, BAND, PALE = "#1d2733", "#8a8f98", "#4d5866", "#1f5f6b", "#a8441a", "#ffffff"
PLOT = (LEFT / WIDTH, 1 - RIGHT / WIDTH)  # where the readings begin and end, as shares of the width
DAY_SECONDS, MINUTE_SECONDS = 86_400, 60


# Outliers marked in a chart; of more, this number spread over the chart.
MAX_MARKS = 200


@dataclass(frozen=True, slots=True)
class Marks:
    """Outliers drawn with the readings: times [us since 1970 UTC], flows in the unit of the chart, and whether they are used."""

    times: Any
    values: Any
    included: bool


@dataclass(frozen=True, slots=True)
class Result:
    """The result drawn with the readings, in their unit."""

    value: float
    expanded_uncertainty: float


def result_chart(
    flows: FlowLog, result: Any, units: System, zone: Any, outliers: Outliers | None = None
) -> str:
    """The flows of a result's log, or of a segment of it, about the result (of a survey), in the reader's units; outliers are marked."""
    one = express(1.0, "volume_flow", units)
    scale, unit = float(one["value"]), SIGNS.get(str(one["unit"]), str(one["unit"]))
    shown = Result(result.volume_flow_m3_s * scale, result.expanded_uncertainty_m3_s * scale)
    marked = None
    if outliers is not None and outliers.times is not None and len(outliers.rows):
        marked = Marks(outliers.times, outliers.volume_flow * scale, outliers.included)
    return flow_chart(flows.times, flows.values * scale, shown, unit, zone, marked)


def flow_chart(
    times: Any, values: Any, result: Result, unit: str, zone: Any, outliers: Marks | None = None
) -> str:
    """The chart. `times` are microseconds since 1970 UTC, `values` flows in `unit`; gaps of the log break the line.

    Outliers beyond the chart are marked at its edge.
    """
    segments = [
        _downsampled(*segment, len(times))
        for segment in _unbroken(np.asarray(times) / 1e6, np.asarray(values))
    ]
    first, last = float(segments[0][0][0]), float(segments[-1][0][-1])
    low, high = _range(np.concatenate([flows for _, flows in segments]), result)
    clock = _clock(last - first)

    def x(at: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * ((at - first) / (last - first) if last > first else 0.5)

    def y(flow: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (flow - low) / (high - low)

    parts = [label(LEFT, TOP - 10, gettext("Volume flow, {unit}").format(unit=unit), "start", INK)]
    for tick in ticks(low, high):
        parts.append(rule(LEFT, y(tick), WIDTH - RIGHT, y(tick), SOFT, 0.4))
        parts.append(label(LEFT - 6, y(tick) + 4, number_text(tick), "end", INK))
    for n in range(5):
        at = first + (last - first) * n / 4
        anchor = ("start", "middle", "middle", "middle", "end")[n]
        text = format(datetime.fromtimestamp(at, UTC).astimezone(zone), clock)
        parts.append(label(x(at), HEIGHT - BOTTOM + 18, text, anchor, INK))
    began = datetime.fromtimestamp(first, UTC).astimezone(zone)
    parts.append(label(LEFT, HEIGHT - 2, f"{began:%Y-%m-%d}, {began:%Z}", "start", SOFT_INK))
    top, under = y(result.value + result.expanded_uncertainty), y(result.value - result.expanded_uncertainty)
    parts.append(
        f'<rect x="{LEFT}" y="{top:.1f}" width="{WIDTH - LEFT - RIGHT}" height="{max(under - top, 0.5):.1f}" fill="{BAND}" '
        'fill-opacity="0.13"/>'
    )
    parts += [_line(part, x, y) for part in segments]
    parts += _marks(outliers, (first, last), (low, high), x, y)
    # A pale line below the dashes keeps them visible where readings fill the band.
    parts.append(rule(LEFT, y(result.value), WIDTH - RIGHT, y(result.value), PALE, 3.2))
    parts.append(rule(LEFT, y(result.value), WIDTH - RIGHT, y(result.value), BAND, 1.4, "7 4"))
    parts.append(
        label(WIDTH - RIGHT, TOP - 10, gettext("dashed: result; shaded: expanded uncertainty"), "end", BAND)
    )
    parts.append(rule(LEFT, HEIGHT - BOTTOM, WIDTH - RIGHT, HEIGHT - BOTTOM, INK, 1))
    count = len(np.asarray(values))
    title = ngettext(
        "Volume flow over the log: {count} reading, mean {mean} {unit}",
        "Volume flow over the log: {count} readings, mean {mean} {unit}",
        count,
    )
    return document(
        WIDTH, HEIGHT, title.format(count=count, mean=number_text(result.value), unit=unit), parts
    )


def _marks(
    outliers: Marks | None, span: tuple[float, float], reach: tuple[float, float], x: Any, y: Any
) -> list[str]:
    """Crosses at the outliers, at the edge of the chart where a flow is beyond it, and what they mean."""
    if outliers is None:
        return []
    times = np.asarray(outliers.times) / 1e6
    inside = np.flatnonzero((times >= span[0]) & (times <= span[1]))
    shown = inside[np.linspace(0, len(inside) - 1, min(len(inside), MAX_MARKS)).astype(int)]
    parts = []
    for at in shown:
        across, up = x(times[at]), y(min(max(float(outliers.values[at]), reach[0]), reach[1]))
        parts += [rule(across - 4, up - slope, across + 4, up + slope, MARK, 1.6) for slope in (4, -4)]
    if parts:
        meaning = (
            gettext("crosses: included outliers")
            if outliers.included
            else gettext("crosses: excluded readings")
        )
        parts.append(label(WIDTH - RIGHT, HEIGHT - 2, meaning, "end", MARK))
    return parts


def _clock(seconds: float) -> str:
    """How times along the chart are written, so that those of a short segment differ."""
    if seconds >= DAY_SECONDS:
        return "%m-%d %H:%M"
    return "%H:%M" if seconds >= 10 * MINUTE_SECONDS else "%H:%M:%S"


def _range(flows: Any, result: Result) -> tuple[float, float]:
    ends = [
        *flows[np.isfinite(flows)],
        result.value - result.expanded_uncertainty,
        result.value + result.expanded_uncertainty,
    ]
    low, high = float(min(ends)), float(max(ends))
    room = (high - low or abs(high) or 1.0) * 0.12
    return low - room, high + room


def _downsampled(moments: Any, flows: Any, whole: int) -> tuple[Any, Any]:
    """A segment with its share of the points a chart shows."""
    shown = downsampled(flows, max(round(POINTS * len(flows) / whole), 2))
    return moments[shown], flows[shown]


def _unbroken(moments: Any, flows: Any) -> list[tuple[Any, Any]]:
    """Parts of the whole series without a gap: a step ten times the usual one, or a value missing, breaks the line."""
    if len(moments) < 3:
        return [(moments, flows)]
    steps = np.diff(moments)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0
    breaks = np.flatnonzero((steps > 10 * usual) | ~np.isfinite(flows[1:])) + 1
    return list(zip(np.split(moments, breaks), np.split(flows, breaks), strict=True))


def _line(part: tuple[Any, Any], x: Any, y: Any) -> str:
    points = [(x(at), y(flow)) for at, flow in zip(*part, strict=True) if np.isfinite(flow)]
    return polyline(points, LINE, 0.9)
