"""Propagation of a survey's uncertainties: the law of propagation where it is valid, otherwise Monte Carlo.

The law of propagation is linear and symmetric. It is used where the model is straight within two standard uncertainties of each
important input and where the flow is surely laminar or surely turbulent. Where it is not, inputs are drawn from their distributions.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from compute.base.errors import ComputeError, OutOfRange
from compute.base.messages import Finding
from compute.measuring.beam import FloatArray
from compute.measuring.flow import flow_from_times
from compute.measuring.profile_uncertainty import turbulence_probability
from compute.results.uncertainty import (
    PROFILE_FACTOR,
    REGIME_CERTAIN_FROM,
    InputUncertainty,
    Measurement,
    flow_inputs,
    flow_model,
    flows_by_regime,
    reynolds_uncertainty,
)
from compute.statistics.convolution import coverage_factor_of_sum
from compute.statistics.gum import Correlation, GumResult, Input, Model, propagate
from compute.statistics.monte_carlo import drawn_inputs, is_log_normal, log_normal_finding, monte_carlo

Method = Literal["law-of-propagation", "monte-carlo"]
TRIALS = 20_000
# Probability of the less likely flow regime from which it is drawn; a default value.
MIN_REGIME_PROBABILITY = 2e-4
# A turbulent flow over the laminar one of the same velocity along the beam, about 0.9/0.75.
OTHER_REGIME = 1.2
# Probability from which the less likely regime is included in full; more than the 5 % that an interval leaves out. A default value.
FULL_REGIME_PROBABILITY = 0.08
# Inputs with less of the variance than this are not checked for curvature, and the curvature that is accepted, as a share of the
# combined standard uncertainty: 5 % of the expanded uncertainty. Default values.
MIN_SHARE_CHECKED, MAX_CURVATURE = 0.01, 0.1
# Degrees of freedom from which the standard deviation of draws of a t distribution is stable; a default value.
MIN_FREEDOM_OF_DEVIATION = 5.0


@dataclass(frozen=True, slots=True)
class Propagation:
    """How an uncertainty was propagated, and the coverage interval of 95 %; `trials` and `seed` of a Monte Carlo run."""

    method: Method
    coverage_interval: tuple[float, float]
    trials: int | None = None
    seed: int | None = None


def propagate_flow(
    measurement: Measurement,
    uncertainties: Mapping[str, InputUncertainty],
    correlations: Sequence[Correlation] = (),
    coverage_probability: float = 0.95,
) -> tuple[GumResult, Propagation, tuple[Finding, ...]]:
    """Return the uncertainty of a flow, with the method that its inputs require.

    By the law of propagation the coverage factor is that of the convolution of the inputs' distributions. By Monte Carlo the expanded
    uncertainty is the half-width about the flow that holds the probability, the standard uncertainty the standard deviation of the
    draws about the flow, and the coverage interval has equal probability on both sides; the budget stays that of the law of
    propagation.

    Parameters
    ----------
    measurement : Measurement
    uncertainties : mapping of InputUncertainty  by path of the input
    correlations : sequence of (path, path, coefficient [-])
    coverage_probability : float [-]

    Returns
    -------
    result : GumResult  values and sensitivities in SI
    propagation : Propagation
    findings : tuple of Finding  of the draws

    Raises
    ------
    ComputeError  see `compute.results.uncertainty.flow_uncertainty`

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.2 and G.1.5; JCGM 101:2008 clauses 5, 7 and 8.
    """
    model, inputs = flow_model(measurement), flow_inputs(measurement, uncertainties)
    evaluated = _WithEnds(model, inputs)
    linear = propagate(evaluated, inputs, correlations, coverage_probability)
    regime_known = _regime_known(measurement, uncertainties)
    if regime_known and _straight(evaluated, inputs, linear):
        shaped = linear if correlations else _with_shapes(linear)
        ends = (shaped.value - shaped.expanded_uncertainty, shaped.value + shaped.expanded_uncertainty)
        return shaped, Propagation("law-of-propagation", ends), ()
    seed = seed_of(inputs)
    try:
        drawn = (
            _drawn(model, inputs, linear, seed)
            if regime_known
            else _drawn_by_regime(measurement, inputs, linear, seed)
        )
    except ComputeError:
        # Too few draws are possible: the linear answer is all there is.
        ends = (linear.value - linear.expanded_uncertainty, linear.value + linear.expanded_uncertainty)
        return linear, Propagation("law-of-propagation", ends), ()
    result = _of_draws(linear, drawn)
    findings = log_normal_finding(inputs, linear)
    return result, Propagation("monte-carlo", drawn.interval, TRIALS, seed), findings


@dataclass(frozen=True, slots=True)
class _Drawn:
    """What draws say: standard deviation about the flow, half-width about the flow and interval that hold the probability."""

    deviation: float
    half_width: float
    interval: tuple[float, float]


def _drawn(model: Model, inputs: Sequence[Input], linear: GumResult, seed: int) -> _Drawn:
    found = monte_carlo(model, inputs, linear, TRIALS, seed, kind="volume_flow")
    deviation = math.hypot(found.standard_uncertainty, found.mean - linear.value)
    return _Drawn(deviation, found.half_width, found.symmetric_coverage_interval)


def _drawn_by_regime(
    measurement: Measurement, inputs: Sequence[Input], linear: GumResult, seed: int
) -> _Drawn:
    """Return what draws say where the flow may be laminar or turbulent.

    Each draw counts in both regimes, by their probabilities. An interval of 95 % ignores a regime of less than 5 % and includes it
    from there on, which would be a jump. Here the less likely regime enters gradually, in proportion to its probability
    up to FULL_REGIME_PROBABILITY, which is on the safe side.
    """
    varied = [one for one in inputs if one.path != PROFILE_FACTOR]
    errors = np.random.default_rng(seed + 1).standard_normal(TRIALS)
    laminar: list[FloatArray] = []
    turbulent: list[FloatArray] = []
    likely: list[FloatArray] = []
    start = 0
    for draws in drawn_inputs(varied, linear, TRIALS, seed):
        count = len(next(iter(draws.values())))
        found = flows_by_regime(measurement, draws, errors[start : start + count])
        start += count
        for kept, values in zip((laminar, turbulent, likely), found, strict=True):
            kept.append(values)
    values = np.concatenate([*laminar, *turbulent])
    of_turbulent = np.concatenate(likely)
    weights = np.concatenate([1 - of_turbulent, of_turbulent])
    is_minor = np.arange(len(values)) >= len(of_turbulent)
    possible = np.isfinite(values)
    values, weights, is_minor = values[possible], weights[possible], is_minor[possible]
    if len(values) < TRIALS:
        raise OutOfRange(variant="uncertainty-too-large")
    probability = float(weights[is_minor].sum() / weights.sum())
    if probability > 0.5:
        is_minor, probability = ~is_minor, 1 - probability
    included = max(probability, FULL_REGIME_PROBABILITY)
    shares = np.where(
        is_minor,
        weights * (included / max(weights[is_minor].sum(), 1e-300)),
        weights * ((1 - included) / weights[~is_minor].sum()),
    )
    value, level = linear.value, linear.coverage_probability
    both = _ends_of(values, shares, value, level)
    major = _ends_of(values[~is_minor], weights[~is_minor], value, level)
    ramp = min(probability / FULL_REGIME_PROBABILITY, 1.0)
    half_width, low, high = (a + ramp * (b - a) for a, b in zip(major, both, strict=True))
    deviation = math.sqrt(float(np.average((values - value) ** 2, weights=weights)))
    return _Drawn(deviation, half_width, (low, high))


def _ends_of(
    values: FloatArray, weights: FloatArray, value: float, probability: float
) -> tuple[float, float, float]:
    """Return the half-width about a value, and the ends of the interval with equal probability on both sides."""
    [half_width] = _quantiles(np.abs(values - value), weights, [probability])
    low, high = _quantiles(values, weights, [(1 - probability) / 2, (1 + probability) / 2])
    return half_width, low, high


def _quantiles(values: FloatArray, weights: FloatArray, levels: Sequence[float]) -> list[float]:
    """Return quantiles of weighted values."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    places = np.searchsorted(reached, np.asarray(levels) * reached[-1])
    return [float(values[order[min(place, len(values) - 1)]]) for place in places]


