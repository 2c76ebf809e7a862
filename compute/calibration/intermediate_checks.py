"""Checks between calibrations: zero of a meter, gauge on its step block, thermometer against a reference.

Two meters on one pipe are in `comparison`, the history of a check in `check_trend`.

An outcome is `within`, `warning` (look sooner) or `out` (the instrument is questionable: ISO/IEC 17025:2017 6.4.9). A check says
that an instrument has not changed much; it is no calibration.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.base.figures import counted, difference_kind, worded
from compute.base.findings import Finding
from compute.base.marks import plain
from compute.base.sources import PRACTICE, Source
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
            raise OutOfRange(
                "Check limits are above 0, the warning one not above the action one.", field="limits"
            )


@dataclass(frozen=True, slots=True)
class CheckResult:
    """Outcome of a check; `deviation` and its expanded uncertainty (95 %) in SI, `kind` theirs.

    `figures` are further (name, value, kind); `sentences` say all for a technician.
    """

    outcome: Outcome
    deviation: float
    standard_uncertainty: float
    expanded_uncertainty: float
    kind: str
    limits: CheckLimits
    figures: tuple[tuple[str, float, str], ...]
    sentences: tuple[str, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a block [m]: certified thickness with its standard uncertainty, and what the gauge showed on it."""

    certified: float
    standard_uncertainty: float
    readings: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Measured:
    """What one meter found, in SI, with its standard uncertainty (k = 1)."""

    value: float
    standard_uncertainty: float


