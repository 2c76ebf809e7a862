"""Known errors of the instruments of a survey: corrected in its result, or included in its uncertainty.

The curve of a calibration is applied where a policy says so; its uncertainty enters the budget in any case. An error
that is known and not corrected increases the uncertainty, and a finding reports it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from compute.base.messages import Finding, finding, quantity, term
from compute.base.sources import Source
from compute.base.units import difference_kind
from compute.calibration.error_correction import Zero, true_from_indicated
from compute.calibration.points import ErrorCurve
from compute.measuring.entries import MediumEntry, PipeEntry
from compute.results.uncertainty import InputUncertainty
from compute.statistics.degrees_of_freedom import pooled_freedom

Measures = Literal["velocity", "wall", "temperature", "zero"]
# Mean of a wall measurement [m], its standard uncertainty [m] and, if known, the degrees of freedom of that.
MeasuredWall = tuple[float, float] | tuple[float, float, float]
# An error below this number of its standard uncertainties is not significant.
SIGNIFICANCE_FACTOR = 2.0
UNCORRECTED = Source(
    "JCGM 100:2008 (GUM) 3.2.4, F.2.4.5: known errors are corrected; one that is not is added to the standard uncertainty in "
    "quadrature (common practice)",
    "unverified",
)


@dataclass(frozen=True, slots=True, eq=False)
class KnownError:
    """An instrument with the error curve of its calibration, or its zero; `applied` says whether results are corrected by it.

    measures : the quantity of a survey that it measured: the flow velocity, the wall by wall measurement, the temperature, or the zero of the time
        difference of a transducer pair
    """

    instrument: str
    measures: Measures
    curve: ErrorCurve | None = None
    zero: Zero | None = None
    applied: bool = False


@dataclass(frozen=True, slots=True)
class Corrected:
    """A value less its known error, with the standard uncertainty [as value] of the error, its degrees of freedom, and findings."""

    value: float
    standard_uncertainty: float
    findings: tuple[Finding, ...]
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True, slots=True)
class CorrectedEntries:
    """Pipe, medium and measured wall less known errors; `temperature` [K] their uncertainty.

    measured_wall : mean [m], its standard uncertainty [m], and the degrees of freedom of that
    """

    pipe: PipeEntry
    medium: MediumEntry
    measured_wall: MeasuredWall | None
    temperature: float
    findings: tuple[Finding, ...]


FIELDS: dict[Measures, tuple[str, str]] = {
    "velocity": ("mean_velocity", "speed"),
    "wall": ("pipe.wall_thickness", "length"),
    "temperature": ("medium.temperature", "temperature"),
    "zero": ("readings.time_difference", "time_difference"),
}


def of(known: Sequence[KnownError], measures: Measures) -> KnownError | None:
    """Return the known error of a quantity measured by one kind of instrument.

    Parameters
    ----------
    known : sequence of KnownError  at most one for each thing measured
    measures : str

    Returns
    -------
    error : KnownError or None

    Source
    ------
    none : a look-up.
    """
    return next((one for one in known if one.measures == measures), None)


def corrected(known: KnownError | None, value: float) -> Corrected:
    """Correct a measured value by its known error if a policy applies, else increase its uncertainty.

    Parameters
    ----------
    known : KnownError or None  None: nothing is known, nothing changes
    value : float [SI]  as indicated

    Returns
    -------
    corrected : Corrected

    Raises
    ------
    NumberInvalid  a value that is not finite

    Source
    ------
    JCGM 100:2008 (GUM) 3.2.4 and F.2.4.5, from memory; a velocity of 0 has no relative error to correct.
    """
    if known is None:
        return Corrected(value, 0.0, ())
    field, _ = FIELDS[known.measures]
    of_curve: tuple[Finding, ...] = ()
    if known.zero is not None:
        error, uncertainty = known.zero.time_difference, known.zero.standard_uncertainty
        freedom = known.zero.degrees_of_freedom
    elif known.curve is not None and (value or known.curve.form == "absolute"):
        found = true_from_indicated(known.curve, value, field)
        error, uncertainty, of_curve = float(found.error), float(found.standard_uncertainty), found.findings
        freedom = known.curve.degrees_of_freedom
    else:
        return Corrected(value, 0.0, ())
    findings = (_finding(known, error, uncertainty, value), *of_curve)
    if known.applied:
        return Corrected(value - error, uncertainty, findings, freedom)
    both = math.hypot(uncertainty, error)
    return Corrected(value, both, findings, pooled_freedom(both, (uncertainty, freedom)))


def entries_corrected(
    pipe: PipeEntry,
    medium: MediumEntry,
    measured_wall: MeasuredWall | None,
    known: Sequence[KnownError],
) -> CorrectedEntries:
    """Correct a survey's wall and temperature by the known errors of the gauge and the thermometer.

    The error of the gauge matters only where the wall entered is the measured one, within twice the uncertainty of the wall
    measurement; that of the thermometer only where the temperature was measured.

    Parameters
    ----------
    pipe : PipeEntry
    medium : MediumEntry
    measured_wall : (float, float, float) or None [m, m, 1]  mean, standard uncertainty and degrees of freedom of the wall measurement
    known : sequence of KnownError

    Returns
    -------
    entries : CorrectedEntries

    Source
    ------
    see `corrected`.
    """
    findings: tuple[Finding, ...] = ()
    if measured_wall is not None and wall_is_measured(pipe.wall_thickness, measured_wall):
        wall = corrected(of(known, "wall"), pipe.wall_thickness)
        mean = corrected(of(known, "wall"), measured_wall[0])
        pipe = replace(pipe, wall_thickness=wall.value)
        both = math.hypot(measured_wall[1], mean.standard_uncertainty)
        own = (measured_wall[1], freedom_of_wall(measured_wall))
        of_gauge = (mean.standard_uncertainty, mean.degrees_of_freedom)
        measured_wall = (mean.value, both, pooled_freedom(both, own, of_gauge))
        findings += wall.findings
    uncertainty = 0.0
    if medium.temperature is not None and medium.temperature_source == "measured":
        temperature = corrected(of(known, "temperature"), medium.temperature)
        medium = replace(medium, temperature=temperature.value)
        uncertainty = temperature.standard_uncertainty
        findings += temperature.findings
    return CorrectedEntries(pipe, medium, measured_wall, uncertainty, findings)


def freedom_of_wall(measured_wall: MeasuredWall) -> float:
    """Return the degrees of freedom of a measured wall.

    Parameters
    ----------
    measured_wall : (float, float, float) [m, m, 1]

    Returns
    -------
    degrees_of_freedom : float [1]  infinite where they are not given

    Source
    ------
    none : a look-up.
    """
    return measured_wall[2] if len(measured_wall) == 3 else math.inf


def wall_is_measured(wall_thickness: float, measured_wall: MeasuredWall) -> bool:
    """Return whether an entered wall is the measured one.

    Parameters
    ----------
    wall_thickness : float [m]
    measured_wall : (float, float, float) [m, m, 1]  mean, standard uncertainty and, if known, degrees of freedom

    Returns
    -------
    measured : bool  within twice the wall measurement's standard uncertainty

    Source
    ------
    default : twice the standard uncertainty.
    """
    mean, uncertainty = measured_wall[:2]
    return abs(wall_thickness - mean) <= 2 * uncertainty


def calibration_uncertainties(velocity: Corrected, zero: Corrected) -> dict[str, InputUncertainty]:
    """Return the uncertainties of a meter's velocity and a pair's zero in the budget of a flow.

    Parameters
    ----------
    velocity : Corrected [m/s]  of the mean velocity
    zero : Corrected [s]  of a time difference

    Returns
    -------
    uncertainties : dict of InputUncertainty  `meter.calibration` [1] and `meter.zero` [s], those that are not 0

    Source
    ------
    JCGM 100:2008 (GUM) 4.3: as stated with the certificate.
    """
    uncertainties = {}
    if velocity.standard_uncertainty and velocity.value:
        share = velocity.standard_uncertainty / abs(velocity.value)
        uncertainties["meter.calibration"] = InputUncertainty(
            share, relative=True, degrees_of_freedom=velocity.degrees_of_freedom, source=UNCORRECTED
        )
    if zero.standard_uncertainty:
        uncertainties["meter.zero"] = InputUncertainty(
            zero.standard_uncertainty, degrees_of_freedom=zero.degrees_of_freedom, source=UNCORRECTED
        )
    return uncertainties


def _finding(known: KnownError, error: float, uncertainty: float, value: float) -> Finding:
    field, kind = FIELDS[known.measures]
    parameters = {
        "instrument": known.instrument,
        "measures": known.measures,
        "error": quantity(error, difference_kind(kind)),
        "relative_error": error / value if value and known.measures == "velocity" else None,
        "reads": term("high" if error >= 0 else "low"),
    }
    if known.applied:
        return finding("calibration-error-corrected", "info", field, **parameters)
    significant = abs(error) > SIGNIFICANCE_FACTOR * uncertainty
    return finding(
        "calibration-error-not-corrected",
        "warning" if significant else "info",
        field,
        source=UNCORRECTED,
        significant=significant,
        **parameters,
    )