def seed_of(inputs: Sequence[Input]) -> int:
    """Return the seed of a Monte Carlo run: a digest of its inputs, so that the same inputs give the same draws.

    Parameters
    ----------
    inputs : sequence of Input

    Returns
    -------
    seed : int [-]  0 to 4294967295

    Source
    ------
    custom : the first four bytes of the SHA-256 of paths, values and uncertainties.
    """
    text = ";".join(
        f"{one.path}={one.value!r}~{one.standard_uncertainty!r}~{one.distribution}"
        for one in sorted(inputs, key=lambda one: one.path)
    )
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:4], "big")


def _with_shapes(linear: GumResult) -> GumResult:
    """Return a result with the coverage factor of its inputs' distributions."""
    if not 0.9 <= linear.coverage_probability <= 0.99:
        return linear
    factor = coverage_factor_of_sum(
        [row.contribution for row in linear.budget],
        [row.distribution for row in linear.budget],
        linear.effective_degrees_of_freedom,
        linear.coverage_probability,
    )
    return _with_factor(linear, linear.combined_standard_uncertainty, factor)


def _with_factor(linear: GumResult, standard_uncertainty: float, factor: float) -> GumResult:
    expanded = factor * standard_uncertainty
    return replace(
        linear,
        combined_standard_uncertainty=standard_uncertainty,
        coverage_factor=factor,
        expanded_uncertainty=expanded,
        relative_expanded_uncertainty=expanded / abs(linear.value) if linear.value else math.inf,
    )