def zero_flow_check(
    time_differences: FloatArray, limits: CheckLimits, time_difference_per_velocity: float | None = None
) -> CheckResult:
    """Zero of a meter from time differences logged with the flow shut off.

    The mean's uncertainty allows for readings that hang together and for a drift (`compute.statistics.autocorrelation.repeatability`).

    Parameters
    ----------
    time_differences : (n,) [s]  equally spaced in time, 8 or more
    limits : CheckLimits  [s]
    time_difference_per_velocity : float or None [s/(m/s)]  of the set-up it was on, to say what the zero is as a velocity

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
        ("scatter", found.standard_deviation, "time_difference"),
        ("drift", found.drift, "time_difference"),
        ("readings", float(found.count), "number"),
    ]
    said = [
        f"{found.count} readings at no flow: mean {worded(found.mean, 'time_difference')}, scatter "
        f"{worded(found.standard_deviation, 'time_difference')}, drift over the log {worded(found.drift, 'time_difference')}."
    ]
    if time_difference_per_velocity is not None:
        if not time_difference_per_velocity > 0:
            raise OutOfRange("A time difference per velocity is above 0.", field="setup")
        velocity = found.mean / time_difference_per_velocity
        figures.append(("zero as a velocity", velocity, "speed"))
        said.append(f"On this set-up that is {worded(velocity, 'speed')}.")
    findings = []
    if found.drift_uncertainty > 0:
        detail = (
            f"The zero moved by {worded(found.drift, 'time_difference')} during the check. Was the flow really shut, and had the meter "
            "warmed up?"
        )
        findings.append(
            Finding(
                "zero-drifting",
                "info",
                detail,
                "readings.time_difference",
                found.drift,
                0.0,
                "time_difference",
            )
        )
    return _result(
        (found.mean, found.standard_uncertainty, factor), "time_difference", limits, figures, said, findings
    )


def step_block_check(steps: Sequence[Step], limits: CheckLimits, gauge_resolution: float) -> CheckResult:
    """Thickness gauge on its step block: the worst step decides.

    Over three steps or more a line through the deviations tells an offset (probe zero, worn face) from a slope (sound speed set
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
        raise NotEnough("The check has no step.", field="steps")
    if gauge_resolution < 0:
        raise OutOfRange("A resolution is not below 0.", field="gauge_resolution")
    found = [_deviation(step, gauge_resolution) for step in steps]
    worst = max(found, key=lambda one: abs(one[0]))
    figures = [
        (f"deviation at {plain(worded(step.certified, 'length'), 'metric')}", one[0], "length")
        for step, one in zip(steps, found, strict=True)
    ]
    at = steps[found.index(worst)].certified
    said = [
        f"{counted(len(steps), 'step')} checked; the largest deviation, at {worded(at, 'length')}, is {worded(worst[0], 'length')}."
    ]
    if len({step.certified for step in steps}) >= MIN_POINTS:
        line = fit_line([step.certified for step in steps], [one[0] for one in found])
        offset = float(line.at(0.0))
        figures += [("offset", offset, "length"), ("slope", line.slope, "number")]
        said.append(
            f"The deviations are as an offset of {worded(offset, 'length')} and {worded(line.slope, 'number')} of the thickness. A slope "
            "says the sound speed is set off by as much, an offset that the probe's zero is."
        )
    return _result(worst, "length", limits, figures, said, [])


def reference_check(
    readings: Sequence[float], reference: Measured, limits: CheckLimits, resolution: float, kind: str
) -> CheckResult:
    """An instrument's readings against one reference value: a thermometer in melting ice (273.15 K) or beside a better one.

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
        raise OutOfRange("A resolution is not below 0.", field="resolution")
    found = _mean_deviation(readings, reference, resolution)
    said = [
        f"{counted(len(readings), 'reading')} against {worded(reference.value, kind)}: {worded(found[0], difference_kind(kind))} off."
    ]
    figures = [("reference", reference.value, kind), ("mean reading", reference.value + found[0], kind)]
    return _result(found, difference_kind(kind), limits, figures, said, [])


def outcome_findings(
    outcome: Outcome, verdict: str, value: float, limit: float, kind: str, source: Source
) -> tuple[Finding, ...]:
    """What an outcome gives reason to say.

    Parameters
    ----------
    outcome : str
    verdict : str  a sentence with the figures
    value : float [SI]
    limit : float [SI]  that it was held against
    kind : str  kind of quantity of both
    source : Source  of the limit

    Returns
    -------
    findings : tuple of Finding  none if within

    Source
    ------
    ISO/IEC 17025:2017 6.4.9 (questionable equipment is taken out of service), from memory.
    """
    if outcome == "within":
        return ()
    if outcome == "out":
        detail = f"{verdict} Take the instrument out of use until it has been looked at."
        return (Finding("check-out-of-limits", "error", detail, "", value, limit, kind, source),)
    detail = f"{verdict} Repeat the check, and have the instrument calibrated sooner if it stays so."
    return (Finding("check-warning", "warning", detail, "", value, limit, kind, source),)


def _deviation(step: Step, resolution: float) -> tuple[float, float, float]:
    if not (step.certified > 0 and step.standard_uncertainty >= 0):
        raise OutOfRange("A step is above 0, its standard uncertainty not below it.", field="steps")
    return _mean_deviation(step.readings, Measured(step.certified, step.standard_uncertainty), resolution)


def _mean_deviation(
    readings: Sequence[float], reference: Measured, resolution: float
) -> tuple[float, float, float]:
    """Mean reading less reference, its standard uncertainty and coverage factor."""
    values = np.asarray(readings, dtype=float)
    if values.size == 0:
        raise NotEnough("A check needs a reading.", field="readings")
    if not np.isfinite(values).all():
        raise NumberInvalid("A reading of the check is not finite.", field="readings")
    if not 0 <= reference.standard_uncertainty < math.inf:
        raise OutOfRange("A standard uncertainty is 0 or more and finite.", field="reference")
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
    said: Sequence[str],
    findings: Sequence[Finding],
) -> CheckResult:
    """Out beyond the action limit; a warning beyond the warning limit, or where the uncertainty reaches the action limit."""
    deviation, uncertainty, factor = found
    expanded = factor * uncertainty
    if abs(deviation) > limits.action:
        outcome: Outcome = "out"
    elif abs(deviation) > limits.warning or abs(deviation) + expanded > limits.action:
        outcome = "warning"
    else:
        outcome = "within"
    verdict = (
        f"{worded(deviation, kind)} with an expanded uncertainty of {worded(expanded, kind)}, against limits of "
        f"{worded(limits.warning, kind)} (warning) and {worded(limits.action, kind)} (action): {outcome}."
    )
    remarks = outcome_findings(outcome, verdict, deviation, limits.action, kind, PRACTICE)
    return CheckResult(
        outcome, deviation, uncertainty, expanded, kind, limits, tuple(figures), (*said, verdict), (*findings, *remarks)
    )  # fmt: skip
