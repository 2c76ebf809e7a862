"""Intermediate checks: zero flow, thickness gauge on a step block, thermometer against a reference.

Two meters on one pipe are in `meter_comparison`, the history of a check in `check_trend`.

An outcome is `within`, `warning` or `out` (the instrument is questionable: ISO/IEC 17025:2017 6.4.9). A check shows that an
instrument has not changed significantly; it is not a calibration.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.base.messages import Finding, Message, field_name, finding, message, quantity, term
from compute.base.units import difference_kind
from compute.statistics.autocorrelation import FloatArray, repeatability
from compute.statistics.gum import coverage_factor
from compute.statistics.straight_line import MIN_POINTS, fit_line

Outcome = Literal["within", "warning", "out"]

PROBABILITY = 0.95


@dataclass(frozen=True, slots=True)
class CheckLimits:
    """Warning and action limit of |deviation|, in its SI unit."""

    warning: float
    action: float

    def __post_init__(self) -> None:
        if not 0 < self.warning <= self.action < math.inf:
            raise OutOfRange(field="limits", variant="check-limits")


@dataclass(frozen=True, slots=True)
class CheckResult:
    """Outcome of a check; `deviation` and its expanded uncertainty (95 %) in SI, `kind` their kind of quantity.

    `figures` are further values (name, value, kind); `sentences` are messages that describe the check.
    """

    outcome: Outcome
    deviation: float
    standard_uncertainty: float
    expanded_uncertainty: float
    kind: str
    limits: CheckLimits
    figures: tuple[tuple[str, float, str], ...]
    sentences: tuple[Message, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a block [m]: certified thickness with its standard uncertainty, and the readings of the gauge."""

    certified: float
    standard_uncertainty: float
    readings: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Measured:
    """The value one meter measured, in SI, with its standard uncertainty (k = 1)."""

    value: float
    standard_uncertainty: float


def zero_flow_check(
    time_differences: FloatArray, limits: CheckLimits, time_difference_per_velocity: float | None = None
) -> CheckResult:
    """Check the zero of a meter from time differences logged with the flow shut off.

    The mean's uncertainty allows for correlated readings and for a drift (`compute.statistics.autocorrelation.repeatability`).

    Parameters
    ----------
    time_differences : (n,) [s]  equally spaced in time, 8 or more
    limits : CheckLimits  [s]
    time_difference_per_velocity : float or None [s/(m/s)]  of the set-up, to express the zero as a velocity

    Returns
    -------
    result : CheckResult

    Raises
    ------
    NotEnough      fewer than 8 readings
    NumberInvalid  a reading that is not finite
    OutOfRange     a time difference per velocity not above 0

    Source
    ------
    JCGM 100:2008 (GUM) 4.2 and G.3 (mean and Student's t); see `compute.statistics.autocorrelation`.
    """
    found = repeatability(time_differences)
    factor = coverage_factor(PROBABILITY, found.degrees_of_freedom)
    figures = [
        ("standard-deviation", found.standard_deviation, "time_difference"),
        ("drift", found.drift, "time_difference"),
        ("readings", float(found.count), "number"),
    ]
    velocity = None
    if time_difference_per_velocity is not None:
        if not time_difference_per_velocity > 0:
            raise OutOfRange(quantity=field_name("time_difference_per_velocity"), above=0)
        velocity = found.mean / time_difference_per_velocity
        figures.append(("zero-as-velocity", velocity, "speed"))
    measured = message(
        "zero-flow-readings",
        count=found.count,
        mean=quantity(found.mean, "time_difference"),
        standard_deviation=quantity(found.standard_deviation, "time_difference"),
        drift=quantity(found.drift, "time_difference"),
        velocity=None if velocity is None else quantity(velocity, "speed"),
    )
    findings = []
    if found.drift_uncertainty > 0:
        findings.append(
            finding("zero-drifting", "info", "readings", drift=quantity(found.drift, "time_difference"))
        )
    return _result(
        (found.mean, found.standard_uncertainty, factor),
        "time_difference",
        limits,
        figures,
        [measured],
        findings,
    )


def step_block_check(steps: Sequence[Step], limits: CheckLimits, gauge_resolution: float) -> CheckResult:
    """Check a thickness gauge on its step block; the worst step decides.

    With three steps or more a line through the deviations separates an offset (probe zero, worn face) from a slope (sound speed set
    wrong).

    Parameters
    ----------
    steps : sequence of Step  each with one reading or more
    limits : CheckLimits  [m]
    gauge_resolution : float [m]  smallest step of the display, 0 or more

    Returns
    -------
    result : CheckResult  of the step with the largest deviation; figures: deviation of each, offset, slope

    Raises
    ------
    NotEnough   no step, or a step without readings
    OutOfRange  a thickness not above 0 or an uncertainty below it

    Source
    ------
    ISO 16809 (check on a step block), from memory; JCGM 100:2008 4.3.7 (resolution as a rectangle).
    """
    if not steps:
        raise NotEnough(field="steps", variant="check-steps")
    if gauge_resolution < 0:
        raise OutOfRange(field="resolution", at_least=0)
    found = [_deviation(step, gauge_resolution) for step in steps]
    worst = max(found, key=lambda one: abs(one[0]))
    figures = [(f"deviation-of-step-{number}", one[0], "length") for number, one in enumerate(found, start=1)]
    at = steps[found.index(worst)].certified
    said = [
        message(
            "step-block-readings",
            count=len(steps),
            at=quantity(at, "length"),
            deviation=quantity(worst[0], "length"),
        )
    ]
    if len({step.certified for step in steps}) >= MIN_POINTS:
        line = fit_line([step.certified for step in steps], [one[0] for one in found])
        offset = float(line.at(0.0))
        figures += [("offset", offset, "length"), ("slope", line.slope, "number")]
        said.append(message("step-block-line", offset=quantity(offset, "length"), slope=float(line.slope)))
    return _result(worst, "length", limits, figures, said, [])


