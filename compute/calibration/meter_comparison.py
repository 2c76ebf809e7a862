"""Two meters on one pipe: En number and zeta score, with what both share in doubt taken out."""

from __future__ import annotations

import math

from compute.base.errors import OutOfRange
from compute.base.figures import worded
from compute.base.sources import Source
from compute.calibration.intermediate_checks import (
    CheckLimits,
    CheckResult,
    Measured,
    Outcome,
    outcome_findings,
)

ISO_13528 = Source("ISO 13528:2015 (En number; zeta score with limits 2 and 3)", "unverified")


def en_number(first: Measured, second: Measured, shared_uncertainty: float = 0.0) -> float:
    """Difference of two results over its expanded uncertainty (k = 2).

    Parameters
    ----------
    first : Measured
    second : Measured
    shared_uncertainty : float [as the values]  standard; what moves both alike (pipe, medium), within the uncertainty of each

    Returns
    -------
    en : float [1]  up to 1 either way the results agree

    Raises
    ------
    OutOfRange  a shared uncertainty above that of either, or results without uncertainty

    Source
    ------
    ISO 13528:2015 9.7 (from memory), the covariance of what is shared taken out by JCGM 100:2008 5.2.2.
    """
    return zeta_score(first, second, shared_uncertainty) / 2


def zeta_score(first: Measured, second: Measured, shared_uncertainty: float = 0.0) -> float:
    """Difference of two results over its standard uncertainty.

    Parameters
    ----------
    first : Measured
    second : Measured
    shared_uncertainty : float [as the values]  standard; see `en_number`

    Returns
    -------
    zeta : float [1]  up to 2 either way satisfactory, from 3 not

    Raises
    ------
    OutOfRange  a shared uncertainty above that of either, or results without uncertainty

    Source
    ------
    ISO 13528:2015 9.6 (from memory), the covariance of what is shared taken out by JCGM 100:2008 5.2.2.
    """
    u_first, u_second = first.standard_uncertainty, second.standard_uncertainty
    if not 0 <= shared_uncertainty <= min(u_first, u_second):
        detail = "What two results share in doubt is part of the uncertainty of each, and cannot be above the smaller."
        raise OutOfRange(detail, field="shared_uncertainty")
    variance = u_first**2 + u_second**2 - 2 * shared_uncertainty**2
    if not 0 < variance < math.inf:
        detail = "Beside what they share the two results have no uncertainty; state that of each."
        raise OutOfRange(detail, field="standard_uncertainty")
    return (first.value - second.value) / math.sqrt(variance)


def two_meters_check(first: Measured, second: Measured, shared_uncertainty: float, kind: str) -> CheckResult:
    """Two meters on one pipe at one time: do they agree within what each alone has in doubt?

    Pipe, medium and profile move both alike and prove nothing; their doubt is taken out. Within up to |En| = 1, out from
    |zeta| = 3, a warning between. Agreement does not tell that both are right.

    Parameters
    ----------
    first : Measured
    second : Measured  [as first]
    shared_uncertainty : float [as first]  standard
    kind : str  kind of quantity, e.g. `volume_flow`

    Returns
    -------
    result : CheckResult  deviation = first less second; figures: En, zeta

    Raises
    ------
    OutOfRange  see `en_number`

    Source
    ------
    ISO 13528:2015 9.6 and 9.7, from memory.
    """
    zeta = zeta_score(first, second, shared_uncertainty)
    unshared = math.sqrt(
        first.standard_uncertainty**2 + second.standard_uncertainty**2 - 2 * shared_uncertainty**2
    )
    outcome: Outcome = "within" if abs(zeta) <= 2 else "warning" if abs(zeta) < 3 else "out"
    difference = first.value - second.value
    said = (
        f"The meters differ by {worded(difference, kind)}; without what they share, that is En = {zeta / 2:.2f} (agreement up to 1) and "
        f"zeta = {zeta:.2f}.",
    )
    return CheckResult(
        outcome=outcome,
        deviation=difference,
        standard_uncertainty=unshared,
        expanded_uncertainty=2 * unshared,
        kind=kind,
        limits=CheckLimits(2 * unshared, 3 * unshared),
        figures=(("En", zeta / 2, "number"), ("zeta", zeta, "number")),
        sentences=said,
        findings=outcome_findings(outcome, said[0], difference, 2 * unshared, kind, ISO_13528),
    )
