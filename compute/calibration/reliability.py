"""Review of the interval of a population by its share found in tolerance: ILAC-G24 / OIML D 10, Method 5.

Model: an instrument in tolerance when calibrated leaves it at a constant rate, so that the share still in after a time t is exp(-rate t).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from compute.base.errors import NotEnough, OutOfRange
from compute.base.findings import Finding
from compute.base.sources import PRACTICE, Source
from compute.calibration.intervals import Bounds, Chart, Proposal, proposal

RP1 = Source(
    "NCSL RP-1, Establishment and Adjustment of Calibration Intervals: exponential reliability", "unverified"
)
MIN_RESULTS = 5  # below, one instrument more or less moves the share by a fifth and more; default value
CONFIDENCE = 0.95
DRAWN = 100


@dataclass(frozen=True, slots=True)
class Observed:
    """As-found results of one type of instrument after about the same interval."""

    in_tolerance: int
    results: int

    def __post_init__(self) -> None:
        if not 0 <= self.in_tolerance <= self.results:
            detail = f"{self.in_tolerance} in tolerance of {self.results} results cannot be."
            raise OutOfRange(detail, field="observed")

    @property
    def share(self) -> float:
        """Share found in tolerance."""
        return self.in_tolerance / self.results


def share_interval(observed: Observed, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Interval that holds the true share in tolerance, however few the results.

    Parameters
    ----------
    observed : Observed  one result or more
    confidence : float [1]  of the two-sided interval, at least; above 0, below 1

    Returns
    -------
    lower : float [1]
    upper : float [1]

    Raises
    ------
    NotEnough   no result
    OutOfRange  a confidence not between 0 and 1

    Source
    ------
    Clopper and Pearson 1934, exact binomial limits, by quantiles of the beta distribution.
    """
    from scipy.special import betaincinv

    if not observed.results:
        raise NotEnough("No as-found result is on record.", field="observed")
    if not 0 < confidence < 1:
        raise OutOfRange("A confidence lies between 0 and 1.", field="confidence")
    inside, outside, tail = (
        observed.in_tolerance,
        observed.results - observed.in_tolerance,
        (1 - confidence) / 2,
    )
    lower = float(betaincinv(inside, outside + 1, tail)) if inside else 0.0
    upper = float(betaincinv(inside + 1, outside, 1 - tail)) if outside else 1.0
    return lower, upper


def interval_for_target(interval: float, observed_share: float, target: float) -> float:
    """Interval after which the target share would be in tolerance, from the share found after another.

    Parameters
    ----------
    interval : float [any unit]  after which the share was observed, above 0
    observed_share : float [1]  0 to 1; 0 gives 0, 1 gives infinity
    target : float [1]  above 0, below 1

    Returns
    -------
    interval : float [as interval]

    Raises
    ------
    OutOfRange  an interval, a share or a target that cannot be

    Source
    ------
    exponential reliability (NCSL RP-1, from memory): new = old x ln(target)/ln(observed).
    """
    if not (0 < interval < math.inf and 0 <= observed_share <= 1):
        raise OutOfRange("The interval is above 0, the share found in tolerance from 0 to 1.")
    if not 0 < target < 1:
        raise OutOfRange("A reliability target lies between 0 and 1.", field="policy.target")
    if observed_share == 0:
        return 0.0
    return math.inf if observed_share == 1 else interval * math.log(target) / math.log(observed_share)


