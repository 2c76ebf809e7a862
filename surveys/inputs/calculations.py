"""Requests for calculations without records: set-ups with readings, uncertainties of inputs, measured sound speeds."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, get_args

import numpy as np
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from compute.base.errors import ComputeError
from compute.base.messages import message
from compute.base.sources import Source
from compute.base.units import parse_quantity, parse_series
from compute.results.uncertainty import InputUncertainty
from compute.statistics.gum import HALF_WIDTH_DIVISOR, Correlation, Distribution
from compute.statistics.monte_carlo import MIN_TRIALS
from surveys.core.stored_quantities import KIND_OF_INPUT, uncertainty_kind
from surveys.inputs.fields import IntegerField, NumberField, QuantityIn, StrictSerializer, si_of
from surveys.inputs.limits import check_limits
from surveys.inputs.quantity_schema import quantity_schema
from surveys.inputs.rejections import error_detail, rejection, rejection_of
from surveys.inputs.set_ups import MediumIn, PipeIn, TransducersField, medium_entry, pipe_entry
from surveys.results.calculations import FlowEntries, SetupEntries

MAX_READINGS = 100_000


class SetupIn(StrictSerializer):
    """What fixes the beam."""

    pipe = PipeIn()
    medium = MediumIn()
    transducers = TransducersField()
    traverses = IntegerField(
        min_value=1,
        max_value=16,
        required=False,
        help_text="Number of traverses. Default: the recommended number.",
    )
    expected_velocity = QuantityIn("speed", required=False)
    timing_resolution = QuantityIn(
        "time_difference",
        required=False,
        help_text="Timing resolution of the meter; affects the recommended number of traverses.",
    )


class SeriesIn(serializers.Field):
    """One quantity, or many as {"values": [...], "unit": "..."}; becomes an SI float or array."""

    max_values = MAX_READINGS

    def __init__(self, kind: str, **options: Any) -> None:
        self.kind = kind
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> Any:
        try:
            many = isinstance(data, dict) and "values" in data
            readings = parse_series(data, self.kind) if many else parse_quantity(data, self.kind).si
            check_limits(readings, self.kind)
        except ComputeError as error:
            raise rejection_of(error) from None
        if np.size(readings) > MAX_READINGS:
            raise rejection("too-many-readings", most=MAX_READINGS)
        return readings

    def to_representation(self, value: Any) -> Any:
        return value


class ReadingsIn(StrictSerializer):
    """Times as measured; or velocity or flow as logged, with the sound speed if there is one."""

    transit_time = SeriesIn("transit_time", required=False)
    time_difference = SeriesIn("time_difference", required=False)
    flow_velocity = SeriesIn("speed", required=False)
    volume_flow = SeriesIn("volume_flow", required=False)
    sound_speed = SeriesIn("speed", required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        times, logged = {"transit_time", "time_difference"}, {"flow_velocity", "volume_flow"}
        if times & attrs.keys():
            for name in (times - attrs.keys()) or ():
                raise rejection("required/both-times", field=name)
            if attrs.keys() - times:
                raise rejection("both-stated/readings")
        elif len(logged & attrs.keys()) != 1:
            raise rejection("not-enough-data/kinds-of-readings")
        lengths = {len(value) for value in attrs.values() if isinstance(value, np.ndarray)}
        if len(lengths) > 1:
            raise rejection("lengths-differ")
        if lengths == {0}:
            raise rejection("not-enough-data/readings")
        return attrs


class ProgrammedIn(StrictSerializer):
    """Settings of the meter."""

    pipe = PipeIn()
    medium = MediumIn()


class FlowIn(SetupIn):
    readings = ReadingsIn()
    programmed = ProgrammedIn(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "traverses" not in attrs:
            raise rejection("required", field="traverses")
        if "transit_time" not in attrs["readings"] and "programmed" not in attrs:
            raise rejection("required/programmed", field="programmed")
        return attrs


MAX_TRIALS = 2_000_000

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
    """Uncertainties by the path of the input, as InputUncertainty by path."""

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
        required=False,
        min_value=MIN_TRIALS,
        max_value=MAX_TRIALS,
        help_text="Number of Monte Carlo trials. Default: no Monte Carlo calculation.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        attrs = super().validate(attrs)
        if any(isinstance(value, np.ndarray) for value in attrs["readings"].values()):
            raise rejection("too-many-readings/means-only", field="readings")
        return attrs


class DiagnosisIn(SetupIn):
    measured_sound_speed = QuantityIn("speed", required=False)
    transit_time = QuantityIn("transit_time", required=False)
    inputs = InputsIn(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "traverses" not in attrs:
            raise rejection("required", field="traverses")
        measured = {"measured_sound_speed", "transit_time"} & attrs.keys()
        if not measured:
            raise rejection("required/measured-sound-speed", field="measured_sound_speed")
        if len(measured) == 2:
            raise rejection("both-stated/measured-sound-speed", field="transit_time")
        return attrs


def setup_entries(requested: Mapping[str, Any]) -> SetupEntries:
    """A checked SetupIn as the physics takes it."""
    return SetupEntries(
        pipe=pipe_entry(requested["pipe"]),
        medium=medium_entry(requested["medium"]),
        transducers=requested["transducers"],
        traverses=requested.get("traverses"),
        expected_velocity=si_of(requested.get("expected_velocity")),
        timing_resolution=si_of(requested.get("timing_resolution")),
    )


def flow_entries(requested: Mapping[str, Any]) -> FlowEntries:
    """A checked FlowIn as the physics takes it."""
    stated = requested.get("programmed")
    programmed = (pipe_entry(stated["pipe"]), medium_entry(stated["medium"])) if stated else None
    return FlowEntries(setup_entries(requested), requested["readings"], programmed)
