"""Review of a calibration interval by ILAC-G24 / OIML D 10: proposals, staircase (Method 1), hours of use (Method 3).

The control chart (Method 2) is in `control_chart`, the reliability target (Method 5) in `reliability`. A person decides on a proposal;
decide on. Method 4, checks in service, is `intermediate`: it bears on whether an instrument may work on, not on a date.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Literal

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.base.messages import Finding, Message, field_name, finding, message, term

Unit = Literal["days", "hours"]
Method = Literal["staircase", "control-chart", "in-use-time", "reliability"]


@dataclass(frozen=True, slots=True)
class Bounds:
    """Shortest and longest interval that the policy allows, in days or in hours of use."""

    shortest: float
    longest: float
    unit: Unit = "days"

    def __post_init__(self) -> None:
        if not 0 < self.shortest <= self.longest < math.inf:
            raise OutOfRange(
                field=f"max_{self.unit}",
                variant="interval-bounds",
                shortest=self.shortest,
                longest=self.longest,
            )
        if self.longest > 100_000:
            raise OutOfRange(field=f"max_{self.unit}", value=self.longest, at_most=100_000)


@dataclass(frozen=True, slots=True)
class Chart:
    """Data of a review's chart; every array as long as its x. Errors in `y_kind`, or fractions (`number`)."""

    x_unit: Unit
    y_kind: str
    point_x: tuple[float, ...]
    point_y: tuple[float, ...]
    line_x: tuple[float, ...] = ()
    line_y: tuple[float, ...] = ()
    band_low: tuple[float, ...] = ()
    band_high: tuple[float, ...] = ()
    limits: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposed interval, bounded by policy, with its reasons.

    interval   in `unit`, before truncation to whole days; `days` and `hours` are the values to set
    unbounded  result of the method before the bounds; None: unlimited
    inputs     (name, value) the method used, in SI or the unit named
    """

    method: Method
    interval: float
    unbounded: float | None
    unit: Unit
    days: int | None
    hours: float | None
    reasoning: tuple[Message, ...]
    inputs: tuple[tuple[str, float], ...]
    chart: Chart
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Steps:
    """Steps of the staircase: longer while the error is within `comfortable` of the permissible error, shorter beyond that error.

    The factors are default values: the guide gives none. 0.8 is that of the 2007 edition, from memory.
    """

    comfortable: float = 0.8
    lengthen: float = 1.25
    shorten: float = 0.5

    def __post_init__(self) -> None:
        if not (0 < self.comfortable <= 1 <= self.lengthen < math.inf and 0 < self.shorten <= 1):
            raise OutOfRange(variant="staircase-steps")


@dataclass(frozen=True, slots=True)
class AsFoundResult:
    """An as-found result: time (days or hours of use since any fixed start), largest |error| over the permissible error."""

    at: float
    share: float


def proposal(
    method: Method,
    unbounded: float,
    bounds: Bounds,
    *,
    reasoning: Sequence[Message],
    inputs: Sequence[tuple[str, float]],
    chart: Chart,
    findings: Sequence[Finding] = (),
) -> Proposal:
    """Return a proposal within the bounds of the policy, with a finding where a bound applies.

    Parameters
    ----------
    method : str
    unbounded : float [days or hours as bounds]  result of the method, 0 or more; may be infinite
    bounds : Bounds
    reasoning : sequence of Message
    inputs : sequence of (name, value)
    chart : Chart
    findings : sequence of Finding

    Returns
    -------
    proposal : Proposal

    Raises
    ------
    NumberInvalid  an interval that is not a number

    Source
    ------
    ILAC-G24:2022 (from memory): intervals are kept between a shortest and a longest; whole days are cut, not rounded: a default.
    """
    if math.isnan(unbounded):
        raise NumberInvalid(variant="interval")
    interval = min(max(unbounded, bounds.shortest), bounds.longest)
    said, remarks = list(reasoning), list(findings)
    if interval != unbounded:
        parameters: dict[str, Any] = {
            "bound": "longest" if unbounded > interval else "shortest",
            "found": round(unbounded) if math.isfinite(unbounded) else None,
            "found_unit": unit_term(unbounded, bounds.unit),
            "allowed": round(interval),
            "allowed_unit": unit_term(interval, bounds.unit),
        }
        said.append(message("interval-at-bound", **parameters))
        remarks.append(finding("interval-at-bound", "info", **parameters))
    in_days = bounds.unit == "days"
    # A small amount is added before truncation: rounding must not turn 360 x 1.25 into 449.
    days = max(math.floor(interval * (1 + 1e-12)), 1) if in_days else None
    return Proposal(
        method, interval, unbounded if math.isfinite(unbounded) else None, bounds.unit, days, None if in_days else interval,
        tuple(said), tuple(inputs), chart, tuple(remarks),
    )  # fmt: skip


def staircase(
    history: Sequence[AsFoundResult], current: float, bounds: Bounds, steps: Steps | None = None
) -> Proposal:
    """Return the next interval from the last as-found result only: ILAC-G24 Method 1.

    The interval is lengthened within the comfortable fraction, unchanged up to the permissible error, shortened beyond it.

    Parameters
    ----------
    history : sequence of AsFoundResult  as-found results by rising time; the last decides, the others are drawn
    current : float [days or hours as bounds]  interval in force
    bounds : Bounds
    steps : Steps or None  None: 0.8, x 1.25, x 0.5

    Returns
    -------
    proposal : Proposal

    Raises
    ------
    NotEnough   no as-found result
    OutOfRange  an interval, share or order that cannot be

    Source
    ------
    ILAC-G24 / OIML D 10, 6.2 Method 1 (details from memory).
    """
    steps = steps or Steps()
    if not history:
        raise NotEnough(variant="as-found-result")
    check_order([found.at for found in history])
    if not 0 < current < math.inf:
        raise OutOfRange(quantity=field_name("interval"), value=current, above=0)
    if not all(0 <= found.share < math.inf for found in history):
        raise OutOfRange(quantity=field_name("fraction_of_limit"), at_least=0)
    share = history[-1].share
    factor, step = _step(share, steps)
    said = (
        message("as-found-fraction", fraction=float(share)),
        message(
            "staircase-step",
            step=step,
            comfortable=float(steps.comfortable),
            current=round(current),
            current_unit=unit_term(current, bounds.unit),
            factor=float(factor),
            result=round(current * factor),
            result_unit=unit_term(current * factor, bounds.unit),
        ),
    )
    chart = Chart(
        bounds.unit, "number", tuple(f.at for f in history), tuple(f.share for f in history),
        limits=(steps.comfortable, 1.0),
    )  # fmt: skip
    inputs = [("current-interval", current), ("fraction-of-limit", share), ("factor", factor)]
    return proposal("staircase", current * factor, bounds, reasoning=said, inputs=inputs, chart=chart)


def in_use(by_hours: Proposal, daily_hours: float, calendar: Bounds) -> Proposal:
    """Return an interval in hours of use, with a limit in days: ILAC-G24 Method 3.

    The hours come from the staircase or the control chart over hours of use. The days are the longest of the policy; the reasoning
    states when the hours are expected to be reached at the mean use.

    Parameters
    ----------
    by_hours : Proposal  in hours
    daily_hours : float [h]  mean use a day, 0 or more
    calendar : Bounds  in days

    Returns
    -------
    proposal : Proposal  hours and days

    Raises
    ------
    OutOfRange  a proposal in days, bounds in hours, or a use that cannot be

    Source
    ------
    ILAC-G24 / OIML D 10, 6.4 Method 3 (details from memory).
    """
    if by_hours.unit != "hours" or by_hours.hours is None or calendar.unit != "days":
        raise OutOfRange(variant="in-use-units")
    if not 0 <= daily_hours <= 24:
        raise OutOfRange(quantity=field_name("hours_a_day"), value=daily_hours, at_least=0, at_most=24)
    backstop = math.floor(calendar.longest)
    said = [*by_hours.reasoning]
    findings = list(by_hours.findings)
    expected = by_hours.hours / daily_hours if daily_hours else math.inf
    said.append(
        message(
            "hours-a-day",
            hours=float(daily_hours),
            days=round(expected) if expected < backstop else None,
            backstop=backstop,
        )
    )
    if expected < calendar.shortest:
        findings.append(
            finding(
                "interval-hours-soon", "warning", count=round(expected), shortest=round(calendar.shortest)
            )
        )
    return replace(
        by_hours,
        method="in-use-time",
        days=backstop,
        reasoning=tuple(said),
        inputs=(*by_hours.inputs, ("hours-a-day", daily_hours), ("calendar-backstop", calendar.longest)),
        findings=tuple(findings),
    )


def check_order(times: Sequence[float]) -> None:
    """Reject times that are not finite or do not increase.

    Parameters
    ----------
    times : sequence of float [any unit]

    Raises
    ------
    OutOfRange  a time that is not after the one before

    Source
    ------
    definition : a history runs forward.
    """
    if not all(math.isfinite(time) for time in times) or any(
        later <= earlier for earlier, later in pairwise(times)
    ):
        raise OutOfRange(variant="history-order")


def unit_term(time: float, unit: Unit) -> dict[str, str]:
    """Return the unit of a time in whole days or hours, in the singular or the plural.

    Parameters
    ----------
    time : float [days or hours as unit]
    unit : str  `days` or `hours`

    Returns
    -------
    term : dict  a term of the message catalogue

    Source
    ------
    definition : singular for 1.
    """
    return term(unit.removesuffix("s") if math.isfinite(time) and round(time) == 1 else unit)


def _step(share: float, steps: Steps) -> tuple[float, str]:
    if share > 1:
        return steps.shorten, "shortened"
    if share > steps.comfortable:
        return 1.0, "unchanged"
    return steps.lengthen, "lengthened"
