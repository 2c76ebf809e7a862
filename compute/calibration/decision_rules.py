"""Statement of conformity of calibration points: permissible error, decision rule, probability of conformance.

A statement is calculated from the points, never entered. The permissible error is that of JCGM 200:2012 (VIM)
4.26; the limit reduced by a guard band is the acceptance limit of JCGM 106:2012.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Finding, finding, quantity
from compute.base.sources import Source
from compute.calibration.global_risk import GlobalRisks, below, global_risks
from compute.calibration.points import Point

Conformity = Literal["pass", "conditional-pass", "conditional-fail", "fail"]
Rule = Literal["simple-acceptance", "guarded-acceptance", "non-binary"]
CONFORMITYS: tuple[Conformity, ...] = ("pass", "conditional-pass", "conditional-fail", "fail")
"""From best to worst."""

ILAC_G8 = Source("ILAC-G8:09/2019, decision rules with guard bands", "published")
ONE_THIRD = Source(
    "OIML R 111-1:2004, 5.2: expanded uncertainty at most one third of the maximum permissible error",
    "unverified",
)
MIN_COVERAGE_FACTOR = 1.65  # 95 % of a rectangular distribution (GUM G.1.3, from memory)


@dataclass(frozen=True, slots=True)
class PermissibleError:
    """Largest permissible error either way: absolute [SI], relative to the size of the reference, or both together.

    With both, `combine_by` says how: `sum` (0.1 mm + 0.5 % of the reading) or `maximum` (0.5 % or 0.1 mm, whichever is more). Data sheets
    mean either, so that it must be entered.
    """

    absolute: float | None = None
    relative: float | None = None
    combine_by: Literal["sum", "maximum"] | None = None

    def __post_init__(self) -> None:
        stated = [limit for limit in (self.absolute, self.relative) if limit is not None]
        if not stated:
            raise NotEnough(field="maximum_permissible_error", variant="maximum-permissible-error")
        if not all(0 < limit < math.inf for limit in stated):
            raise OutOfRange(field="maximum_permissible_error", above=0)
        if len(stated) == 2 and self.combine_by is None:
            raise NotEnough(field="maximum_permissible_error.combine_by", variant="combine-by")

    def at(self, reference: float) -> float:
        """The limit at a reference value, in its unit."""
        absolute = self.absolute or 0.0
        relative = (self.relative or 0.0) * abs(reference)
        return max(absolute, relative) if self.combine_by == "maximum" else absolute + relative


@dataclass(frozen=True, slots=True)
class DecisionRule:
    """How uncertainty is taken into account; the guard band is `guard_factor` times the expanded uncertainty.

    simple        pass up to the permissible error; no guard band
    guard-banded  pass up to the permissible error less the guard band, fail beyond
    non-binary    pass and fail a guard band inside and outside, conditional between
    """

    rule: Rule
    guard_factor: float = 1.0

    def __post_init__(self) -> None:
        if self.rule not in ("simple-acceptance", "guarded-acceptance", "non-binary"):
            raise OutOfRange(field="decision_rule.rule", variant="decision-rule", rule=str(self.rule)[:40])
        if not 0 <= self.guard_factor < math.inf:
            raise OutOfRange(field="decision_rule.guard_factor", at_least=0)


@dataclass(frozen=True, slots=True)
class PointConformity:
    """Conformity of one point; limits and error in the reading's SI unit.

    fraction_of_limit                    |error| over the permissible error
    degrees_of_freedom                   of the standard uncertainty, from the coverage factor of the certificate
    conformance_probability              probability that the true error is within the permissible error
    specific_risk                        probability that this statement is wrong: false accept (pass, conditional pass), else false reject
    global_risks                         of this point with any instrument of the prior, see `compute.calibration.global_risk`
    """

    point: Point
    error: float
    expanded_uncertainty: float
    maximum_permissible_error: float
    guard_band: float
    acceptance_limit: float
    conformity: Conformity
    fraction_of_limit: float
    degrees_of_freedom: float
    conformance_probability: float
    specific_risk: float
    global_risks: GlobalRisks


@dataclass(frozen=True, slots=True)
class CertificateConformity:
    """Conformity of a set of points, decided by the worst point; `worst` is its index in `points`."""

    conformity: Conformity
    points: tuple[PointConformity, ...]
    worst: int
    rule: DecisionRule
    findings: tuple[Finding, ...]

    @property
    def conforms(self) -> bool:
        """Whether the rule states conformity for every point: pass or conditional pass."""
        return conforming(self.conformity)

    @property
    def largest_fraction_of_limit(self) -> float:
        """Largest |error| over permissible error of the points."""
        return max(point.fraction_of_limit for point in self.points)


def conforming(conformity: Conformity) -> bool:
    """Return whether the instrument counts as within its limits.

    Parameters
    ----------
    conformity : str  one of CONFORMITYS

    Returns
    -------
    conforming : bool  pass or conditional pass

    Source
    ------
    ILAC-G8:09/2019 4.2: a conditional pass has its measured error within the tolerance.
    """
    return conformity in ("pass", "conditional-pass")


def worst_conformity(conformities: Sequence[Conformity]) -> Conformity:
    """Return the worst of several statements of conformity.

    Parameters
    ----------
    conformities : sequence of str

    Returns
    -------
    conformity : str

    Raises
    ------
    NotEnough  none given

    Source
    ------
    default : an instrument is as good as its worst point; common practice.
    """
    if not conformities:
        raise NotEnough(field="points", variant="calibration-points")
    return max(conformities, key=CONFORMITYS.index)


def conformance_probability(
    value: float,
    standard_uncertainty: float,
    lower: float,
    upper: float,
    degrees_of_freedom: float = math.inf,
) -> float:
    """Return the probability that a quantity lies between two limits, given its measured value.

    Parameters
    ----------
    value : float [any unit]  measured
    standard_uncertainty : float [as value]  0 or more
    lower : float [as value]  minus infinity if there is no lower limit
    upper : float [as value]  infinity if there is no upper limit
    degrees_of_freedom : float [1]  of the standard uncertainty; infinite: normal distribution

    Returns
    -------
    probability : float [1]  with an uncertainty of 0: 1 or 0

    Raises
    ------
    OutOfRange  a standard uncertainty below 0, limits in the wrong order, or degrees of freedom not above 0

    Source
    ------
    JCGM 106:2012 7.3 (from memory): normal distribution, no prior knowledge. With few degrees of freedom the scaled and shifted t-distribution
        of JCGM 101:2008 6.4.9.
    """
    if not (standard_uncertainty >= 0 and lower <= upper and degrees_of_freedom > 0):
        raise OutOfRange(variant="conformance-limits")
    if standard_uncertainty == 0:
        return float(lower <= value <= upper)
    low, high = ((limit - value) / standard_uncertainty for limit in (lower, upper))
    # Both limits on one side: use the lower tail, where small probabilities keep their digits.
    if low > 0:
        return below(-low, degrees_of_freedom) - below(-high, degrees_of_freedom)
    return below(high, degrees_of_freedom) - below(low, degrees_of_freedom)


def judge_point(point: Point, permissible: PermissibleError, rule: DecisionRule) -> PointConformity:
    """Return the conformity of one calibration point.

    An error at a limit is within it. The guard band uses the expanded uncertainty of the certificate; one with a
    coverage factor below 1.65 is converted to 2, as its interval covers less than 95 %. A coverage factor above 2 is Student's for few
    degrees of freedom, so the guard band and the probabilities are those of that t-distribution.

    Parameters
    ----------
    point : Point
    permissible : PermissibleError
    rule : DecisionRule

    Returns
    -------
    conformity : PointConformity

    Raises
    ------
    OutOfRange  a permissible error of 0: a relative one at a reference of 0

    Source
    ------
    ILAC-G8:09/2019 4.2 (pass, conditional pass, conditional fail, fail; w = U); JCGM 106:2012 7 and 9 (probabilities), from memory.
    """
    limit, size = permissible.at(point.reference), abs(point.error)
    if limit == 0:
        raise OutOfRange(field="maximum_permissible_error.absolute", variant="permissible-error-zero")
    expanded = _expanded(point)
    guard = 0.0 if rule.rule == "simple-acceptance" else rule.guard_factor * expanded
    # The difference carries the rounding of both values: 20.05 mm must count as 0.05 mm above 20 mm.
    slack = 4 * sys.float_info.epsilon * max(abs(point.reference), abs(point.indicated))
    conformity = _conformity(size - slack, limit, guard, rule.rule)
    uncertainty, freedom = point.standard_uncertainty, point.degrees_of_freedom
    conforms = conformance_probability(point.error, uncertainty, -limit - slack, limit + slack, freedom)
    accepted = limit - guard if rule.rule == "guarded-acceptance" else limit
    return PointConformity(
        point=point,
        error=point.error,
        expanded_uncertainty=expanded,
        maximum_permissible_error=limit,
        guard_band=guard,
        acceptance_limit=limit - guard,
        conformity=conformity,
        fraction_of_limit=size / limit,
        degrees_of_freedom=freedom,
        conformance_probability=conforms,
        specific_risk=1 - conforms if conforming(conformity) else conforms,
        global_risks=global_risks(accepted / limit, uncertainty / limit, freedom),
    )


def judge(
    points: Sequence[Point], permissible: PermissibleError, rule: DecisionRule, kind: str
) -> CertificateConformity:
    """Return the conformity of the points of a calibration, as found or as left, decided by the worst point.

    Parameters
    ----------
    points : sequence of Point
    permissible : PermissibleError
    rule : DecisionRule
    kind : str  kind of quantity of an error, e.g. `temperature_difference`, for the findings

    Returns
    -------
    conformity : CertificateConformity

    Raises
    ------
    NotEnough   no point
    OutOfRange  see `judge_point`

    Source
    ------
    JCGM 106:2012 and ILAC-G8:09/2019; see `judge_point`.
    """
    judged = tuple(judge_point(point, permissible, rule) for point in points)
    conformity = worst_conformity([point.conformity for point in judged])
    worst = max(
        range(len(judged)),
        key=lambda i: (CONFORMITYS.index(judged[i].conformity), judged[i].fraction_of_limit),
    )
    return CertificateConformity(conformity, judged, worst, rule, tuple(_findings(judged, kind)))


def _conformity(size: float, limit: float, guard: float, rule: Rule) -> Conformity:
    if rule != "non-binary":
        return "pass" if size <= limit - guard else "fail"
    if size <= limit - guard:
        return "pass"
    if size <= limit:
        return "conditional-pass"
    return "conditional-fail" if size <= limit + guard else "fail"


def _expanded(point: Point) -> float:
    if point.coverage_factor < MIN_COVERAGE_FACTOR:
        return 2 * point.standard_uncertainty
    return point.expanded_uncertainty


def _findings(judged: Sequence[PointConformity], kind: str) -> list[Finding]:
    findings = []
    low = [point for point in judged if point.point.coverage_factor < MIN_COVERAGE_FACTOR]
    if low:
        findings.append(
            finding(
                "coverage-factor-low",
                "info",
                "points",
                count=len(low),
                coverage_factor=low[0].point.coverage_factor,
                limit=MIN_COVERAGE_FACTOR,
            )
        )
    impossible = [point for point in judged if point.guard_band > point.maximum_permissible_error]
    if impossible:
        first = impossible[0]
        findings.append(
            finding(
                "guard-band-wider-than-limit",
                "warning",
                "points",
                source=ILAC_G8,
                count=len(impossible),
                guard_band=quantity(first.guard_band, kind),
                maximum_permissible_error=quantity(first.maximum_permissible_error, kind),
            )
        )
        return findings
    uncertain = [
        point for point in judged if point.expanded_uncertainty > point.maximum_permissible_error / 3
    ]
    if uncertain:
        first = max(uncertain, key=lambda point: point.expanded_uncertainty / point.maximum_permissible_error)
        findings.append(
            finding(
                "calibration-uncertainty-large",
                "info",
                "points",
                source=ONE_THIRD,
                count=len(uncertain),
                expanded_uncertainty=quantity(first.expanded_uncertainty, kind),
                maximum_permissible_error=quantity(first.maximum_permissible_error, kind),
            )
        )
    return findings