def reliability_interval(observed: Observed, current: float, target: float, bounds: Bounds) -> Proposal:
    """Next interval of a population from its share found in tolerance, with care for small numbers.

    Where none was out of tolerance the share is taken as 0.5^(1/n), the one that gives n in tolerance every other time, and the interval
    is not shortened. Where the target lies within the Clopper-Pearson interval of the share, a finding says that chance alone could
    have made the difference.

    Parameters
    ----------
    observed : Observed  five results or more
    current : float [days or hours as bounds]  interval after which they were found so
    target : float [1]  share to be in tolerance at the end of the interval
    bounds : Bounds

    Returns
    -------
    proposal : Proposal  chart of shares in tolerance over time since calibration

    Raises
    ------
    NotEnough   fewer than five results
    OutOfRange  see `interval_for_target`

    Source
    ------
    exponential reliability (NCSL RP-1, from memory); Clopper and Pearson 1934; the rule for none out of tolerance is the median
        of zero failures, a default.
    """
    if observed.results < MIN_RESULTS:
        detail = (
            f"{observed.results} as-found results after this interval say too little of the type; {MIN_RESULTS} or more are needed. "
            "Use the staircase until then."
        )
        raise NotEnough(detail, field="observed")
    none_out = observed.in_tolerance == observed.results
    share = 0.5 ** (1 / observed.results) if none_out else observed.share
    came_to = interval_for_target(current, share, target)
    time = max(came_to, current) if none_out else came_to
    lower, upper = share_interval(observed)
    return proposal(
        "reliability",
        time,
        bounds,
        reasoning=_reasoning(observed, share, current, target, time, bounds),
        inputs=[
            ("in tolerance", float(observed.in_tolerance)),
            ("results", float(observed.results)),
            ("share used", share),
            ("lower limit of the share", lower),
            ("upper limit of the share", upper),
            ("current interval", current),
            ("target", target),
        ],
        chart=_chart(share, (lower, upper), current, target, bounds),
        findings=_findings(observed, (lower, upper), target),
    )


def _reasoning(
    observed: Observed, share: float, current: float, target: float, time: float, bounds: Bounds
) -> tuple[str, ...]:
    lower, upper = share_interval(observed)
    found = (
        f"After {current:.0f} {bounds.unit} {observed.in_tolerance} of {observed.results} were found in tolerance: {observed.share:.1%}, "
        f"the true share between {lower:.1%} and {upper:.1%} with 95 % confidence."
    )
    if observed.share == 1:
        used = (
            f"None was out, so the share is taken as {share:.1%}, which would give such a row every other time, and the interval is not "
            "shortened."
        )
    elif observed.in_tolerance == 0:
        used = "None was in tolerance: no interval would do."
    else:
        used = f"The target is {target:.1%}."
    came = f"{current:.0f} {bounds.unit} x ln({target:.3g}) / ln({share:.3g}) gives {time:.0f} {bounds.unit}."
    return (found, used) if observed.in_tolerance == 0 else (found, used, came)


def _chart(share: float, limits: tuple[float, float], current: float, target: float, bounds: Bounds) -> Chart:
    x = np.linspace(0.0, bounds.longest, DRAWN)

    def over_time(found: float) -> tuple[float, ...]:
        # 0 to the power 0 is 1: all are in tolerance when calibrated.
        return tuple(np.power(found, x / current).tolist())

    return Chart(
        x_unit=bounds.unit, y_kind="number", point_x=(current,), point_y=(share,), line_x=tuple(x.tolist()),
        line_y=over_time(share), band_low=over_time(limits[0]), band_high=over_time(limits[1]), limits=(target,),
    )  # fmt: skip


def _findings(observed: Observed, limits: tuple[float, float], target: float) -> list[Finding]:
    if observed.in_tolerance == 0:
        detail = "No instrument was found in tolerance. An interval does not mend that: look at the permissible error, the handling and the type."
        return [
            Finding("reliability-none-in-tolerance", "warning", detail, "observed", 0.0, target, source=RP1)
        ]
    if limits[0] <= target <= limits[1]:
        detail = (
            f"With {observed.results} results the target of {target:.1%} may be met as it is: the true share lies between {limits[0]:.1%} and "
            f"{limits[1]:.1%}. Wait for more results, or weigh the change against its cost."
        )
        return [
            Finding(
                "reliability-near-target",
                "info",
                detail,
                "observed",
                observed.share,
                target,
                source=PRACTICE,
            )
        ]
    return []
