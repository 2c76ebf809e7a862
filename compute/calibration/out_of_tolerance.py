"""What an instrument found out of tolerance does to results made with it: which are in doubt, and by how much they would move."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.base.findings import Finding
from compute.calibration.decision_rules import Conformity, conforming
from compute.calibration.error_correction import Zero, correction_at, indicated_from_true, true_from_indicated
from compute.calibration.points import ErrorCurve


@dataclass(frozen=True, slots=True)
class Effect:
    """What a result would become: `relative_change` = new/old - 1 with its standard uncertainty (k = 1)."""

    relative_change: float
    standard_uncertainty: float
    findings: tuple[Finding, ...]

    def of(self, flow: float) -> tuple[float, float]:
        """The new flow, and the standard uncertainty of its change, in the flow's unit."""
        return flow * (1 + self.relative_change), abs(flow) * self.standard_uncertainty


@dataclass(frozen=True, slots=True)
class DatedVerdict:
    """Verdicts of one calibration; `as_left` is None where nothing was adjusted, `as_found` where nothing was taken as found."""

    on: date
    as_found: Conformity | None
    as_left: Conformity | None

    @property
    def left_within(self) -> bool:
        """Whether the instrument left the laboratory within its limits."""
        conformity = self.as_left or self.as_found
        return conformity is not None and conforming(conformity)


@dataclass(frozen=True, slots=True)
class AffectedPeriod:
    """Results from `after` (the calibration last known good; None: all there are) up to `until` are in doubt."""

    after: date | None
    until: date
    reasoning: tuple[str, ...]


def velocity_effect(mean_velocity: float, applied: ErrorCurve | None, as_found: ErrorCurve) -> Effect:
    """What a meter's as-found errors would have made of a mean velocity, and so of the flow.

    The applied curve's correction is undone to have what the meter indicated; that is corrected by the as-found curve. Flow goes
    with velocity; that the profile factor moves a little with the Reynolds number is left out (a velocity off by 1 % moves it by less
    than 0.02 % in turbulent flow). Both curves' uncertainties are taken as independent, the cautious way for a difference.

    Parameters
    ----------
    mean_velocity : float [m/s]  of the result as it stands, not 0
    applied : ErrorCurve or None  the curve it was corrected by; None: it was not corrected
    as_found : ErrorCurve

    Returns
    -------
    effect : Effect

    Raises
    ------
    OutOfRange     a mean velocity of 0
    NumberInvalid  a velocity that is not finite

    Source
    ------
    ISO/IEC 17025:2017 6.4.9 (examine the effect), from memory; definition of the error, see `compute.calibration.points`.
    """
    if mean_velocity == 0:
        raise OutOfRange("A velocity of 0 has no relative change.", field="mean_velocity")
    moved, uncertainty, findings = _moved(mean_velocity, applied, as_found, "mean_velocity")
    return Effect(moved / mean_velocity, uncertainty / abs(mean_velocity), findings)


def input_effect(
    value: float, applied: ErrorCurve | None, as_found: ErrorCurve, flow: float, sensitivity: float
) -> Effect:
    """What the as-found errors of a thickness gauge or thermometer do to a flow its reading went into.

    Parameters
    ----------
    value : float [SI]  the wall or temperature as the result has it
    applied : ErrorCurve or None  the curve it was corrected by
    as_found : ErrorCurve
    flow : float [m3/s]  of the result, not 0
    sensitivity : float [m3/s per SI unit of value]  from the result's uncertainty budget

    Returns
    -------
    effect : Effect  to first order in the change

    Raises
    ------
    OutOfRange     a flow of 0
    NumberInvalid  a figure that is not finite

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.3: sensitivity coefficients.
    """
    if flow == 0:
        raise OutOfRange("A flow of 0 has no relative change.", field="volume_flow")
    if not (math.isfinite(flow) and math.isfinite(sensitivity)):
        raise NumberInvalid("The flow or its sensitivity is not finite.", field="volume_flow")
    moved, uncertainty, findings = _moved(value, applied, as_found, "value")
    return Effect(moved * sensitivity / flow, abs(uncertainty * sensitivity / flow), findings)


