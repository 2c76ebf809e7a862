"""Review of the interval of a population by its fraction found in tolerance: ILAC-G24 / OIML D 10, Method 5.

Model: an instrument in tolerance leaves it at a constant rate; the fraction still in tolerance after a time t is exp(-rate t).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Finding, Message, field_name, finding, message
from compute.base.sources import Source
from compute.calibration.intervals import Bounds, Chart, Proposal, proposal, unit_term

RP1 = Source(
    "NCSL RP-1, Establishment and Adjustment of Calibration Intervals: exponential reliability", "unverified"
)
MIN_RESULTS = 5  # below, one instrument more or less changes the fraction by a fifth or more; default value
CONFIDENCE = 0.95
DRAWN = 100


@dataclass(frozen=True, slots=True)
class Observed:
    """As-found results of one type of instrument after about the same interval."""

    in_tolerance: int
    results: int

    def __post_init__(self) -> None:
        if not 0 <= self.in_tolerance <= self.results:
            raise OutOfRange(
                quantity=field_name("in_tolerance"), value=self.in_tolerance, at_least=0, at_most=self.results
            )

    @property
    def share(self) -> float:
        """Fraction found in tolerance."""
        return self.in_tolerance / self.results


def share_interval(observed: Observed, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the confidence interval of the fraction in tolerance, exact for few results.

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
        raise NotEnough(variant="as-found-result")
    if not 0 < confidence < 1:
        raise OutOfRange(quantity=field_name("confidence"), value=confidence, above=0, below=1)
    inside, outside, tail = (
        observed.in_tolerance,
        observed.results - observed.in_tolerance,
        (1 - confidence) / 2,
    )
    lower = float(betaincinv(inside, outside + 1, tail)) if inside else 0.0
    upper = float(betaincinv(inside + 1, outside, 1 - tail)) if outside else 1.0
    return lower, upper


def interval_for_target(interval: float, observed_share: float, target: float) -> float:
    """Return the interval for a target fraction in tolerance, from the fraction found after another interval.

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
    OutOfRange  an interval, a share or a target out of range

    Source
    ------
    exponential reliability (NCSL RP-1, from memory): new = old x ln(target)/ln(observed).
    """
    if not (0 < interval < math.inf and 0 <= observed_share <= 1):
        raise OutOfRange(variant="observed-interval")
    if not 0 < target < 1:
        raise OutOfRange(field="target", value=target, above=0, below=1)
    if observed_share == 0:
        return 0.0
    return math.inf if observed_share == 1 else interval * math.log(target) / math.log(observed_share)


def reliability_interval(observed: Observed, current: float, target: float, bounds: Bounds) -> Proposal:
    """Return the next interval of a population from its fraction found in tolerance, with an allowance for small numbers.

    Where none was out of tolerance the fraction is set to 0.5^(1/n), with which all n are in tolerance half the time, and the interval
    is not shortened. Where the target lies within the Clopper-Pearson interval of the fraction, a finding reports that chance alone could
    explain the difference.

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
        raise NotEnough(variant="as-found-results", count=observed.results, needed=MIN_RESULTS)
    none_out = observed.in_tolerance == observed.results
    share = 0.5 ** (1 / observed.results) if none_out else observed.share
    found = interval_for_target(current, share, target)
    time = max(found, current) if none_out else found
    lower, upper = share_interval(observed)
    return proposal(
        "reliability",
        time,
        bounds,
        reasoning=_reasoning(observed, share, current, target, time, bounds),
        inputs=[
            ("in-tolerance", float(observed.in_tolerance)),
            ("results", float(observed.results)),
            ("rate-used", share),
            ("rate-lower-limit", lower),
            ("rate-upper-limit", upper),
            ("current-interval", current),
            ("target", target),
        ],
        chart=_chart(share, (lower, upper), current, target, bounds),
        findings=_findings(observed, (lower, upper), target),
    )


def _reasoning(
    observed: Observed, share: float, current: float, target: float, time: float, bounds: Bounds
) -> tuple[Message, ...]:
    lower, upper = share_interval(observed)
    found = message(
        "in-tolerance-rate",
        time=round(current),
        time_unit=unit_term(current, bounds.unit),
        in_tolerance=observed.in_tolerance,
        count=observed.results,
        rate=float(observed.share),
        lower=lower,
        upper=upper,
    )
    if observed.in_tolerance == 0:
        return found, message("none-in-tolerance")
    used = (
        message("all-in-tolerance", count=observed.results, rate=float(share))
        if observed.share == 1
        else message("reliability-target", target=float(target))
    )
    formula = message(
        "reliability-interval",
        current=round(current),
        current_unit=unit_term(current, bounds.unit),
        target=float(target),
        rate=float(share),
        result=round(time) if math.isfinite(time) else None,
        result_unit=unit_term(time, bounds.unit),
    )
    return found, used, formula


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
        return [
            finding(
                "reliability-none-in-tolerance",
                "warning",
                source=RP1,
                count=observed.results,
                target=float(target),
            )
        ]
    if limits[0] <= target <= limits[1]:
        return [
            finding(
                "reliability-near-target",
                "info",
                count=observed.results,
                target=float(target),
                lower=limits[0],
                upper=limits[1],
            )
        ]
    return []
