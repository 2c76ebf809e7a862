"""Review of an interval by the drift of one calibration point over time: ILAC-G24 / OIML D 10, Method 2."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.base.messages import Finding, Message, field_name, finding, message, quantity
from compute.calibration.intervals import Bounds, Chart, Proposal, check_order, proposal, unit_term
from compute.statistics.gum import coverage_factor
from compute.statistics.straight_line import MIN_POINTS, FloatArray, Line, fit_line

PROBABILITY = 0.95
GOOD_POINTS = (
    5  # below, Student's factor makes the band so wide that the policy's bounds decide; default value
)
DRAWN = 200


@dataclass(frozen=True, slots=True)
class Calibrated:
    """One calibration of the same point: time (days or hours of use), error as found and as left, in one SI unit or a ratio.

    `left` is None where nothing was adjusted. `standard_uncertainty` is the standard uncertainty of an error, from the certificate.
    """

    at: float
    found: float
    left: float | None
    standard_uncertainty: float

    @property
    def adjustment(self) -> float:
        """The reduction of the error by an adjustment."""
        return 0.0 if self.left is None else self.found - self.left


@dataclass(frozen=True, slots=True)
class Drift:
    """Straight line through the errors without the adjustments; `adjusted` is the sum of the adjustments."""

    line: Line
    adjusted: float
    standard_uncertainty: float
    last: float

    def predicted(self, ahead: FloatArray | float) -> FloatArray:
        """Error expected a time after the last calibration."""
        return self.line.at(np.asarray(ahead) + self.last) - self.adjusted

    def expanded_uncertainty(self, ahead: FloatArray | float) -> FloatArray:
        """Expanded uncertainty of the prediction, 95 %: line and scatter by Student's t, plus the certificate's uncertainty."""
        spread = self.line.uncertainty_of_next(np.asarray(ahead) + self.last)
        factor = coverage_factor(PROBABILITY, self.line.degrees_of_freedom)
        normal = coverage_factor(PROBABILITY, math.inf)
        return np.hypot(factor * spread, normal * self.standard_uncertainty)


def drift_of(history: Sequence[Calibrated]) -> Drift:
    """Return the drift of an instrument at one calibration point, with adjustments undone.

    Each adjustment reduced the later errors by as found less as left; with these added back, the errors as found lie on one line. An
    adjustment's own uncertainty is not added again: it is in the certificate's.

    Parameters
    ----------
    history : sequence of Calibrated  by rising time, three or more

    Returns
    -------
    drift : Drift

    Raises
    ------
    NotEnough      fewer than three calibrations
    OutOfRange     times out of order, or an uncertainty below 0
    NumberInvalid  an error that is not finite

    Source
    ------
    ILAC-G24 / OIML D 10, 6.3 Method 2 (details from memory); line by JCGM 100:2008 H.3.
    """
    if len(history) < MIN_POINTS:
        raise NotEnough(variant="control-chart", needed=MIN_POINTS, count=len(history))
    check_order([calibrated.at for calibrated in history])
    if not all(0 <= calibrated.standard_uncertainty < math.inf for calibrated in history):
        raise OutOfRange(quantity=field_name("standard_uncertainty"), at_least=0)
    if not all(math.isfinite(calibrated.adjustment) for calibrated in history):
        raise NumberInvalid(quantity=field_name("measurement_error"), variant="not-finite")
    undone = np.concatenate([[0.0], np.cumsum([calibrated.adjustment for calibrated in history])])
    errors = np.array([calibrated.found for calibrated in history]) + undone[:-1]
    return Drift(
        line=fit_line([calibrated.at for calibrated in history], errors.tolist()),
        adjusted=float(undone[-1]),
        standard_uncertainty=max(calibrated.standard_uncertainty for calibrated in history),
        last=history[-1].at,
    )


def control_chart(
    history: Sequence[Calibrated], maximum_permissible_error: float, bounds: Bounds, kind: str
) -> Proposal:
    """Return the longest time for which the predicted error with its uncertainty stays within the permissible error.

    Parameters
    ----------
    history : sequence of Calibrated  by rising time, three or more; times in the unit of the bounds
    maximum_permissible_error : float [as the errors]  above 0
    bounds : Bounds
    kind : str  kind of quantity of an error, `number` for relative errors

    Returns
    -------
    proposal : Proposal  chart in errors as if never adjusted since the last calibration

    Raises
    ------
    NotEnough   fewer than three calibrations
    OutOfRange  a permissible error not above 0; see `drift_of`

    Source
    ------
    ILAC-G24 / OIML D 10, 6.3 Method 2 (details from memory): time at which |prediction| + U reaches the limit.
    """
    if not 0 < maximum_permissible_error < math.inf:
        raise OutOfRange(field="maximum_permissible_error", above=0)
    drift = drift_of(history)
    time = time_within(drift, maximum_permissible_error, bounds.longest)
    return proposal(
        "control-chart",
        time,
        bounds,
        reasoning=_reasoning(drift, maximum_permissible_error, time, bounds, kind),
        inputs=[
            ("calibrations", float(len(history))),
            ("drift", drift.line.slope),
            ("drift-standard-uncertainty", drift.line.slope_uncertainty),
            ("standard-deviation", drift.line.scatter),
            ("calibration-standard-uncertainty", drift.standard_uncertainty),
            ("maximum-permissible-error", maximum_permissible_error),
        ],
        chart=_chart(history, drift, maximum_permissible_error, bounds, kind),
        findings=_findings(history, drift, maximum_permissible_error, kind),
    )


def time_within(drift: Drift, limit: float, longest: float) -> float:
    """Return the longest time before |prediction| + U exceeds the limit.

    Parameters
    ----------
    drift : Drift
    limit : float [as the errors]
    longest : float [days or hours]  considered

    Returns
    -------
    time : float [days or hours]  infinite if beyond the longest time considered

    Source
    ------
    bisection : |prediction| and U are convex in time, so that the time within the limit is one interval.
    """

    def over(ahead: float) -> bool:
        reach = np.abs(drift.predicted(ahead)) + drift.expanded_uncertainty(ahead)
        return bool(reach > limit)

    if over(0.0):
        return 0.0
    if not over(longest):
        return math.inf
    low, high = 0.0, longest
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if over(middle) else (middle, high)
    return low


def _reasoning(drift: Drift, limit: float, time: float, bounds: Bounds, kind: str) -> tuple[Message, ...]:
    line = drift.line
    factor = coverage_factor(PROBABILITY, line.degrees_of_freedom)
    a_unit = 1000.0 if bounds.unit == "hours" else 365.25
    relative = kind == "number"
    said = [
        message(
            "calibration-drift",
            drift=quantity(line.slope * a_unit, kind),
            expanded_uncertainty=quantity(factor * line.slope_uncertainty * a_unit, kind),
            per="1000-hours" if bounds.unit == "hours" else "year",
            significant=bool(abs(line.slope) > factor * line.slope_uncertainty),
            relative=relative,
        ),
        message(
            "error-after-calibration",
            error=quantity(float(drift.predicted(0.0)), kind),
            expanded_uncertainty=quantity(float(drift.expanded_uncertainty(0.0)), kind),
            relative=relative,
        ),
    ]
    if math.isinf(time):
        ahead = bounds.longest
        said.append(
            message(
                "error-at-longest-interval",
                time=round(ahead),
                time_unit=unit_term(ahead, bounds.unit),
                error=quantity(float(drift.predicted(ahead)), kind),
                expanded_uncertainty=quantity(float(drift.expanded_uncertainty(ahead)), kind),
                maximum_permissible_error=quantity(limit, kind),
                relative=relative,
            )
        )
    else:
        said.append(
            message(
                "error-reaches-limit",
                time=round(time),
                time_unit=unit_term(time, bounds.unit),
                maximum_permissible_error=quantity(limit, kind),
                relative=relative,
            )
        )
    return tuple(said)


def _chart(history: Sequence[Calibrated], drift: Drift, limit: float, bounds: Bounds, kind: str) -> Chart:
    """Return the points shifted by later adjustments, so that they lie about the line through the last calibration."""
    undone = np.concatenate([[0.0], np.cumsum([calibrated.adjustment for calibrated in history])])[:-1]
    errors = np.array([calibrated.found for calibrated in history]) + undone - drift.adjusted
    x = np.linspace(history[0].at, drift.last + bounds.longest, DRAWN)
    middle, wide = drift.predicted(x - drift.last), drift.expanded_uncertainty(x - drift.last)
    return Chart(
        x_unit=bounds.unit,
        y_kind=kind,
        point_x=tuple(calibrated.at for calibrated in history),
        point_y=tuple(errors.tolist()),
        line_x=tuple(x.tolist()),
        line_y=tuple(middle.tolist()),
        band_low=tuple((middle - wide).tolist()),
        band_high=tuple((middle + wide).tolist()),
        limits=(-limit, limit),
    )


def _findings(history: Sequence[Calibrated], drift: Drift, limit: float, kind: str) -> list[Finding]:
    findings = []
    if len(history) < GOOD_POINTS:
        findings.append(
            finding("interval-few-calibrations", "warning", count=len(history), needed=GOOD_POINTS)
        )
    reach = float(abs(drift.predicted(0.0)) + drift.expanded_uncertainty(0.0))
    if reach > limit:
        findings.append(
            finding(
                "interval-error-at-limit",
                "warning",
                reach=quantity(reach, kind),
                maximum_permissible_error=quantity(limit, kind),
                relative=kind == "number",
            )
        )
    return findings
