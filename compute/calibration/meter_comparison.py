"""Two meters on one pipe: En number and zeta score, without the uncertainty that both share."""

from __future__ import annotations

import math

from compute.base.errors import OutOfRange
from compute.base.messages import finding, message, quantity
from compute.base.sources import Source
from compute.calibration.intermediate_checks import (
    CheckLimits,
    CheckResult,
    Measured,
    Outcome,
)

ISO_13528 = Source("ISO 13528:2015 (En number; zeta score with limits 2 and 3)", "unverified")


def en_number(first: Measured, second: Measured, shared_uncertainty: float = 0.0) -> float:
    """Return the difference of two results over its expanded uncertainty (k = 2).

    Parameters
    ----------
    first : Measured
    second : Measured
    shared_uncertainty : float [as the values]  standard; of what affects both alike (pipe, medium), within the uncertainty of each

    Returns
    -------
    en : float [1]  up to 1 either way the results agree

    Raises
    ------
    OutOfRange  a shared uncertainty above that of either, or results without uncertainty

    Source
    ------
    ISO 13528:2015 9.7 (from memory), the covariance of the shared part removed by JCGM 100:2008 5.2.2.
    """
    return zeta_score(first, second, shared_uncertainty) / 2


def zeta_score(first: Measured, second: Measured, shared_uncertainty: float = 0.0) -> float:
    """Return the difference of two results over its standard uncertainty.

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
    ISO 13528:2015 9.6 (from memory), the covariance of the shared part removed by JCGM 100:2008 5.2.2.
    """
    u_first, u_second = first.standard_uncertainty, second.standard_uncertainty
    if not 0 <= shared_uncertainty <= min(u_first, u_second):
        raise OutOfRange(field="shared_uncertainty", variant="shared-uncertainty")
    variance = u_first**2 + u_second**2 - 2 * shared_uncertainty**2
    if not 0 < variance < math.inf:
        raise OutOfRange(field="reading", variant="no-own-uncertainty")
    return (first.value - second.value) / math.sqrt(variance)


def two_meters_check(first: Measured, second: Measured, shared_uncertainty: float, kind: str) -> CheckResult:
    """Compare two meters on one pipe at one time, with the uncertainties that they do not share.

    Pipe, medium and profile affect both alike; their uncertainty is removed. The check is within up to |En| = 1, out from
    |zeta| = 3, a warning between. Agreement does not prove that both are right.

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
    parameters = {
        "difference": quantity(difference, kind),
        "en_number": zeta / 2,
        "zeta_score": zeta,
    }
    findings = []
    if outcome == "out":
        findings = [finding("check-out-of-limits/two-meters", "error", source=ISO_13528, **parameters)]
    elif outcome == "warning":
        findings = [finding("check-warning/two-meters", "warning", source=ISO_13528, **parameters)]
    return CheckResult(
        outcome=outcome,
        deviation=difference,
        standard_uncertainty=unshared,
        expanded_uncertainty=2 * unshared,
        kind=kind,
        limits=CheckLimits(2 * unshared, 3 * unshared),
        figures=(("en-number", zeta / 2, "number"), ("zeta-score", zeta, "number")),
        sentences=(message("meters-compared", **parameters),),
        findings=tuple(findings),
    )
