"""Trend of an intermediate check: drift, and runs that are unlikely by chance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from compute.base.errors import NotEnough, NumberInvalid
from compute.base.messages import Finding, Message, field_name, finding, message, quantity
from compute.base.sources import Source
from compute.calibration.intermediate_checks import PROBABILITY, CheckLimits
from compute.calibration.intervals import Chart, check_order
from compute.statistics.gum import coverage_factor
from compute.statistics.straight_line import MIN_POINTS, FloatArray, Line, fit_line

SHEWHART = Source("ISO 7870-2 and ISO 8258 (Shewhart control charts)", "unverified")
RUN_LENGTH = 7
DRAWN = 100
DAYS_A_YEAR = 365.25
RunKind = Literal["beyond-action", "two-of-three-beyond-warning", "one-side", "rising", "falling"]


@dataclass(frozen=True, slots=True)
class Checked:
    """One result of a check: day [since any fixed start], deviation [SI]."""

    at: float
    deviation: float


@dataclass(frozen=True, slots=True)
class Run:
    """A pattern that is unlikely by chance; `first` and `last` are indexes in the history."""

    kind: RunKind
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Trend:
    """Trend of a check; slope in the deviation's unit a day.

    `days_to_action` is the time from the last check until the line reaches the action limit; None if the slope is not significant or leads away.
    """

    slope: float
    slope_standard_uncertainty: float
    degrees_of_freedom: float
    significant: bool
    days_to_action: float | None
    runs: tuple[Run, ...]
    chart: Chart
    sentences: tuple[Message, ...]
    findings: tuple[Finding, ...]


def check_trend(history: Sequence[Checked], limits: CheckLimits, kind: str) -> Trend:
    """Return the slope of a check's deviations with its uncertainty, and the runs in them.

    Parameters
    ----------
    history : sequence of Checked  by rising time, three or more
    limits : CheckLimits  [as the deviations]
    kind : str  kind of quantity of a deviation

    Returns
    -------
    trend : Trend

    Raises
    ------
    NotEnough      fewer than three results
    NumberInvalid  a deviation that is not finite
    OutOfRange     times out of order

    Source
    ------
    slope : JCGM 100:2008 H.3; significant where it passes Student's t at 95 % times its standard uncertainty.
    runs : see `runs`.
    """
    if len(history) < MIN_POINTS:
        raise NotEnough(variant="check-trend", needed=MIN_POINTS, count=len(history))
    check_order([checked.at for checked in history])
    line = fit_line([checked.at for checked in history], [checked.deviation for checked in history])
    factor = coverage_factor(PROBABILITY, line.degrees_of_freedom)
    significant = abs(line.slope) > factor * line.slope_uncertainty
    ahead = _days_to(limits.action, line, history[-1].at) if significant else None
    found = runs([checked.deviation for checked in history], limits)
    return Trend(
        slope=line.slope,
        slope_standard_uncertainty=line.slope_uncertainty,
        degrees_of_freedom=line.degrees_of_freedom,
        significant=significant,
        days_to_action=ahead,
        runs=found,
        chart=_chart(history, line, factor, limits, kind),
        sentences=_sentences(line, factor, significant, ahead, kind),
        findings=(*_trend_findings(line, factor, significant, kind), *_run_findings(found)),
    )


def runs(deviations: Sequence[float], limits: CheckLimits) -> tuple[Run, ...]:
    """Find patterns in a series of deviations about 0 that are unlikely by chance.

    One deviation beyond the action limit; two of three in a row beyond the warning limit on one side; seven in a row on one side of 0;
    seven in a row that rise or fall.

    Parameters
    ----------
    deviations : sequence of float [any unit]  in order of time
    limits : CheckLimits  [as deviations]

    Returns
    -------
    runs : tuple of Run  each at its full length, by their start

    Raises
    ------
    NumberInvalid  a deviation that is not finite

    Source
    ------
    ISO 7870-2 and ISO 8258, from memory.
    """
    values = np.asarray(deviations, dtype=float)
    if not np.isfinite(values).all():
        raise NumberInvalid(quantity=field_name("deviation"), variant="not-finite")
    found = [Run("beyond-action", i, i) for i in np.flatnonzero(np.abs(values) > limits.action).tolist()]
    for side in (1.0, -1.0):
        found += _two_of_three(side * values > limits.warning)
        found += [Run("one-side", *ends) for ends in _spans_where(side * values > 0, RUN_LENGTH)]
    steps = np.diff(values)
    # Six steps of one sign join seven points.
    found += [Run("rising", a, b + 1) for a, b in _spans_where(steps > 0, RUN_LENGTH - 1)]
    found += [Run("falling", a, b + 1) for a, b in _spans_where(steps < 0, RUN_LENGTH - 1)]
    return tuple(sorted(found, key=lambda run: (run.first, run.last, run.kind)))


def _spans_where(holds: np.ndarray[tuple[int], np.dtype[np.bool_]], least: int) -> list[tuple[int, int]]:
    """Return the first and last index of each row of true values of at least the given length."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(int)))
    pairs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [(start, end - 1) for start, end in pairs if end - start >= least]


def _two_of_three(beyond: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[Run]:
    """Return pairs beyond the warning limit with at most one result between them."""
    places = np.flatnonzero(beyond).tolist()
    return [
        Run("two-of-three-beyond-warning", first, second)
        for first, second in pairwise(places)
        if second - first <= 2
    ]


def _days_to(action: float, line: Line, last: float) -> float | None:
    now = float(line.at(last))
    if now * line.slope < 0:  # leads back to 0 first: no forecast
        return None
    days = max((action - abs(now)) / abs(line.slope), 0.0)
    return days if math.isfinite(days) else None  # a slope next to 0 reaches the limit at no date


def _sentences(
    line: Line, factor: float, significant: bool, ahead: float | None, kind: str
) -> tuple[Message, ...]:
    drift = message(
        "check-drift",
        drift=quantity(line.slope * DAYS_A_YEAR, kind),
        expanded_uncertainty=quantity(factor * line.slope_uncertainty * DAYS_A_YEAR, kind),
        significant=significant,
    )
    if ahead is None:
        return (drift,)
    return (drift, message("check-reaches-limit", count=round(ahead)))


def _chart(history: Sequence[Checked], line: Line, factor: float, limits: CheckLimits, kind: str) -> Chart:
    x: FloatArray = np.linspace(history[0].at, history[-1].at, DRAWN)
    middle, wide = line.at(x), factor * line.uncertainty_at(x)
    return Chart(
        x_unit="days",
        y_kind=kind,
        point_x=tuple(checked.at for checked in history),
        point_y=tuple(checked.deviation for checked in history),
        line_x=tuple(x.tolist()),
        line_y=tuple(middle.tolist()),
        band_low=tuple((middle - wide).tolist()),
        band_high=tuple((middle + wide).tolist()),
        limits=(-limits.action, -limits.warning, limits.warning, limits.action),
    )


def _trend_findings(line: Line, factor: float, significant: bool, kind: str) -> list[Finding]:
    if not significant:
        return []
    return [
        finding(
            "check-drifting",
            "warning",
            drift=quantity(line.slope * DAYS_A_YEAR, kind),
            expanded_uncertainty=quantity(factor * line.slope_uncertainty * DAYS_A_YEAR, kind),
        )
    ]


def _run_findings(found: Sequence[Run]) -> list[Finding]:
    return [
        finding(
            "check-non-random",
            "warning",
            source=SHEWHART,
            pattern=run.kind,
            first=run.first + 1,
            last=run.last + 1,
            length=RUN_LENGTH,
        )
        for run in found
    ]
