"""Propagation of distributions by Monte Carlo (JCGM 101), as a validation of the law of propagation in
compute.statistics.gum.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from compute.base.errors import OutOfRange
from compute.base.messages import Finding, field_name, finding, quantity
from compute.base.sources import Source
from compute.statistics.gum import HALF_WIDTH_DIVISOR, FloatArray, GumResult, Input, Model, correlation_matrix

JCGM_101 = Source("JCGM 101:2008 clauses 6.4, 7 and 8", "unverified")
MIN_TRIALS = 1_000
MAX_TRIALS = 5_000_000
# Draws are made and evaluated in blocks that fit a processor's cache; a seed gives the same numbers on every machine.
BLOCK = 1 << 15
# JCGM 101 7.9.2 takes half a unit in the last of two significant digits: 0.5 % to 5 % of a standard uncertainty, by its leading
# digits and so by the unit it happens to be in. The largest is taken, so that the result of the comparison does not depend on the unit.
TOLERANCE_SHARE = 0.05
# Least share of draws that are possible; a default value.
MIN_POSSIBLE_SHARE = 0.5
# Relative standard uncertainty of a positive input from which it is drawn log-normally: a normal distribution reaches 0 at 6.7
# standard deviations there. A t distribution is cut off at this share of the value from it. Default values.
LOG_NORMAL_FROM = 0.15
CUT_OFF_SHARE = 0.95
MIN_SHARE_REPORTED = 0.01


@dataclass(frozen=True, slots=True)
class MonteCarloResult:
    """What a Monte Carlo run says, and whether it bears out the linear answer it was held against.

    The symmetric interval leaves the same probability on either side; the shortest is the narrowest one that
    holds the probability. `tolerance` is JCGM 101's delta, here 5 % of the standard uncertainty; `good_enough` says that
    both ends of the linear interval lie within it.
    `end_noise` is the standard error of the ends of the symmetric interval from the finite number of trials. `half_width` is that of
    the interval centred on the linear value that holds the probability.
    """

    trials: int
    seed: int
    mean: float
    standard_uncertainty: float
    coverage_probability: float
    symmetric_coverage_interval: tuple[float, float]
    shortest_coverage_interval: tuple[float, float]
    tolerance: float
    difference_low: float
    difference_high: float
    end_noise: float
    good_enough: bool
    half_width: float
    findings: tuple[Finding, ...]


def monte_carlo(
    model: Model, inputs: Sequence[Input], linear: GumResult, trials: int, seed: int, kind: str = "number"
) -> MonteCarloResult:
    """Distribution of a model's value by drawing its inputs at random, compared with the linear answer.

    A normal input with finite degrees of freedom is drawn from the scaled and shifted t distribution. Inputs that
    are correlated are drawn from a joint normal distribution whatever their shape, and a finding says so. An input that cannot be
    0 or less and has a large relative uncertainty is drawn from a log-normal distribution whose median is the best estimate,
    and a finding says so; a t distribution of such an input is cut off near 0. A draw for which the model has no value (nan) is
    left out: its inputs are not possible together.

    Parameters
    ----------
    model : callable  mapping path -> (m,) array to (m,) array
    inputs : sequence of Input  the ones `linear` was made from
    linear : GumResult  of compute.statistics.gum.propagate; gives the correlations and the coverage probability
    trials : int [1]  1 000 to 5 000 000
    seed : int [1]  0 or more; the same seed gives the same answer to the bit
    kind : str  kind of quantity of the model's value, for findings

    Returns
    -------
    result : MonteCarloResult

    Raises
    ------
    OutOfRange  the number of trials is outside its range, or the model has no value at more than half of the draws

    Source
    ------
    JCGM 101:2008 6.4, 7.6, 7.7, 8.1.
    """
    if not MIN_TRIALS <= trials <= MAX_TRIALS:
        raise OutOfRange(field="monte_carlo_trials", value=trials, at_least=MIN_TRIALS, at_most=MAX_TRIALS)
    joint, _ = _joint(inputs, linear)
    values = np.concatenate([model(draws) for draws in drawn_inputs(inputs, linear, trials, seed)])
    values = values[np.isfinite(values)]
    if len(values) < MIN_POSSIBLE_SHARE * trials:
        raise OutOfRange(variant="uncertainty-too-large")
    values.sort()
    findings = (*_joint_finding(inputs, joint), *log_normal_finding(inputs, linear))
    return _summary(values, trials, seed, linear, kind, findings)


def drawn_inputs(
    inputs: Sequence[Input], linear: GumResult, trials: int, seed: int
) -> Iterator[dict[str, FloatArray]]:
    """Return draws of inputs, in blocks.

    Parameters
    ----------
    inputs : sequence of Input
    linear : GumResult  gives the correlations
    trials : int [1]
    seed : int [1]  0 or more; the same seed gives the same draws to the bit

    Returns
    -------
    draws : iterator of dict  path to (m,) draws

    Source
    ------
    JCGM 101:2008 6.4; see `monte_carlo` for the distributions.
    """
    joint, factor = _joint(inputs, linear)
    generator = np.random.default_rng(seed)
    for start in range(0, trials, BLOCK):
        yield _draw(inputs, factor, joint, generator, min(BLOCK, trials - start))


def shortest_coverage_interval(ordered: FloatArray, coverage_probability: float) -> tuple[float, float]:
    """Narrowest interval that holds a given part of a sample.

    Parameters
    ----------
    ordered : (n,) [any unit]  sample, ascending, two values or more
    coverage_probability : float [1]  above 0, below 1

    Returns
    -------
    low, high : float [as ordered]

    Source
    ------
    JCGM 101:2008 7.7.4.
    """
    inside = min(max(round(coverage_probability * len(ordered)), 1), len(ordered) - 1)
    widths = ordered[inside:] - ordered[:-inside]
    start = int(np.argmin(widths))
    return float(ordered[start]), float(ordered[start + inside])


def centred_half_width(ordered: FloatArray, value: float, coverage_probability: float) -> float:
    """Half-width of the interval about a value that holds a given part of a sample.

    Parameters
    ----------
    ordered : (n,) [any unit]  sample
    value : float [as ordered]
    coverage_probability : float [1]  above 0, below 1

    Returns
    -------
    half_width : float [as ordered]

    Source
    ------
    definition : JCGM 100:2008 (GUM) 2.3.5 for a result stated as value +- expanded uncertainty, by order statistics.
    """
    return float(np.quantile(np.abs(ordered - value), coverage_probability))


def numerical_tolerance(standard_uncertainty: float) -> float:
    """How far two intervals may differ and still say the same: 5 % of the standard uncertainty.

    Parameters
    ----------
    standard_uncertainty : float [any unit]  not below 0

    Returns
    -------
    tolerance : float [as standard_uncertainty]

    Raises
    ------
    OutOfRange  the standard uncertainty is below 0

    Source
    ------
    JCGM 101:2008 7.9.2, at the largest it allows for two significant digits.
    """
    if not standard_uncertainty >= 0:
        raise OutOfRange(quantity=field_name("standard_uncertainty"), at_least=0)
    return TOLERANCE_SHARE * standard_uncertainty


def _draw(
    inputs: Sequence[Input],
    factor: FloatArray | None,
    joint: Sequence[str],
    generator: np.random.Generator,
    count: int,
) -> dict[str, FloatArray]:
    drawn = {}
    together = factor @ generator.standard_normal((len(joint), count)) if factor is not None else None
    for item in inputs:
        if together is not None and item.path in joint:
            unit = together[joint.index(item.path)]
        else:
            unit = _unit_trials(item, generator, count)
        drawn[item.path] = _scaled(item, unit)
    return drawn


def _scaled(item: Input, unit: FloatArray) -> FloatArray:
    """Return draws of an input from draws with mean 0 and standard deviation 1."""
    if item.limits is not None and item.distribution == "rectangular":
        low, high = item.limits
        half = HALF_WIDTH_DIVISOR["rectangular"]
        return low + (high - low) * np.clip((unit / half + 1) / 2, 0.0, 1.0)
    if not item.positive or item.value <= 0 or item.standard_uncertainty == 0:
        return item.value + item.standard_uncertainty * unit
    relative = item.standard_uncertainty / item.value
    if is_log_normal(item):
        # Standard deviation of the logarithm for that coefficient of variation.
        spread = math.sqrt(math.log1p(relative**2))
        return item.value * np.exp(spread * unit)
    cut = CUT_OFF_SHARE / relative
    return item.value * (1 + relative * np.clip(unit, -cut, cut))


def is_log_normal(item: Input) -> bool:
    """Whether an input is drawn from a log-normal distribution, because its own would reach 0.

    Parameters
    ----------
    item : Input

    Returns
    -------
    log_normal : bool

    Source
    ------
    limit : LOG_NORMAL_FROM, a default value; a bounded distribution that reaches 0.
    """
    if not item.positive or item.value <= 0 or item.limits is not None:
        return False
    relative = item.standard_uncertainty / item.value
    if item.distribution == "normal":
        return math.isinf(item.degrees_of_freedom) and relative > LOG_NORMAL_FROM
    return HALF_WIDTH_DIVISOR[item.distribution] * relative >= 1


def _unit_trials(item: Input, generator: np.random.Generator, count: int) -> FloatArray:
    """Return trials of an input with standard deviation 1 (a t distribution keeps its wider tails)."""
    if is_log_normal(item):
        return generator.standard_normal(count)
    if item.distribution == "normal":
        if math.isfinite(item.degrees_of_freedom):
            return generator.standard_t(item.degrees_of_freedom, count)
        return generator.standard_normal(count)
    half = HALF_WIDTH_DIVISOR[item.distribution]
    if item.distribution == "rectangular":
        return generator.uniform(-half, half, count)
    if item.distribution == "triangular":
        return generator.triangular(-half, 0.0, half, count)
    return half * np.sin(generator.uniform(-math.pi / 2, math.pi / 2, count))


def _joint(inputs: Sequence[Input], linear: GumResult) -> tuple[list[str], FloatArray | None]:
    """Return the correlated inputs, and a square root of their correlation matrix.

    By eigenvalues, because Cholesky fails for fully correlated inputs.
    """
    named = {path for first, second, r in linear.correlations if r for path in (first, second)}
    joint = [item.path for item in inputs if item.path in named]
    if not joint:
        return joint, None
    values, vectors = np.linalg.eigh(correlation_matrix(joint, linear.correlations))
    factor: FloatArray = vectors * np.sqrt(np.clip(values, 0.0, None))
    return joint, factor


def _summary(
    ordered: FloatArray,
    trials: int,
    seed: int,
    linear: GumResult,
    kind: str,
    findings: tuple[Finding, ...],
) -> MonteCarloResult:
    probability = linear.coverage_probability
    low, high = (
        float(value) for value in np.quantile(ordered, [(1 - probability) / 2, (1 + probability) / 2])
    )
    deviation = float(ordered.std(ddof=1))
    tolerance = numerical_tolerance(deviation)
    differences = (
        abs(linear.value - linear.expanded_uncertainty - low),
        abs(linear.value + linear.expanded_uncertainty - high),
    )
    noise = _end_noise(ordered, (1 - probability) / 2)
    good = max(differences) <= tolerance + 2 * noise
    if not good:
        findings = (*findings, _gum_not_validated(linear, low, high, kind))
    return MonteCarloResult(
        trials=trials,
        seed=seed,
        mean=float(ordered.mean()),
        standard_uncertainty=deviation,
        coverage_probability=probability,
        symmetric_coverage_interval=(low, high),
        shortest_coverage_interval=shortest_coverage_interval(ordered, probability),
        tolerance=tolerance,
        difference_low=differences[0],
        difference_high=differences[1],
        end_noise=noise,
        good_enough=good,
        half_width=centred_half_width(ordered, linear.value, probability),
        findings=findings,
    )


def _end_noise(ordered: FloatArray, tail: float) -> float:
    """Return the standard error of a quantile from the distance of its neighbours: one standard error of its rank to either
    side.
    """
    trials = len(ordered)
    step = math.sqrt(trials * tail * (1 - tail))
    low, high = max(int(trials * tail - step), 0), min(int(trials * tail + step), trials - 1)
    return float(ordered[high] - ordered[low]) / 2


def _gum_not_validated(linear: GumResult, low: float, high: float, kind: str) -> Finding:
    return finding(
        "gum-framework-not-validated",
        "warning",
        source=JCGM_101,
        gum_low=quantity(linear.value - linear.expanded_uncertainty, kind),
        gum_high=quantity(linear.value + linear.expanded_uncertainty, kind),
        monte_carlo_low=quantity(low, kind),
        monte_carlo_high=quantity(high, kind),
    )


def log_normal_finding(inputs: Sequence[Input], linear: GumResult) -> tuple[Finding, ...]:
    """Report the inputs that are drawn from a log-normal distribution, where they matter.

    Parameters
    ----------
    inputs : sequence of Input
    linear : GumResult  its budget has the shares; below 1 % an input does not matter

    Returns
    -------
    findings : tuple of Finding

    Source
    ------
    JCGM 101:2008 6.4: the distribution follows what is known, here that a quantity is positive.
    """
    shares = {row.input: row.variance_fraction for row in linear.budget}
    odd = [
        field_name(one.path)
        for one in inputs
        if is_log_normal(one) and shares.get(one.path, 1.0) > MIN_SHARE_REPORTED
    ]
    return (finding("drawn-log-normal", "info", source=JCGM_101, inputs=odd),) if odd else ()


def _joint_finding(inputs: Sequence[Input], joint: Sequence[str]) -> tuple[Finding, ...]:
    odd = [field_name(item.path) for item in inputs if item.path in joint and item.distribution != "normal"]
    if not odd:
        return ()
    return (finding("correlated-drawn-as-normal", "info", source=JCGM_101, inputs=odd),)
