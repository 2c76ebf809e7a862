"""Corrections by an error curve: the error at a true value, and readings corrected for it.

Outside the calibrated range the error is not extrapolated: the error of the nearest end is used with a larger uncertainty, and a
finding reports it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from compute.base.errors import NumberInvalid
from compute.base.messages import Finding, finding, quantity
from compute.base.units import difference_kind
from compute.calibration.points import ErrorCurve, FloatArray

Real = float | FloatArray


@dataclass(frozen=True, slots=True)
class Zero:
    """Time difference [s] a meter shows at no flow, with its standard uncertainty [s] and the degrees of freedom of that."""

    time_difference: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True, slots=True)
class Corrected:
    """Readings corrected by an error curve, in the reading's SI unit: value + error = indicated."""

    value: Real
    error: Real
    standard_uncertainty: Real
    findings: tuple[Finding, ...] = ()


def correction_at(curve: ErrorCurve, value: Real, field: str = "") -> tuple[Real, Real, tuple[Finding, ...]]:
    """Return the error of an instrument at a true value, with its standard uncertainty.

    Between two points the uncertainty is interpolated like the error, as if their errors were fully correlated: they share the
    laboratory's standard, and independence would give less uncertainty between the points than at them. Outside the points
    the error of the nearest end is used and the uncertainty increased, see `_beyond`.

    Parameters
    ----------
    curve : ErrorCurve
    value : float or (n,) [SI]  true value; its size counts if the curve is relative
    field : str  path of the request for the findings

    Returns
    -------
    error : as value  in the form of the curve; subtract it from (absolute) or divide by 1 + it (relative) what is indicated
    standard_uncertainty : as value  in the form of the curve; infinite for a relative one at 0
    findings : tuple of Finding  `outside-calibrated-range`

    Raises
    ------
    NumberInvalid  a value that is not finite

    Source
    ------
    JCGM 100:2008 (GUM) 5.2.2 with correlation 1; held ends and their widening are a default value.
    """
    true = _places(curve, value)
    error = np.interp(true, curve.reference, curve.errors)
    uncertainty = _absolute_uncertainty(curve, true)
    if curve.form == "relative":
        uncertainty = np.divide(uncertainty, true, out=np.full_like(uncertainty, math.inf), where=true > 0)
    return _like(error), _like(uncertainty), _outside(curve, true, field)


def true_from_indicated(curve: ErrorCurve, indicated: Real, field: str = "") -> Corrected:
    """Correct readings by the error curve: solve indicated = true + error(true) for the true value.

    Exact, no iteration: between two points an absolute error makes this a linear equation, a relative one a quadratic. The
    uncertainty is that of the curve only; the reading's uncertainty is not included.

    Parameters
    ----------
    curve : ErrorCurve
    indicated : float or (n,) [SI]  a negative velocity is corrected as its size
    field : str  path of the request for the findings

    Returns
    -------
    corrected : Corrected

    Raises
    ------
    NumberInvalid  a reading that is not finite

    Source
    ------
    definition of the error : JCGM 200:2012 (VIM) 2.16, from memory.
    """
    shown = _places(curve, indicated)
    true = _inside(curve, shown)
    for end, beyond in ((0, shown < curve.indicated[0]), (-1, shown > curve.indicated[-1])):
        held = curve.errors[end]
        at_held = shown / (1 + held) if curve.form == "relative" else shown - held
        true = np.where(beyond, at_held, true)
    uncertainty = _absolute_uncertainty(curve, true)
    signed = true * np.sign(indicated) if curve.form == "relative" else true
    error = np.asarray(indicated, dtype=float) - signed
    return Corrected(_like(signed), _like(error), _like(uncertainty), _outside(curve, true, field))


def _places(curve: ErrorCurve, value: Real) -> FloatArray:
    places = np.asarray(value, dtype=float)
    if not np.isfinite(places).all():
        raise NumberInvalid(field="readings", variant="not-finite")
    return np.abs(places) if curve.form == "relative" else places


def _like(values: FloatArray) -> Real:
    """Return a scalar for scalar input."""
    return values if values.ndim else float(values)


def _inside(curve: ErrorCurve, shown: FloatArray) -> FloatArray:
    """Return true values of indications between the ends: shown - start = rise t + bend t^2 along the interval between points."""
    knots = curve.indicated
    stretch = np.clip(np.searchsorted(knots, shown, side="right") - 1, 0, len(knots) - 2)
    start, end = knots[stretch], knots[stretch + 1]
    over = np.clip(shown, start, end) - start
    rise, bend = curve.rises[stretch], curve.bends[stretch]
    # The root of a rising indication, without a difference of nearly equal numbers.
    along = 2 * over / (rise + np.sqrt(np.maximum(rise**2 + 4 * bend * over, 0.0)))
    return np.asarray(curve.reference[stretch] + along)


def _absolute_uncertainty(curve: ErrorCurve, true: FloatArray) -> FloatArray:
    """Return the standard uncertainty of the curve at true values, in the reading's unit."""
    uncertainty = np.interp(true, curve.reference, curve.standard_uncertainties)
    if curve.form == "relative":
        uncertainty = uncertainty * true
    return np.hypot(uncertainty, _beyond(curve, true) / math.sqrt(3))


def _beyond(curve: ErrorCurve, true: FloatArray) -> FloatArray:
    """Return the half-width of the rectangle that increases the uncertainty outside the points, in the reading's unit.

    Beyond an end the errors may change as much over the same width as within the points, or by that end's
    expanded uncertainty if that is larger. Below a meter's minimum velocity its error may be a zero error, which
    stays the same in metres a second.
    """
    low, high = curve.reference[0], curve.reference[-1]
    spread = float(np.ptp(curve.errors))
    below, above = np.maximum(low - true, 0.0), np.maximum(true - high, 0.0)
    at_low, at_high = (max(spread, 2 * curve.standard_uncertainties[end]) for end in (0, -1))
    if curve.form == "absolute":
        return np.asarray((at_low * below + at_high * above) / (high - low))
    as_zero = max(abs(curve.errors[0]), 2 * curve.standard_uncertainties[0])
    return np.asarray(as_zero * below + at_high * above / (high - low) * true)


def _outside(curve: ErrorCurve, true: FloatArray, field: str) -> tuple[Finding, ...]:
    # The inversion returns a reading at the end with a rounding error.
    low, high = curve.reference[0], curve.reference[-1]
    slack = 1e-9 * (high - low)
    away = np.atleast_1d(np.maximum(low - true, true - high))
    count = int(np.count_nonzero(away > slack))
    if not count:
        return ()
    farthest = float(np.atleast_1d(true)[int(np.argmax(away))])
    end = float(high if farthest > high else low)
    held = curve.errors[-1 if farthest > high else 0]
    error_kind = "number" if curve.form == "relative" else difference_kind(curve.kind)
    return (
        finding(
            "outside-calibrated-range",
            "warning",
            field,
            count=count,
            farthest=quantity(farthest, curve.kind),
            end=quantity(end, curve.kind),
            low=quantity(float(low), curve.kind),
            high=quantity(float(high), curve.kind),
            relative=curve.form == "relative",
            error=quantity(float(held), error_kind),
        ),
    )
