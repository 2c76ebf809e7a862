"""Review of a calibration interval by ILAC-G24 / OIML D 10: what a proposal is, the staircase (Method 1), hours of use (Method 3).

The control chart (Method 2) is in `control_chart`, the reliability target (Method 5) in `reliability`. A proposal is for a person to
decide on. Method 4, checks in service, is `intermediate`: it bears on whether an instrument may work on, not on a date.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.base.findings import Finding
from compute.base.sources import PRACTICE

Unit = Literal["days", "hours"]
Method = Literal["staircase", "control-chart", "in-use-time", "reliability"]


@dataclass(frozen=True, slots=True)
class Bounds:
    """Shortest and longest interval that the office's policy allows, in days or in hours of use."""

    shortest: float
    longest: float
    unit: Unit = "days"

    def __post_init__(self) -> None:
        if not 0 < self.shortest <= self.longest < math.inf:
            detail = f"The bounds of an interval are above 0 and in order; {self.shortest:g} to {self.longest:g} {self.unit} are given."
            raise OutOfRange(detail, field="policy")
        if self.longest > 100_000:
            raise OutOfRange("An interval above 100,000 days or hours cannot be meant.", field="policy")


@dataclass(frozen=True, slots=True)
class Chart:
    """What a chart of a review draws; every array as long as its x. Errors in `y_kind`, or shares (`number`)."""

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

    interval   in `unit`, before it is cut to whole days; `days` and `hours` are what to set
    unbounded  what the method came to before the bounds; None: it saw no end
    inputs     (name, figure) the method used, in SI or the unit named
    """

    method: Method
    interval: float
    unbounded: float | None
    unit: Unit
    days: int | None
    hours: float | None
    reasoning: tuple[str, ...]
    inputs: tuple[tuple[str, float], ...]
    chart: Chart
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Steps:
    """How the staircase steps: up while the error stays within `comfortable` of the permissible, down when beyond it.

    The factors are a house choice: the guide gives none. 0.8 is that of the 2007 edition, from memory.
    """

    comfortable: float = 0.8
    lengthen: float = 1.25
    shorten: float = 0.5

    def __post_init__(self) -> None:
        if not (0 < self.comfortable <= 1 <= self.lengthen < math.inf and 0 < self.shorten <= 1):
            detail = "The staircase needs a comfortable share in 0 to 1, a factor up of 1 or more, a factor down in 0 to 1."
            raise OutOfRange(detail, field="policy.steps")


@dataclass(frozen=True, slots=True)
class Found:
    """An as-found result: when (days or hours of use since any fixed start), largest |error| over the permissible error."""

    at: float
    share: float


def proposal(
    method: Method,
    unbounded: float,
    bounds: Bounds,
    *,
    reasoning: Sequence[str],
    inputs: Sequence[tuple[str, float]],
    chart: Chart,
    findings: Sequence[Finding] = (),
) -> Proposal:
    """A proposal held within the bounds of policy, which it says when they bind.

    Parameters
    ----------
    method : str
    unbounded : float [days or hours as bounds]  what the method came to, 0 or more; may be infinite
    bounds : Bounds
    reasoning : sequence of str
    inputs : sequence of (name, figure)
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
        raise NumberInvalid("The review came to no number; look at its inputs.")
    interval = min(max(unbounded, bounds.shortest), bounds.longest)
    said, remarks = list(reasoning), list(findings)
    if interval != unbounded:
        which = "longest" if unbounded > interval else "shortest"
        came = f"{unbounded:.0f} {bounds.unit}" if math.isfinite(unbounded) else "no end"
        found = unbounded if math.isfinite(unbounded) else "no end"
        detail = f"The method came to {came}; the {which} that policy allows is {interval:.0f} {bounds.unit}."
        said.append(detail)
        remarks.append(Finding("interval-at-bound", "info", detail, "policy", found, interval))
    in_days = bounds.unit == "days"
    # A hair is added before the cut: 360 x 1.25 must not become 449 by rounding.
    days = max(math.floor(interval * (1 + 1e-12)), 1) if in_days else None
    return Proposal(
        method, interval, unbounded if math.isfinite(unbounded) else None, bounds.unit, days, None if in_days else interval,
        tuple(said), tuple(inputs), chart, tuple(remarks),
    )  # fmt: skip


