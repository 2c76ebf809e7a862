"""Global risks of a decision rule: how often it accepts or rejects the wrong instruments of a population.

The specific risk is that of one statement with its measured error. The global risks are those of the rule before anything is measured, for an
instrument of which only the prior distribution of its error is known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from compute.base.errors import OutOfRange
from compute.base.memoization import memoized
from compute.base.sources import Source

# Fraction of the instruments whose error is within the permissible error before the calibration; default value.
PRIOR_IN_TOLERANCE = 0.95
PRIOR = Source(
    "common practice: errors normal about 0, 95 % of the instruments within the permissible error",
    "default",
)
# Strata of the distribution of the error of measurement, of equal probability; the risks are then exact to 1e-4.
STRATA = 4000


@dataclass(frozen=True, slots=True)
class GlobalRisks:
    """Probabilities [1] that an instrument of the prior is accepted and does not conform, or rejected and conforms.

    prior_in_tolerance [1] : fraction of the instruments that conform
    """

    consumer: float
    producer: float
    prior_in_tolerance: float


@memoized
def global_risks(
    acceptance_limit: float,
    standard_uncertainty: float,
    degrees_of_freedom: float = math.inf,
    prior_in_tolerance: float = PRIOR_IN_TOLERANCE,
) -> GlobalRisks:
    """Return the global risks of accepting errors up to a limit, either way.

    Parameters
    ----------
    acceptance_limit : float [permissible error]  below 0: nothing is accepted
    standard_uncertainty : float [permissible error]  of the measured error, 0 or more
    degrees_of_freedom : float [1]  of the standard uncertainty
    prior_in_tolerance : float [1]  fraction of instruments that conform, above 0, below 1; their errors are normal about 0

    Returns
    -------
    risks : GlobalRisks

    Raises
    ------
    OutOfRange  an uncertainty below 0, degrees of freedom not above 0, or a fraction not between 0 and 1

    Source
    ------
    JCGM 106:2012 9.5.2 and 9.5.3 (from memory): the joint probability of the true and the measured error, integrated over what is accepted and
        does not conform, and over what is rejected and conforms. The measured error is the true one plus a t-distributed one.
    """
    from scipy.special import ndtr, ndtri, stdtrit

    if not (standard_uncertainty >= 0 and degrees_of_freedom > 0 and 0 < prior_in_tolerance < 1):
        raise OutOfRange(variant="conformance-limits")
    spread = 1 / float(ndtri(0.5 * (1 + prior_in_tolerance)))
    middles = (np.arange(STRATA) + 0.5) / STRATA
    quantiles = ndtri(middles) if math.isinf(degrees_of_freedom) else stdtrit(degrees_of_freedom, middles)
    shift = standard_uncertainty * np.asarray(quantiles)
    if acceptance_limit < 0:
        return GlobalRisks(0.0, prior_in_tolerance, prior_in_tolerance)
    # True errors that are accepted with a given error of measurement, all of them and those that conform.
    low, high = -acceptance_limit - shift, acceptance_limit - shift
    accepted = float(np.mean(ndtr(high / spread) - ndtr(low / spread)))
    inside = np.clip(low, -1.0, 1.0), np.clip(high, -1.0, 1.0)
    right = float(np.mean(ndtr(inside[1] / spread) - ndtr(inside[0] / spread)))
    return GlobalRisks(
        consumer=float(max(accepted - right, 0.0)),
        producer=float(max(prior_in_tolerance - right, 0.0)),
        prior_in_tolerance=prior_in_tolerance,
    )


def below(z: float, degrees_of_freedom: float) -> float:
    """Return the probability that a standardized error is below a value.

    Parameters
    ----------
    z : float [1]
    degrees_of_freedom : float [1]  infinite: normal distribution

    Returns
    -------
    probability : float [1]

    Source
    ------
    Student's t-distribution, JCGM 101:2008 6.4.9.
    """
    from scipy.special import stdtr

    if math.isinf(degrees_of_freedom) or math.isinf(z):
        return 0.5 * math.erfc(-z / math.sqrt(2))
    return float(stdtr(degrees_of_freedom, z))
