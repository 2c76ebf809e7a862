"""Combined results: a sum of branches, supply less return, the mean of runs; shared inputs are correlated.

Two results with the same meter, pair, pipe or medium are not independent. Each input of each result is a
component with a key that names its owner; components of one key are one quantity and fully correlated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Finding, field_name, finding, quantity
from compute.base.sources import Source
from compute.combining.components import Component, Part
from compute.statistics.gum import coverage_factor

Kind = Literal["sum", "difference", "mean"]

SHARED = Source(
    "JCGM 100:2008 (GUM) 5.2.2 note 1 and F.1.2.3: components from a common source are correlated fully",
    "unverified",
)


@dataclass(frozen=True, slots=True)
class SharedRow:
    """One line of a combined budget: an input of one owner and its effect on the combined value.

    contribution [unit of the result] is signed: shared inputs add or cancel in it. `contribution_if_independent` is its value
    for independent parts, the root of the sum of squares; `share` [1] is its part of the combined variance; `parts`
    are the indexes of the parts it occurs in, none for the scatter of all together.
    """

    key: str
    contribution: float
    contribution_if_independent: float
    variance_fraction: float
    degrees_of_freedom: float
    parts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Combined:
    """A combined value with its uncertainty, in the parts' unit.

    `shared_variance_fraction` [1] is the part of the variance that comes from inputs of two parts or more.
    `relative_expanded_uncertainty` [1] is infinite for a value of 0.
    """

    value: float
    combined_standard_uncertainty: float
    effective_degrees_of_freedom: float
    coverage_probability: float
    coverage_factor: float
    expanded_uncertainty: float
    relative_expanded_uncertainty: float
    budget: tuple[SharedRow, ...]
    shared_variance_fraction: float
    findings: tuple[Finding, ...] = ()


def combine(
    parts: Sequence[Part], *, scatter: Component | None = None, coverage_probability: float = 0.95
) -> Combined:
    """Return the sum of coefficient x value over the parts, with its uncertainty.

    Components of one key add with their signs before they are squared (correlation 1), those of different keys add as
    squares. The degrees of freedom are those of Welch and Satterthwaite over the keys; where one key comes with several
    numbers of degrees of freedom the smallest is used, which is conservative, and a finding reports it.

    Parameters
    ----------
    parts : sequence of Part  one or more, in one unit
    scatter : Component or None  scatter of all parts together, see `time_alignment`: it replaces that of each
    coverage_probability : float [1]  above 0, below 1

    Returns
    -------
    combined : Combined

    Raises
    ------
    NotEnough   no part
    OutOfRange  a part has two components of one key, or the scatter the key of a part's input

    Source
    ------
    JCGM 100:2008 (GUM) 5.2.2 and F.1.2.3 (shared inputs), G.4.1 (degrees of freedom), from memory.
    """
    if not parts:
        raise NotEnough(field="parts", variant="parts", needed=1, count=0)
    if scatter is not None:
        parts = [
            replace(part, components=tuple(c for c in part.components if not c.scatter)) for part in parts
        ]
    grouped = _by_key(parts)
    if scatter is not None:
        if scatter.key in grouped:
            raise OutOfRange(variant="repeated-component", component=scatter.key)
        grouped[scatter.key] = [(ALL_PARTS, scatter.contribution, scatter.degrees_of_freedom)]
    variance = math.fsum(math.fsum(c for _, c, _ in group) ** 2 for group in grouped.values())
    rows = sorted(
        (_row(key, group, variance) for key, group in grouped.items()),
        key=lambda row: (-row.variance_fraction, row.key),
    )
    return _combined(parts, tuple(rows), variance, coverage_probability, _mixed_freedom(grouped))


def combine_as(
    kind: Kind, parts: Sequence[Part], *, scatter: Component | None = None, coverage_probability: float = 0.95
) -> Combined:
    """Combine a sum of branches, a difference (the first less the second) or a mean of runs, and judge it.

    The mean weights all parts equally: weights by uncertainty would favour a part for its shared inputs, and
    a part with few recorded uncertainties is not more accurate.

    Parameters
    ----------
    kind : str  `sum`, `difference` or `mean`
    parts : sequence of Part  their own coefficients are not used
    scatter : Component or None  as for `combine`, of the sum, difference or mean
    coverage_probability : float [1]

    Returns
    -------
    combined : Combined

    Raises
    ------
    NotEnough  fewer than two parts, or not exactly two for a difference

    Source
    ------
    JCGM 100:2008 (GUM) 5.2.2; equal weights: common practice.
    """
    if len(parts) < 2 or (kind == "difference" and len(parts) != 2):
        if kind == "difference":
            raise NotEnough(field="parts", variant="parts-of-difference", count=len(parts))
        raise NotEnough(field="parts", variant="parts", needed=2, count=len(parts))
    coefficients = {
        "sum": [1.0] * len(parts),
        "difference": [1.0, -1.0],
        "mean": [1 / len(parts)] * len(parts),
    }[kind]
    taken = [replace(part, coefficient=c) for part, c in zip(parts, coefficients, strict=True)]
    result = combine(taken, scatter=scatter, coverage_probability=coverage_probability)
    return replace(result, findings=(*result.findings, *_judged(kind, result)))


# Of an input: the parts it occurs in, coefficient x contribution in each, degrees of freedom.
Group = list[tuple[int, float, float]]
Grouped = dict[str, Group]
# In place of the index of a part, for contributions of all parts together.
ALL_PARTS = -1


def _row(key: str, group: Group, variance: float) -> SharedRow:
    contribution = math.fsum(moved for _, moved, _ in group)
    return SharedRow(
        key=key,
        contribution=contribution,
        contribution_if_independent=math.hypot(*(moved for _, moved, _ in group)),
        variance_fraction=contribution**2 / variance if variance else 0.0,
        degrees_of_freedom=min(freedom for _, _, freedom in group),
        parts=tuple(index for index, _, _ in group if index != ALL_PARTS),
    )


def _by_key(parts: Sequence[Part]) -> Grouped:
    grouped: Grouped = {}
    for index, part in enumerate(parts):
        if len({c.key for c in part.components}) != len(part.components):
            raise OutOfRange(
                field="parts", variant="repeated-input", part=part.name or None, number=index + 1
            )
        for component in part.components:
            moved = part.coefficient * component.contribution
            grouped.setdefault(component.key, []).append((index, moved, component.degrees_of_freedom))
    return grouped


def _combined(
    parts: Sequence[Part],
    rows: tuple[SharedRow, ...],
    variance: float,
    probability: float,
    findings: tuple[Finding, ...],
) -> Combined:
    value = math.fsum(part.coefficient * part.value for part in parts)
    deviation = math.sqrt(variance)
    lost = math.fsum(row.variance_fraction**2 / row.degrees_of_freedom for row in rows)
    freedom = 1 / lost if lost > 0 else math.inf
    factor = coverage_factor(probability, freedom)
    return Combined(
        value=value,
        combined_standard_uncertainty=deviation,
        effective_degrees_of_freedom=freedom,
        coverage_probability=probability,
        coverage_factor=factor,
        expanded_uncertainty=factor * deviation,
        relative_expanded_uncertainty=factor * deviation / abs(value) if value else math.inf,
        budget=rows,
        shared_variance_fraction=math.fsum(row.variance_fraction for row in rows if len(row.parts) > 1),
        findings=findings,
    )


def _mixed_freedom(grouped: Grouped) -> tuple[Finding, ...]:
    mixed = [
        key for key, group in grouped.items() if len({freedom for _, moved, freedom in group if moved}) > 1
    ]
    if not mixed:
        return ()
    inputs = sorted({key.partition("@")[0] for key in mixed})
    return (
        finding(
            "correlated-degrees-of-freedom/combined",
            "info",
            source=SHARED,
            count=len(inputs),
            inputs=[field_name(one) for one in inputs],
        ),
    )


def _judged(kind: Kind, result: Combined) -> list[Finding]:
    """Judge whether a difference is significant and a relative uncertainty is meaningful."""
    findings = []
    value, expanded = result.value, result.expanded_uncertainty
    if kind == "difference" and abs(value) <= expanded:
        findings.append(
            finding(
                "difference-not-significant",
                "warning",
                "parts",
                source=SHARED,
                difference=quantity(value, "volume_flow"),
                expanded_uncertainty=quantity(expanded, "volume_flow"),
                coverage_probability=float(result.coverage_probability),
            )
        )
    if abs(value) <= result.combined_standard_uncertainty:
        findings.append(
            finding(
                "relative-uncertainty-meaningless",
                "info",
                "parts",
                value=quantity(value, "volume_flow"),
                standard_uncertainty=quantity(result.combined_standard_uncertainty, "volume_flow"),
            )
        )
    return findings