def _of_draws(linear: GumResult, drawn: _Drawn) -> GumResult:
    """Return a result with the uncertainty of draws.

    Draws of a t distribution with few degrees of freedom have no stable deviation: there the standard uncertainty is the expanded one
    over the coverage factor of the linear result.
    """
    freedom = min((row.degrees_of_freedom for row in linear.budget if row.contribution), default=math.inf)
    deviation = drawn.deviation
    if freedom < MIN_FREEDOM_OF_DEVIATION or not deviation:
        deviation = drawn.half_width / linear.coverage_factor
    return _with_factor(
        linear, deviation, drawn.half_width / deviation if deviation else linear.coverage_factor
    )


def _regime_known(measurement: Measurement, uncertainties: Mapping[str, InputUncertainty]) -> bool:
    """Whether the flow is surely laminar or surely turbulent, or its profile factor has no uncertainty."""
    if PROFILE_FACTOR not in uncertainties:
        return True
    flow = flow_from_times(measurement.setup, measurement.transit_time, measurement.time_difference)
    reynolds = float(flow.reynolds)
    if reynolds >= REGIME_CERTAIN_FROM:
        return True
    spread = reynolds_uncertainty(measurement, uncertainties)
    # The same readings mean a faster flow if it is turbulent, and a slower one if it is laminar.
    turbulent = turbulence_probability(reynolds * OTHER_REGIME, spread)
    laminar = 1 - turbulence_probability(reynolds / OTHER_REGIME, spread)
    return turbulent < MIN_REGIME_PROBABILITY or laminar < MIN_REGIME_PROBABILITY


class _WithEnds:
    """A model that is also evaluated at the ends of each input, in the same call; `values` are (inputs, 2) and may be nan."""

    def __init__(self, model: Model, inputs: Sequence[Input]) -> None:
        self.model = model
        self.ends = np.array([_ends(one) for one in inputs])
        self.values: FloatArray = np.full((len(inputs), 2), np.nan)

    def __call__(self, at: Mapping[str, FloatArray]) -> FloatArray:
        moved = {}
        for number, (path, points) in enumerate(at.items()):
            more = np.full(2 * len(at), points[0])
            more[2 * number : 2 * number + 2] = self.ends[number]
            moved[path] = np.concatenate([points, more])
        found = np.asarray(self.model(moved))
        self.values = found[-2 * len(at) :].reshape(-1, 2)
        return found[: -2 * len(at)]


def _straight(evaluated: _WithEnds, inputs: Sequence[Input], linear: GumResult) -> bool:
    """Whether the model follows its tangent within two standard uncertainties of each important input."""
    if not linear.combined_standard_uncertainty:
        return True
    rows = {row.input: row for row in linear.budget}
    bent = 0.0
    for one, ends, values in zip(inputs, evaluated.ends, evaluated.values, strict=True):
        row = rows[one.path]
        if row.variance_fraction > MIN_SHARE_CHECKED:
            off = values - linear.value - row.sensitivity * (ends - one.value)
            # At the end of the coverage interval an input is displaced by its share of the variance.
            even, odd = abs(off.sum()) / 2, abs(off[1] - off[0]) / 2
            bent += even * max(row.variance_fraction, 0.25) + odd * row.variance_fraction
    # Neither is true for nan, where the inputs are not possible together.
    return bool(bent <= MAX_CURVATURE * linear.combined_standard_uncertainty)


def _ends(one: Input) -> tuple[float, float]:
    """Return the values of an input between which the model is checked."""
    if one.limits is not None:
        return one.limits
    if is_log_normal(one):
        spread = math.sqrt(math.log1p((one.standard_uncertainty / one.value) ** 2))
        return one.value * math.exp(-2 * spread), one.value * math.exp(2 * spread)
    reach = 2.0 if one.distribution == "normal" else math.sqrt(3)
    return one.value - reach * one.standard_uncertainty, one.value + reach * one.standard_uncertainty
