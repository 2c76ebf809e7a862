"""Statement of conformity of a calibration, calculated from its points on request and not stored.

The quantity of the points depends on the kind of instrument: a meter is calibrated in flow velocity, a thickness gauge in length, a
thermometer in temperature, and a transducer pair in the time difference it shows at no flow (reference 0).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compute.base.messages import Finding, day, finding
from compute.base.units import difference_kind
from compute.calibration.decision_rules import (
    CertificateConformity,
    DecisionRule,
    PermissibleError,
    PointConformity,
    judge,
)
from compute.calibration.global_risk import PRIOR_IN_TOLERANCE
from compute.calibration.points import Point
from surveys.core.stored_quantities import findings_json, finite, quantity
from surveys.models import Calibration, CalibrationPoint
from surveys.models.calibration import LimitsFrom, Moment
from surveys.models.instrument import Kind

QUANTITY: Mapping[str, str] = {
    Kind.METER: "speed",
    Kind.THICKNESS_GAUGE: "length",
    Kind.THERMOMETER: "temperature",
    Kind.TRANSDUCER_PAIR: "time_difference",
}
"""Kind of quantity of the points, by kind of instrument."""


def error_kind(kind: str) -> str:
    """Return the kind of quantity of an instrument's errors; for temperatures a difference."""
    return difference_kind(QUANTITY[kind])


def judged(
    points: list[Point], permissible: PermissibleError, rule: DecisionRule, kind: str
) -> CertificateConformity:
    """Return the conformity of points of an instrument of a kind. Raises ComputeError, see `compute.calibration.decision_rules.judge`."""
    return judge(points, permissible, rule, error_kind(kind))


def conformity_of(calibration: Calibration, moment: Moment) -> CertificateConformity | None:
    """Return the conformity of the points as found or as left; None without points or without a limit."""
    permissible = calibration.maximum_permissible_error()
    points = [row.point() for row in points_of(calibration, moment)]
    if permissible is None or not points:
        return None
    return judged(points, permissible, calibration.rule(), calibration.instrument.kind)


def conformity_in_force(calibration: Calibration) -> CertificateConformity | None:
    """Return the conformity in force: as left, or as found without adjustment."""
    as_left = points_of(calibration, Moment.AS_LEFT)
    return conformity_of(calibration, Moment.AS_LEFT if as_left else Moment.AS_FOUND)


def points_of(calibration: Calibration, moment: Moment) -> list[CalibrationPoint]:
    """Return the points as found or as left, in the certificate's order."""
    return [row for row in calibration.points.all() if row.moment == moment]


def conformity_json(calibration: Calibration) -> dict[str, Any]:
    """Return the conformity as found, as left and in force, with findings, as a document of SI quantities."""
    kind = calibration.instrument.kind
    by_moment = {moment: conformity_of(calibration, moment) for moment in Moment}
    of = _in_force(calibration)
    whole = by_moment[of] if of else None
    of_points = [one for whole_set in by_moment.values() if whole_set for one in whole_set.findings]
    return {
        "conformity": whole.conformity if whole else None,
        "conforms": whole.conforms if whole else None,
        "of": of.value if of else None,
        "as_found": _set_json(by_moment[Moment.AS_FOUND], kind),
        "as_left": _set_json(by_moment[Moment.AS_LEFT], kind),
        "findings": findings_json([*_remarks(calibration), *of_points]),
    }


def points_json(calibration: Calibration, moment: Moment) -> list[dict[str, Any]]:
    """Return points as on the certificate, with their errors."""
    kind = calibration.instrument.kind
    return [_stated(row.point(), kind) for row in points_of(calibration, moment)]


def limits_json(calibration: Calibration) -> dict[str, Any] | None:
    """Return the limits of a calibration and their origin."""
    permissible = calibration.maximum_permissible_error()
    if permissible is None:
        return None
    return {
        "maximum_permissible_error": permissible_json(permissible, calibration.instrument.kind),
        "decision_rule": {"rule": calibration.rule().rule, "guard_factor": calibration.rule().guard_factor},
        "limits_from": calibration.limits_from,
    }


def permissible_json(permissible: PermissibleError, kind: str) -> dict[str, Any]:
    """Return a permissible error of a kind of instrument."""
    absolute = permissible.absolute
    return {
        "absolute": None if absolute is None else quantity(absolute, error_kind(kind)),
        "relative": permissible.relative,
        "combine_by": permissible.combine_by,
    }


def _in_force(calibration: Calibration) -> Moment | None:
    moments = {row.moment for row in calibration.points.all()}
    if Moment.AS_LEFT in moments:
        return Moment.AS_LEFT
    return Moment.AS_FOUND if moments else None


def _set_json(conformity: CertificateConformity | None, kind: str) -> dict[str, Any] | None:
    if conformity is None:
        return None
    return {
        "conformity": conformity.conformity,
        "conforms": conformity.conforms,
        "worst_point": conformity.worst,
        "largest_fraction_of_limit": conformity.largest_fraction_of_limit,
        "min_conformance_probability": min(one.conformance_probability for one in conformity.points),
        "prior_in_tolerance": PRIOR_IN_TOLERANCE,
        "points": [_point_json(one, kind) for one in conformity.points],
    }


def _point_json(one: PointConformity, kind: str) -> dict[str, Any]:
    of_error = error_kind(kind)
    return _stated(one.point, kind) | {
        "maximum_permissible_error": quantity(one.maximum_permissible_error, of_error),
        "guard_band": quantity(one.guard_band, of_error),
        "acceptance_limit": quantity(one.acceptance_limit, of_error),
        "conformity": one.conformity,
        "fraction_of_limit": one.fraction_of_limit,
        "conformance_probability": one.conformance_probability,
        "specific_risk": one.specific_risk,
        "degrees_of_freedom": finite(one.degrees_of_freedom),
        "global_consumer_risk": one.global_risks.consumer,
        "global_producer_risk": one.global_risks.producer,
    }


def _stated(point: Point, kind: str) -> dict[str, Any]:
    return {
        "reference": quantity(point.reference, QUANTITY[kind]),
        "indicated": quantity(point.indicated, QUANTITY[kind]),
        "error": quantity(point.error, error_kind(kind)),
        "expanded_uncertainty": quantity(point.expanded_uncertainty, error_kind(kind)),
        "coverage_factor": point.coverage_factor,
    }


def _remarks(calibration: Calibration) -> list[Finding]:
    """Return findings on values from policies, and on data missing for a statement of conformity."""
    found = []
    if calibration.interval_policy is not None:
        found.append(finding("due-on-from-policy", "info", "due_on", due_on=day(calibration.due_on)))
    if not calibration.points.all():
        found.append(finding("points-not-stated", "info", "as_found"))
    elif not calibration.decision_rule:
        found.append(finding("limits-not-stated", "warning", "maximum_permissible_error"))
    elif calibration.limits_from != LimitsFrom.CERTIFICATE:
        found.append(finding("limits-from-policy", "info", "maximum_permissible_error"))
    return found
