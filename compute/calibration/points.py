"""Calibration points and the error curve through them; `correction` applies it.

Error = indicated - reference (VIM, JCGM 200:2012, 2.16, from memory). Thickness gauges and thermometers have absolute errors over
thickness and temperature. A meter's are relative, over the size of the flow velocity, in either direction of flow; its zero
is a time difference of its own (`correction.Zero`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange

FloatArray = NDArray[np.float64]
Form = Literal["absolute", "relative"]
# Coverage probability of the expanded uncertainty of a certificate, the normal factor for it, and those for 99 % and 99.73 %.
CERTIFICATE_COVERAGE, NORMAL_FACTOR = 0.9545, 2.0
NORMAL_FACTORS_OF_OTHER_PROBABILITIES = (2.576, 2.58, 3.0)


@dataclass(frozen=True, slots=True)
class Point:
    """One point of a certificate, in SI; the expanded uncertainty is that of the error, absolute, with its coverage factor."""

    reference: float
    indicated: float
    expanded_uncertainty: float
    coverage_factor: float

    def __post_init__(self) -> None:
        numbers = (self.reference, self.indicated, self.expanded_uncertainty, self.coverage_factor)
        if not all(math.isfinite(number) for number in numbers):
            raise NumberInvalid(field="points", variant="calibration-point")
        if self.expanded_uncertainty < 0:
            raise OutOfRange(field="points.expanded_uncertainty", at_least=0)
        if self.coverage_factor < 1:
            raise OutOfRange(field="points.coverage_factor", value=self.coverage_factor, at_least=1)

    @property
    def error(self) -> float:
        """Indicated less reference."""
        return self.indicated - self.reference

    @property
    def standard_uncertainty(self) -> float:
        """Standard uncertainty of the error: expanded uncertainty over its coverage factor."""
        return self.expanded_uncertainty / self.coverage_factor

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom of the standard uncertainty, from the coverage factor."""
        return degrees_of_freedom_of(self.coverage_factor)

    def in_form(self, form: Form) -> tuple[float, float]:
        """Error and standard uncertainty, absolute or over the size of the reference."""
        if form == "absolute":
            return self.error, self.standard_uncertainty
        if self.reference == 0:
            raise OutOfRange(field="points.reference", variant="relative-error-at-zero")
        return self.error / self.reference, self.standard_uncertainty / abs(self.reference)


@dataclass(frozen=True, slots=True, eq=False)
class ErrorCurve:
    """Errors in force over the true value; straight between the points. Arrays by rising `reference`, two or more.

    `errors` and `standard_uncertainties` are in the reading's SI unit if the form is absolute, ratios if relative; `kind` is
    the kind of quantity of `reference`; `degrees_of_freedom` are the smallest of the points. `error_curve` checks and creates it.
    """

    form: Form
    kind: str
    reference: FloatArray
    errors: FloatArray
    standard_uncertainties: FloatArray
    degrees_of_freedom: float = math.inf

    @property
    def indicated(self) -> FloatArray:
        """Indications of the instrument at the points."""
        scale = self.reference if self.form == "relative" else 1.0
        return self.reference + self.errors * scale

    @property
    def bends(self) -> FloatArray:
        """Quadratic part of the indication along each interval between points; 0 if the errors are absolute."""
        slopes = np.diff(self.errors) / np.diff(self.reference)
        return slopes if self.form == "relative" else np.zeros_like(slopes)

    @property
    def rises(self) -> FloatArray:
        """Slope of the indication over the true value at the start of each interval."""
        return np.diff(self.indicated) / np.diff(self.reference) - self.bends * np.diff(self.reference)


def degrees_of_freedom_of(coverage_factor: float) -> float:
    """Return the effective degrees of freedom behind the coverage factor of a certificate.

    Parameters
    ----------
    coverage_factor : float [1]  1 or more

    Returns
    -------
    degrees_of_freedom : float [1]  infinite up to a factor of 2, and for the factors 2.576, 2.58 and 3 of a normal distribution

    Source
    ------
    EA-4/02 M:2022 Annex E, table of k for a coverage probability of 95.45 % (from memory): k is Student's factor of the effective degrees of
        freedom. 2.576 and 3 are the normal factors for 99 % and 99.73 %.
    """
    from scipy.special import stdtridf

    if coverage_factor <= NORMAL_FACTOR or coverage_factor in NORMAL_FACTORS_OF_OTHER_PROBABILITIES:
        return math.inf
    return float(stdtridf(0.5 * (1 + CERTIFICATE_COVERAGE), coverage_factor))


def error_curve(points: Sequence[Point], form: Form, kind: str) -> ErrorCurve:
    """Return the error curve through calibration points; points at one reference value are averaged.

    Straight lines, not splines: the certificate does not describe the curve between its points, a spline swings above and below
    them where they scatter, and one changed point changes its values far away.

    Parameters
    ----------
    points : sequence of Point
    form : str  `absolute` or `relative`; relative takes references by their size
    kind : str  kind of quantity of the reading, e.g. `speed`

    Returns
    -------
    curve : ErrorCurve

    Raises
    ------
    NotEnough      points at fewer than two reference values
    OutOfRange     a relative error at 0, or of both directions of flow; an indication that does not rise with the true value
    NumberInvalid  see Point

    Source
    ------
    default : linear interpolation is common practice. Several points at one value keep the largest uncertainty among
        them: they share the laboratory's standard.
    """
    if form == "relative" and len({point.reference < 0 for point in points}) > 1:
        raise OutOfRange(field="points.reference", variant="both-flow-directions")
    found: dict[float, list[tuple[float, float]]] = {}
    for point in points:
        place = abs(point.reference) if form == "relative" else point.reference
        found.setdefault(place, []).append(point.in_form(form))
    if len(found) < 2:
        raise NotEnough(field="points", variant="error-curve", count=len(found))
    reference = np.array(sorted(found))
    errors = np.array([np.mean([error for error, _ in found[at]]) for at in reference])
    uncertainties = np.array([max(uncertainty for _, uncertainty in found[at]) for at in reference])
    freedom = min(point.degrees_of_freedom for point in points)
    curve = ErrorCurve(form, kind, reference, errors, uncertainties, freedom)
    rise_at_ends = curve.rises + 2 * curve.bends * np.diff(reference)
    rises_all_along = np.all(curve.rises > 0) and np.all(rise_at_ends > 0)
    if not rises_all_along or (form == "relative" and errors[0] <= -1):
        raise OutOfRange(field="points", variant="error-curve-not-rising")
    return curve