def zero_effect(time_difference: float, applied: Zero | None, as_found: Zero) -> Effect:
    """What a zero found on a meter does to a flow.

    Parameters
    ----------
    time_difference : float [s]  mean of the log, the applied zero already taken off, not 0
    applied : Zero or None  what was taken off; None: nothing
    as_found : Zero

    Returns
    -------
    effect : Effect

    Raises
    ------
    OutOfRange     a time difference of 0
    NumberInvalid  a time that is not finite

    Source
    ------
    definition : the flow goes with the time difference, to which a zero adds.
    """
    if time_difference == 0:
        raise OutOfRange("A time difference of 0 has no relative change.", field="time_difference")
    if not math.isfinite(time_difference):
        raise NumberInvalid("The time difference is not finite.", field="time_difference")
    before = applied or Zero(0.0, 0.0)
    uncertainty = math.hypot(before.standard_uncertainty, as_found.standard_uncertainty)
    change = (before.time_difference - as_found.time_difference) / time_difference
    return Effect(change, uncertainty / abs(time_difference), ())


def affected_period(history: Sequence[DatedVerdict]) -> AffectedPeriod | None:
    """Which results the last calibration of a history calls in question.

    If the last as-found verdict is not within the limits, results are in doubt back to the calibration before it at which the
    instrument was left within; those at which it was not are passed over. A calibration without as-found results says nothing of
    the time before it.

    Parameters
    ----------
    history : sequence of DatedVerdict  in any order

    Returns
    -------
    uncertainty : AffectedPeriod or None  None: the last calibration found the instrument within its limits, or found nothing

    Raises
    ------
    NotEnough   no calibration
    OutOfRange  two calibrations on one day

    Source
    ------
    ISO/IEC 17025:2017 6.4.9 and 7.10 (earlier results), from memory; results count from the day last left within the limits.
    """
    if not history:
        raise NotEnough("No calibration is on record.", field="history")
    ordered = sorted(history, key=lambda conformity: conformity.on)
    if len({conformity.on for conformity in ordered}) < len(ordered):
        raise OutOfRange("Two calibrations on one day: which came first is not known.", field="history")
    last = ordered[-1]
    if last.as_found is None or conforming(last.as_found):
        return None
    said = [f"Found {_words(last.as_found)} on {last.on:%Y-%m-%d}."]
    for earlier in reversed(ordered[:-1]):
        if earlier.left_within:
            said.append(
                f"Last known good on {earlier.on:%Y-%m-%d}, when it was left within its limits: results since then are in doubt."
            )
            return AffectedPeriod(earlier.on, last.on, tuple(said))
        known = earlier.as_left or earlier.as_found
        said.append(
            f"On {earlier.on:%Y-%m-%d} it was not left within its limits either."
            if known
            else f"The calibration of {earlier.on:%Y-%m-%d} has no verdict on record, and so shows nothing."
        )
    said.append("No earlier calibration left it within its limits: every result before is in doubt.")
    return AffectedPeriod(None, last.on, tuple(said))


def _moved(
    value: float, applied: ErrorCurve | None, as_found: ErrorCurve, field: str
) -> tuple[float, float, tuple[Finding, ...]]:
    """Change of a reported value and the change's standard uncertainty, in its unit."""
    indicated, uncertainty = value, 0.0
    if applied is not None:
        _, own, _ = correction_at(applied, value)
        uncertainty = float(own) * (abs(value) if applied.form == "relative" else 1.0)
        indicated = float(indicated_from_true(applied, value))
    corrected = true_from_indicated(as_found, indicated, field)
    return (
        float(corrected.value) - value,
        math.hypot(uncertainty, float(corrected.standard_uncertainty)),
        corrected.findings,
    )


def _words(conformity: Conformity) -> str:
    return {"conditional-fail": "a conditional fail", "fail": "out of tolerance"}.get(conformity, conformity)
