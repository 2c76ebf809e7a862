"""Uncertainty of a flow: what each input's doubt does to it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, get_args

import numpy as np
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from compute.base.messages import message
from compute.base.sources import Source
from compute.measuring.entries import medium_at
from compute.results.uncertainty import InputUncertainty, Measurement, flow_monte_carlo, flow_uncertainty
from compute.statistics.gum import HALF_WIDTH_DIVISOR, Correlation, Distribution, GumResult
from compute.statistics.monte_carlo import MIN_TRIALS, MonteCarloResult
from surveys.api.compute.views import FindingOut, FlowIn, flow_times, requested_calculation, validated
from surveys.api.fields import QuantityOut, in_units, units_of
from surveys.api.views import UnitsMixin, documented
from surveys.core.stored_quantities import (
    KIND_OF_INPUT,
    budget_json,
    findings_json,
    quantity,
    uncertainty_kind,
)
from surveys.inputs.fields import IntegerField, NumberField, QuantityIn
from surveys.inputs.quantity_schema import quantity_schema
from surveys.inputs.rejections import error_detail, rejection
from surveys.inputs.set_ups import medium_entry

MAX_TRIALS = 2_000_000
SEED = 1
# SI sizes outside these are slips of the pen, and would overflow on the way.
MIN_UNCERTAINTY, MAX_UNCERTAINTY = 1e-30, 1e6
STATED = Source("entered by the user", "published")
INPUT_UNCERTAINTY_SCHEMA = {
    "type": "object",
    "description": "One of standard_uncertainty, relative_standard_uncertainty, half_width; uncertainties are k = 1.",
    "properties": {
        "standard_uncertainty": {"oneOf": [*quantity_schema("length")["oneOf"], {"type": "number"}]},
        "relative_standard_uncertainty": {"type": "number"},
        "half_width": {"oneOf": [*quantity_schema("length")["oneOf"], {"type": "number"}]},
        "distribution": {"type": "string", "enum": list(get_args(Distribution))},
        "degrees_of_freedom": {"type": "number"},
    },
}
WAYS = ("standard_uncertainty", "relative_standard_uncertainty", "half_width")


@extend_schema_field(
    {
        "type": "object",
        "propertyNames": {"enum": list(KIND_OF_INPUT)},
        "additionalProperties": INPUT_UNCERTAINTY_SCHEMA,
    }
)
class InputsIn(serializers.Field):
    """Doubts by the path of the input; becomes InputUncertainty by path."""

    def to_internal_value(self, data: Any) -> dict[str, InputUncertainty]:
        if not isinstance(data, Mapping) or not data:
            raise rejection("not-enough-data/uncertainties")
        uncertainties, errors = {}, {}
        for path, stated in data.items():
            try:
                uncertainties[path] = _input_uncertainty(path, stated)
            except ValidationError as error:
                errors[str(path)[:60]] = error.detail
        if errors:
            raise ValidationError(errors)
        return uncertainties

    def to_representation(self, value: Any) -> Any:
        return value


def _input_uncertainty(path: str, stated: Any) -> InputUncertainty:
    if path not in KIND_OF_INPUT:
        raise rejection("unknown-name/input", name=str(path)[:60], known=list(KIND_OF_INPUT))
    if not isinstance(stated, Mapping) or len(set(WAYS) & stated.keys()) != 1:
        raise rejection("not-enough-data/uncertainty-size", known=list(WAYS))
    unknown = stated.keys() - {*WAYS, "distribution", "degrees_of_freedom"}
    if unknown:
        known = [*WAYS, "distribution", "degrees_of_freedom"]
        raise ValidationError(
            {
                str(name)[:60]: error_detail(message("unknown-field", name=str(name)[:60], known=known))
                for name in unknown
            }
        )
    [way] = set(WAYS) & stated.keys()
    distribution = stated.get("distribution", "rectangular" if way == "half_width" else "normal")
    distribution = "rectangular" if distribution == "uniform" else distribution
    if distribution not in get_args(Distribution):
        raise rejection("unknown-name/distribution", field="distribution", known=list(get_args(Distribution)))
    size = _size(path, way, stated[way])
    if way == "half_width":
        if distribution not in HALF_WIDTH_DIVISOR:
            raise rejection(
                "unknown-name/half-width-distribution", field="distribution", known=list(HALF_WIDTH_DIVISOR)
            )
        size /= HALF_WIDTH_DIVISOR[distribution]
    freedom = math.inf
    if "degrees_of_freedom" in stated:
        freedom = NumberField(min_value=1).run_validation(stated["degrees_of_freedom"])
    relative = way == "relative_standard_uncertainty"
    return InputUncertainty(
        size, relative=relative, degrees_of_freedom=freedom, distribution=distribution, source=STATED
    )


def _size(path: str, way: str, raw: Any) -> float:
    """The stated size, not below 0: a plain number for what is relative or has no unit, else a quantity."""
    kind = uncertainty_kind(path)
    try:
        if way == "relative_standard_uncertainty" or kind == "number":
            size = NumberField().run_validation(raw)
        else:
            size = QuantityIn(kind).run_validation(raw).si
    except ValidationError as error:
        raise ValidationError({way: error.detail}) from None
    if way == "relative_standard_uncertainty" and path == "medium.temperature":
        raise rejection("invalid/relative-temperature", field=way)
    if size != 0 and not MIN_UNCERTAINTY <= size < MAX_UNCERTAINTY:
        raise rejection("out-of-range/uncertainty", field=way)
    return float(size)


@extend_schema_field(
    {
        "type": "array",
        "items": {
            "type": "array",
            "prefixItems": [{"type": "string"}, {"type": "string"}, {"type": "number"}],
            "items": {"type": ["string", "number"]},
            "minItems": 3,
            "maxItems": 3,
        },
        "maxItems": 200,
    }
)
class CorrelationsIn(serializers.Field):
    """Pairs of inputs with their correlation: [[path, path, r], ...]."""

    def to_internal_value(self, data: Any) -> list[Correlation]:
        if not isinstance(data, list) or len(data) > 200:
            raise rejection("invalid/correlations", most=200)
        found: list[Correlation] = []
        for row in data:
            if not (
                isinstance(row, list) and len(row) == 3 and all(isinstance(path, str) for path in row[:2])
            ):
                raise rejection("invalid/correlation")
            r = NumberField(min_value=-1, max_value=1).run_validation(row[2])
            found.append((row[0], row[1], r))
        return found

    def to_representation(self, value: Any) -> Any:
        return value


class UncertaintyIn(FlowIn):
    inputs = InputsIn()
    correlations = CorrelationsIn(required=False, default=list)
    coverage_probability = NumberField(required=False, default=0.95, min_value=0.5, max_value=0.9999)
    monte_carlo_trials = IntegerField(
        required=False, min_value=MIN_TRIALS, max_value=MAX_TRIALS, help_text="Left out: no Monte Carlo."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        attrs = super().validate(attrs)
        if any(isinstance(value, np.ndarray) for value in attrs["readings"].values()):
            raise rejection("too-many-readings/means-only", field="readings")
        return attrs


class BudgetRowOut(serializers.Serializer):
    input = serializers.CharField()
    value = serializers.JSONField(help_text="A quantity, or a number where there is no unit.")
    standard_uncertainty = serializers.JSONField(help_text="A quantity, or a number where there is no unit.")
    sensitivity = QuantityOut()
    contribution = QuantityOut()
    variance_fraction = serializers.FloatField(help_text="Of the variance; the shares sum to 1.")
    degrees_of_freedom = serializers.FloatField(allow_null=True, help_text="Null: without limit.")


class IntervalOut(serializers.Serializer):
    low = QuantityOut()
    high = QuantityOut()


class MonteCarloOut(serializers.Serializer):
    trials = serializers.IntegerField()
    seed = serializers.IntegerField()
    mean = QuantityOut()
    standard_uncertainty = QuantityOut()
    symmetric_coverage_interval = IntervalOut(help_text="The same probability left out on either side.")
    shortest_coverage_interval = IntervalOut()
    gum_framework_validated = serializers.BooleanField()


class UncertaintyOut(serializers.Serializer):
    volume_flow = QuantityOut()
    combined_standard_uncertainty = QuantityOut()
    effective_degrees_of_freedom = serializers.FloatField(allow_null=True, help_text="Null: without limit.")
    coverage_probability = serializers.FloatField()
    coverage_factor = serializers.FloatField()
    expanded_uncertainty = QuantityOut()
    relative_expanded_uncertainty = serializers.FloatField(allow_null=True, help_text="Null: the flow is 0.")
    budget = BudgetRowOut(many=True)
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
        setup = requested_calculation(requested).setup
        transit_time, time_difference = flow_times(requested, setup)
        entry = medium_entry(requested["medium"])
        measurement = Measurement(
            setup,
            float(transit_time),
            float(time_difference),
            entry.temperature,
            medium_at(entry) if entry.name else None,
        )
        linear = flow_uncertainty(
            measurement, requested["inputs"], requested["correlations"], requested["coverage_probability"]
        )
        answer = _linear_json(linear)
        if "monte_carlo_trials" in requested:
            drawn = flow_monte_carlo(
                measurement, requested["inputs"], linear, requested["monte_carlo_trials"], SEED
            )
            answer["monte_carlo"] = _monte_carlo_json(drawn)
            answer["findings"] += findings_json(drawn.findings)
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