def staircase(
    history: Sequence[Found], current: float, bounds: Bounds, steps: Steps | None = None
) -> Proposal:
    """Next interval from the last as-found result alone: ILAC-G24 Method 1.

    Within the comfortable share the interval is lengthened, between that and the permissible error kept, beyond it shortened.

    Parameters
    ----------
    history : sequence of Found  as-found results by rising time; the last decides, the others are drawn
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
        detail = "No as-found result is on record; the staircase needs the last one."
        raise NotEnough(detail, field="history")
    check_order([found.at for found in history])
    if not 0 < current < math.inf:
        raise OutOfRange(f"An interval of {current:g} cannot be.", field="interval")
    if not all(0 <= found.share < math.inf for found in history):
        raise OutOfRange("A share of the permissible error is 0 or more and finite.", field="history")
    share = history[-1].share
    factor, why = _step(share, steps)
    said = (
        f"As found, the largest error was {share:.0%} of the permissible error.",
        f"{why} {current:.0f} {bounds.unit} x {factor:g} = {current * factor:.0f} {bounds.unit}.",
    )
    chart = Chart(
        bounds.unit, "number", tuple(f.at for f in history), tuple(f.share for f in history),
        limits=(steps.comfortable, 1.0),
    )  # fmt: skip
    inputs = [("current interval", current), ("share of the permissible error", share), ("factor", factor)]
    return proposal("staircase", current * factor, bounds, reasoning=said, inputs=inputs, chart=chart)


def in_use(by_hours: Proposal, daily_hours: float, calendar: Bounds) -> Proposal:
    """An interval in hours of use, with its calendar backstop: ILAC-G24 Method 3.

    The hours come from the staircase or the control chart over hours of use. The days are policy's longest; the reasoning says
    when the hours are expected to run out at the mean use.

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
        raise OutOfRange("In-use time takes an interval in hours and a calendar backstop in days.")
    if not 0 <= daily_hours <= 24:
        raise OutOfRange(f"A use of {daily_hours:g} hours a day cannot be.", field="daily_hours")
    backstop = math.floor(calendar.longest)
    said = [*by_hours.reasoning]
    findings = list(by_hours.findings)
    expected = by_hours.hours / daily_hours if daily_hours else math.inf
    if expected < backstop:
        said.append(
            f"At {daily_hours:.2g} hours a day they run out after about {expected:.0f} days, before the backstop of {backstop} days."
        )
    else:
        said.append(f"At {daily_hours:.2g} hours a day the backstop of {backstop} days comes first.")
    if expected < calendar.shortest:
        detail = f"The hours run out after {expected:.0f} days, sooner than the shortest {calendar.shortest:.0f} days that policy allows for."
        findings.append(
            Finding(
                "interval-hours-soon",
                "warning",
                detail,
                "policy",
                expected,
                calendar.shortest,
                source=PRACTICE,
            )
        )
    return replace(
        by_hours,
        method="in-use-time",
        days=backstop,
        reasoning=tuple(said),
        inputs=(*by_hours.inputs, ("hours a day", daily_hours), ("calendar backstop", calendar.longest)),
        findings=tuple(findings),
    )


def check_order(times: Sequence[float]) -> None:
    """Refuses times that are not finite or do not rise.

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
        raise OutOfRange("The history is not in order of time, or two results share a time.", field="history")


def _step(share: float, steps: Steps) -> tuple[float, str]:
    if share > 1:
        return steps.shorten, "That is out of tolerance: the interval is shortened."
    if share > steps.comfortable:
        return 1.0, f"That is within, but above {steps.comfortable:.0%}: the interval is kept."
    return steps.lengthen, f"That is within {steps.comfortable:.0%}: the interval is lengthened."