def reference_check(
    readings: Sequence[float], reference: Measured, limits: CheckLimits, resolution: float, kind: str
) -> CheckResult:
    """Check readings against one reference value: a thermometer in melting ice (273.15 K) or beside a more accurate one.

    Parameters
    ----------
    readings : sequence of float [SI]  one or more
    reference : Measured  [as readings]
    limits : CheckLimits  [as a difference of readings]
    resolution : float [as a difference of readings]  smallest step of the display, 0 or more
    kind : str  kind of quantity of the readings, e.g. `temperature`

    Returns
    -------
    result : CheckResult  deviation = mean reading less reference

    Raises
    ------
    NotEnough      no reading
    NumberInvalid  a reading that is not finite
    OutOfRange     an uncertainty or resolution below 0

    Source
    ------
    JCGM 100:2008 (GUM) 4.2 (mean), 4.3.7 (resolution as a rectangle), 5.1.2.
    """
    if resolution < 0:
        raise OutOfRange(field="resolution", at_least=0)
    found = _mean_deviation(readings, reference, resolution)
    said = [
        message(
            "reference-readings",
            count=len(readings),
            reference=quantity(reference.value, kind),
            deviation=quantity(found[0], difference_kind(kind)),
        )
    ]
    figures = [("reference", reference.value, kind), ("mean-reading", reference.value + found[0], kind)]
    return _result(found, difference_kind(kind), limits, figures, said, [])


def _deviation(step: Step, resolution: float) -> tuple[float, float, float]:
    if not (step.certified > 0 and step.standard_uncertainty >= 0):
        raise OutOfRange(field="steps", variant="check-step")
    return _mean_deviation(step.readings, Measured(step.certified, step.standard_uncertainty), resolution)


def _mean_deviation(
    readings: Sequence[float], reference: Measured, resolution: float
) -> tuple[float, float, float]:
    """Return the mean reading less the reference, its standard uncertainty and coverage factor."""
    values = np.asarray(readings, dtype=float)
    if values.size == 0:
        raise NotEnough(field="readings", variant="check-readings")
    if not np.isfinite(values).all():
        raise NumberInvalid(field="readings", variant="not-finite")
    if not 0 <= reference.standard_uncertainty < math.inf:
        raise OutOfRange(field="reference", quantity=field_name("standard_uncertainty"), at_least=0)
    deviation = float(values.mean()) - reference.value
    known = math.hypot(reference.standard_uncertainty, resolution / math.sqrt(12))
    if values.size == 1:
        return deviation, known, coverage_factor(PROBABILITY, math.inf)
    scatter = float(values.std(ddof=1)) / math.sqrt(values.size)
    total = math.hypot(known, scatter)
    freedom = (values.size - 1) * (total / scatter) ** 4 if scatter > 0 else math.inf
    return deviation, total, coverage_factor(PROBABILITY, freedom)


def _result(
    found: tuple[float, float, float],
    kind: str,
    limits: CheckLimits,
    figures: Sequence[tuple[str, float, str]],
    said: Sequence[Message],
    findings: Sequence[Finding],
) -> CheckResult:
    """Judge a deviation: out beyond the action limit; warning beyond the warning limit, or if the uncertainty reaches the action limit.

    Source of the outcomes: ISO/IEC 17025:2017 6.4.9 (questionable equipment is taken out of service), from memory.
    """
    deviation, uncertainty, factor = found
    expanded = factor * uncertainty
    if abs(deviation) > limits.action:
        outcome: Outcome = "out"
    elif abs(deviation) > limits.warning or abs(deviation) + expanded > limits.action:
        outcome = "warning"
    else:
        outcome = "within"
    parameters = {
        "deviation": quantity(deviation, kind),
        "expanded_uncertainty": quantity(expanded, kind),
        "warning_limit": quantity(limits.warning, kind),
        "action_limit": quantity(limits.action, kind),
    }
    conclusion = message("check-outcome", outcome=term(f"check-{outcome}"), **parameters)
    remarks = []
    if outcome == "out":
        remarks = [finding("check-out-of-limits", "error", **parameters)]
    elif outcome == "warning":
        remarks = [finding("check-warning", "warning", **parameters)]
    return CheckResult(
        outcome, deviation, uncertainty, expanded, kind, limits, tuple(figures), (*said, conclusion), (*findings, *remarks)
    )  # fmt: skip
