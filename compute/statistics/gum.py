"""Law of propagation of uncertainty (GUM, JCGM 100): sensitivities, correlated inputs, coverage factor.

Nothing here knows about pipes. A model takes a mapping path -> array and answers with an array, so that
one call serves all the sensitivities.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Finding, field_name, finding
from compute.base.sources import Source

FloatArray = NDArray[np.float64]
Distribution = Literal["normal", "rectangular", "triangular", "arcsine"]
Model = Callable[[Mapping[str, FloatArray]], FloatArray | float]
Correlation = tuple[str, str, float]

GUM = Source("JCGM 100:2008 (GUM) clauses 5 and G.4", "unverified")
# Half-width of each bounded distribution over its standard deviation (GUM 4.3.7, 4.3.9; H.1.3.4 for arcsine).
HALF_WIDTH_DIVISOR: dict[Distribution, float] = {
    "rectangular": math.sqrt(3),
    "triangular": math.sqrt(6),
    "arcsine": math.sqrt(2),
}


@dataclass(frozen=True, slots=True)
class Input:
    """Input quantity: best estimate, standard uncertainty (k = 1), degrees of freedom, distribution, source of the uncertainty.

    limits   : lowest and highest possible value of a rectangular distribution that is not centred on the best estimate
    positive : whether values at or below 0 are impossible, which matters to draws
    """

    path: str
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    distribution: Distribution = "normal"
    limits: tuple[float, float] | None = None
    positive: bool = False
    source: Source | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise OutOfRange(field=self.path, variant="not-finite")
        if not 0 <= self.standard_uncertainty < math.inf:
            raise OutOfRange(field=self.path, quantity=field_name("standard_uncertainty"), at_least=0)
        if not self.degrees_of_freedom > 0:
            raise OutOfRange(field=self.path, quantity=field_name("degrees_of_freedom"), above=0)


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One line of the budget; `contribution` is |sensitivity| * standard uncertainty, in the result's unit.

    `share` is the part of the combined variance that the input brings, its covariances shared evenly with
    the inputs it is correlated with; the shares sum to 1 and a negative one means that a correlation cancels.
    """

    input: str
    value: float
    standard_uncertainty: float
    sensitivity: float
    contribution: float
    variance_fraction: float
    degrees_of_freedom: float = math.inf
    distribution: Distribution = "normal"
    source: Source | None = None


@dataclass(frozen=True, slots=True)
class GumResult:
    """A measured value with its uncertainty; `relative_expanded_uncertainty` is infinite for a value of 0."""

    value: float
    combined_standard_uncertainty: float
    effective_degrees_of_freedom: float
    coverage_probability: float
    coverage_factor: float
    expanded_uncertainty: float
    relative_expanded_uncertainty: float
    budget: tuple[BudgetRow, ...]
    correlations: tuple[Correlation, ...] = ()
    findings: tuple[Finding, ...] = ()


def coverage_factor(probability: float, degrees_of_freedom: float) -> float:
    """Factor k that makes an interval of +-k standard uncertainties hold `probability`, from Student's t.

    Degrees of freedom that are not whole are used as they are (GUM G.4.1 lets one interpolate or truncate).

    Parameters
    ----------
    probability : float [1]  above 0, below 1
    degrees_of_freedom : float [1]  above 0; infinite gives the normal distribution

    Returns
    -------
    factor : float [1]

    Raises
    ------
    OutOfRange  the probability is not between 0 and 1, or the degrees of freedom are not above 0

    Source
    ------
    JCGM 100:2008 (GUM) Annex G, table G.2.
    """
    from scipy.special import ndtri, stdtrit

    if not 0 < probability < 1:
        raise OutOfRange(field="coverage_probability", value=probability, above=0, below=1)
    if not degrees_of_freedom > 0:
        raise OutOfRange(quantity=field_name("degrees_of_freedom"), value=degrees_of_freedom, above=0)
    quantile = 0.5 * (1 + probability)
    return float(ndtri(quantile) if math.isinf(degrees_of_freedom) else stdtrit(degrees_of_freedom, quantile))


