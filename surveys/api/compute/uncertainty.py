"""Uncertainty of a flow, with the contribution of each input."""

from __future__ import annotations

import math
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from compute.results.propagation import Propagation
from compute.statistics.gum import GumResult
from compute.statistics.monte_carlo import MonteCarloResult
from surveys.api.calculated import FindingOut, SourceOut
from surveys.api.compute.views import validated
from surveys.api.fields import QuantityOrNumberField, QuantityOut, in_units, units_of
from surveys.api.views import UnitsMixin, documented
from surveys.core.stored_quantities import (
    budget_json,
    findings_json,
    quantity,
)
from surveys.inputs.calculations import UncertaintyIn, flow_entries
from surveys.models.result import PropagationMethod


class BudgetRowOut(serializers.Serializer):
    input = serializers.CharField()
    value = QuantityOrNumberField(
        help_text="Value of the input: quantity, or number for an input without a unit."
    )
    standard_uncertainty = QuantityOrNumberField(
        help_text="Standard uncertainty of the input: quantity, or number for an input without a unit."
    )
    sensitivity = QuantityOut()
    contribution = QuantityOut()
    variance_fraction = serializers.FloatField(
        help_text="Fraction of the combined variance; the fractions of all rows add up to 1."
    )
    degrees_of_freedom = serializers.FloatField(
        allow_null=True, help_text="Degrees of freedom; null if infinite."
    )
    distribution = serializers.CharField()
    source = SourceOut(allow_null=True, help_text="Source of the standard uncertainty; null if it has none.")


class IntervalOut(serializers.Serializer):
    low = QuantityOut()
    high = QuantityOut()


class MonteCarloOut(serializers.Serializer):
    trials = serializers.IntegerField()
    seed = serializers.IntegerField()
    mean = QuantityOut()
    standard_uncertainty = QuantityOut()
    symmetric_coverage_interval = IntervalOut(help_text="Interval with equal probability below and above.")
    shortest_coverage_interval = IntervalOut()
    gum_framework_validated = serializers.BooleanField()


class PropagationOut(serializers.Serializer):
    propagation_method = serializers.ChoiceField(
        PropagationMethod.choices,
        help_text="Monte Carlo where the model is not linear enough or the flow regime is not certain.",
    )
    combined_standard_uncertainty = QuantityOut()
    expanded_uncertainty = QuantityOut(
        help_text="Half-width about the flow that holds the coverage probability."
    )
    coverage_factor = serializers.FloatField(help_text="Expanded over combined standard uncertainty.")
    coverage_interval = IntervalOut(help_text="Interval with equal probability below and above.")
    trials = serializers.IntegerField(allow_null=True, help_text="Null: no Monte Carlo run.")
    seed = serializers.IntegerField(allow_null=True, help_text="The same seed gives the same draws.")


class UncertaintyOut(serializers.Serializer):
    volume_flow = QuantityOut()
    combined_standard_uncertainty = QuantityOut()
    effective_degrees_of_freedom = serializers.FloatField(
        allow_null=True, help_text="Degrees of freedom; null if infinite."
    )
    coverage_probability = serializers.FloatField()
    coverage_factor = serializers.FloatField()
    expanded_uncertainty = QuantityOut()
    relative_expanded_uncertainty = serializers.FloatField(
        allow_null=True, help_text="Relative expanded uncertainty; null for a flow of 0."
    )
    budget = BudgetRowOut(many=True)
    propagation = PropagationOut(
        help_text="Uncertainty by the method that these inputs require, as a result of a survey has it."
    )
    monte_carlo = MonteCarloOut(required=False)
    findings = FindingOut(many=True)


class UncertaintyView(UnitsMixin):
    """How sure a flow is, from how sure its inputs are."""

    throttled_as = "compute"

    @documented(
        request=UncertaintyIn, responses=UncertaintyOut, tags=["compute"], operation_id="compute_uncertainty"
    )
    def post(self, request: Request) -> Response:
        requested = validated(UncertaintyIn, request, self)
        found = flow_entries(requested).uncertainty(
            requested["inputs"],
            requested["correlations"],
            requested["coverage_probability"],
            requested.get("monte_carlo_trials"),
        )
        answer = _linear_json(found.linear)
        answer["propagation"] = _propagation_json(found.result, found.propagation)
        findings = list(found.findings)
        if found.drawn is not None:
            answer["monte_carlo"] = _monte_carlo_json(found.drawn)
            findings += [one for one in found.drawn.findings if one not in findings]
        answer["findings"] += findings_json(findings)
        return Response(in_units(answer, units_of(request)))


def _linear_json(linear: GumResult) -> dict[str, Any]:
    freedom, relative = linear.effective_degrees_of_freedom, linear.relative_expanded_uncertainty
    return {
        "volume_flow": quantity(linear.value, "volume_flow"),
        "combined_standard_uncertainty": quantity(linear.combined_standard_uncertainty, "volume_flow"),
        "effective_degrees_of_freedom": freedom if math.isfinite(freedom) else None,
        "coverage_probability": linear.coverage_probability,
        "coverage_factor": linear.coverage_factor,
        "expanded_uncertainty": quantity(linear.expanded_uncertainty, "volume_flow"),
        "relative_expanded_uncertainty": relative if math.isfinite(relative) else None,
        "budget": budget_json(linear.budget),
        "findings": findings_json(linear.findings),
    }


def _propagation_json(result: GumResult, propagation: Propagation) -> dict[str, Any]:
    low, high = propagation.coverage_interval
    return {
        "propagation_method": propagation.method,
        "combined_standard_uncertainty": quantity(result.combined_standard_uncertainty, "volume_flow"),
        "expanded_uncertainty": quantity(result.expanded_uncertainty, "volume_flow"),
        "coverage_factor": result.coverage_factor,
        "coverage_interval": {"low": quantity(low, "volume_flow"), "high": quantity(high, "volume_flow")},
        "trials": propagation.trials,
        "seed": propagation.seed,
    }


def _monte_carlo_json(drawn: MonteCarloResult) -> dict[str, Any]:
    def interval(ends: tuple[float, float]) -> dict[str, Any]:
        return {"low": quantity(ends[0], "volume_flow"), "high": quantity(ends[1], "volume_flow")}

    return {
        "trials": drawn.trials,
        "seed": drawn.seed,
        "mean": quantity(drawn.mean, "volume_flow"),
        "standard_uncertainty": quantity(drawn.standard_uncertainty, "volume_flow"),
        "symmetric_coverage_interval": interval(drawn.symmetric_coverage_interval),
        "shortest_coverage_interval": interval(drawn.shortest_coverage_interval),
        "gum_framework_validated": drawn.good_enough,
    }