def correlation_matrix(paths: Sequence[str], correlations: Sequence[Correlation]) -> FloatArray:
    """Correlation matrix of the inputs, in the order of `paths`, checked to be one that can exist.

    Parameters
    ----------
    paths : sequence of str  the inputs, each once
    correlations : sequence of (path, path, coefficient [1])  pairs not named are uncorrelated

    Returns
    -------
    matrix : (n, n) [1]

    Raises
    ------
    OutOfRange  a coefficient is outside -1..1, a pair repeats, or the matrix is not positive semidefinite
    NotEnough   a correlation names an input that has no uncertainty given

    Source
    ------
    JCGM 100:2008 (GUM) 5.2.2; a covariance matrix is positive semidefinite.
    """
    place = {path: index for index, path in enumerate(paths)}
    matrix = np.eye(len(paths))
    seen: set[frozenset[str]] = set()
    for first, second, coefficient in correlations:
        for path in (first, second):
            if path not in place:
                raise NotEnough(field="correlations", variant="correlated-input", input=field_name(path))
        pair = frozenset((first, second))
        if len(pair) == 1 or pair in seen:
            raise OutOfRange(
                field="correlations",
                variant="correlation-repeated",
                input=field_name(first),
                other_input=field_name(second),
            )
        if not -1 <= coefficient <= 1:
            raise OutOfRange(
                field="correlations",
                quantity=field_name("correlations.correlation_coefficient"),
                value=coefficient,
                at_least=-1,
                at_most=1,
            )
        seen.add(pair)
        matrix[place[first], place[second]] = matrix[place[second], place[first]] = coefficient
    if seen and float(np.linalg.eigvalsh(matrix)[0]) < -1e-9:
        raise OutOfRange(field="correlations", variant="correlations-inconsistent")
    return matrix


def sensitivities(model: Model, inputs: Sequence[Input]) -> tuple[float, FloatArray]:
    """Value of a model at the best estimates, and its derivative by each input.

    Five-point central differences, all points in one call of the model. The step follows the standard
    uncertainty but stays within 1e-4 to 1e-3 of the input's size: truncation and rounding are both below 1e-8.

    Parameters
    ----------
    model : callable  mapping path -> (m,) array to (m,) array
    inputs : sequence of Input

    Returns
    -------
    value : float [unit of the model]
    derivatives : (n,) [unit of the model over unit of the input]

    Raises
    ------
    OutOfRange  the model is not finite at or beside the best estimates

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.3; five-point stencil, error of fourth order in the step.
    """
    values = np.array([item.value for item in inputs], dtype=float)
    uncertainties = np.array([item.standard_uncertainty for item in inputs], dtype=float)
    size = np.maximum(np.abs(values), uncertainties)
    size[size == 0] = 1.0
    steps = np.clip(uncertainties, 1e-4 * size, 1e-3 * size)
    points = np.tile(values, (1 + 4 * len(inputs), 1))
    for index, step in enumerate(steps):
        points[1 + 4 * index : 5 + 4 * index, index] += step * np.array([-2.0, -1.0, 1.0, 2.0])
    answer = model({item.path: points[:, index].copy() for index, item in enumerate(inputs)})
    results = np.broadcast_to(np.asarray(answer, dtype=float), (len(points),))
    if not np.isfinite(results).all():
        raise OutOfRange(variant="no-sensitivity")
    far_down, down, up, far_up = results[1:].reshape(-1, 4).T
    return float(results[0]), (far_down - 8 * down + 8 * up - far_up) / (12 * steps)


def propagate(
    model: Model,
    inputs: Sequence[Input],
    correlations: Sequence[Correlation] = (),
    coverage_probability: float = 0.95,
) -> GumResult:
    """Combined and expanded uncertainty of a model's value, with the budget sorted by share.

    Parameters
    ----------
    model : callable  mapping path -> (m,) array to (m,) array
    inputs : sequence of Input  each path once
    correlations : sequence of (path, path, coefficient [1])
    coverage_probability : float [1]  above 0, below 1

    Returns
    -------
    result : GumResult

    Raises
    ------
    OutOfRange  a path repeats

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.2, 5.2.2, G.4.1.
    """
    if len({item.path for item in inputs}) != len(inputs):
        raise OutOfRange(variant="input-repeated")
    value, slopes = sensitivities(model, inputs)
    return combine_components(value, inputs, slopes, correlations, coverage_probability)


def combine_components(
    value: float,
    inputs: Sequence[Input],
    slopes: FloatArray,
    correlations: Sequence[Correlation],
    coverage_probability: float,
) -> GumResult:
    """Combined and expanded uncertainty when the value and its sensitivities are known already.

    Parameters
    ----------
    value : float [unit of the result]
    inputs : sequence of Input  each path once
    slopes : (n,) [unit of the result over unit of the input]  sensitivities, in the order of the inputs
    correlations : sequence of (path, path, coefficient [1])
    coverage_probability : float [1]  above 0, below 1

    Returns
    -------
    result : GumResult

    Source
    ------
    JCGM 100:2008 (GUM) 5.2.2, G.4.1, G.6.4.
    """
    matrix = correlation_matrix([item.path for item in inputs], correlations)
    parts = slopes * np.array([item.standard_uncertainty for item in inputs])
    shares = parts * (matrix @ parts)
    variance = max(float(shares.sum()), 0.0)
    freedom, findings = _effective_freedom(inputs, parts, matrix, variance)
    factor = coverage_factor(coverage_probability, freedom)
    combined = math.sqrt(variance)
    rows = [
        BudgetRow(
            input=item.path,
            value=item.value,
            standard_uncertainty=item.standard_uncertainty,
            sensitivity=float(slope),
            contribution=abs(float(part)),
            variance_fraction=float(share) / variance if variance > 0 else 0.0,
            degrees_of_freedom=item.degrees_of_freedom,
            distribution=item.distribution,
            source=item.source,
        )
        for item, slope, part, share in zip(inputs, slopes, parts, shares, strict=True)
    ]
    return GumResult(
        value=value,
        combined_standard_uncertainty=combined,
        effective_degrees_of_freedom=freedom,
        coverage_probability=coverage_probability,
        coverage_factor=factor,
        expanded_uncertainty=factor * combined,
        relative_expanded_uncertainty=factor * combined / abs(value) if value else math.inf,
        budget=tuple(sorted(rows, key=lambda row: -row.variance_fraction)),
        correlations=tuple(correlations),
        findings=findings,
    )


def _effective_freedom(
    inputs: Sequence[Input], parts: FloatArray, matrix: FloatArray, variance: float
) -> tuple[float, tuple[Finding, ...]]:
    """Welch-Satterthwaite over groups of correlated inputs.

    The formula of GUM G.4.1 asks for independent components. Inputs that are correlated are taken together
    as one component with the variance of the group. Where they share one number of degrees of freedom (they were
    observed together, as in GUM H.2) that number is right; where they do not, the smallest is used, and a finding reports it.
    """
    total = 0.0
    mixed: list[str] = []
    for group in _groups(matrix):
        freedoms = {inputs[index].degrees_of_freedom for index in group if parts[index] != 0}
        if not freedoms or min(freedoms) == math.inf:
            continue
        if len(freedoms) > 1:
            mixed.extend(inputs[index].path for index in group)
        own = parts[group]
        total += float(own @ matrix[np.ix_(group, group)] @ own) ** 2 / min(freedoms)
    freedom = variance**2 / total if total > 0 else math.inf
    if not mixed:
        return freedom, ()
    inputs_named = [field_name(path) for path in mixed]
    return freedom, (finding("correlated-degrees-of-freedom", "info", source=GUM, inputs=inputs_named),)


def _groups(matrix: FloatArray) -> list[list[int]]:
    """Return the groups of inputs joined, directly or through others, by a correlation that is not 0."""
    if np.count_nonzero(matrix) == len(matrix):
        return [[index] for index in range(len(matrix))]
    left = set(range(len(matrix)))
    groups = []
    while left:
        group = {left.pop()}
        while new := {int(index) for row in group for index in np.flatnonzero(matrix[row])} - group:
            group |= new
        left -= group
        groups.append(sorted(group))
    return groups
