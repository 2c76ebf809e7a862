"""Calibration points, permissible errors and decision rules in requests and answers.

Their unit goes with the kind of instrument, which a field does not know: quantities are read once the instrument is.
"""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from compute.base.errors import ComputeError
from compute.base.units import Quantity, parse_quantity
from compute.calibration.decision_rules import CONFORMITYS, DecisionRule, PermissibleError
from compute.calibration.points import Point
from surveys.api.example_values import quantity_schema
from surveys.api.fields import QuantityOut
from surveys.calibration.conformity import QUANTITY, error_kind
from surveys.inputs.fields import NumberField, StrictSerializer
from surveys.inputs.limits import check_limits
from surveys.inputs.rejections import rejection
from surveys.models.calibration import CombineBy, DecisionRuleName, LimitsFrom, Moment
from surveys.services.fleet.calibrations import Limits, StatedPoint

MAX_POINTS = 100


@extend_schema_field(quantity_schema("speed"))
class LaterQuantityIn(serializers.Field):
    """A quantity of a kind that another field decides; read by `read`."""

    def to_internal_value(self, data: Any) -> Any:
        return data

    def to_representation(self, value: Any) -> Any:
        return value


class CalibrationPointIn(StrictSerializer):
    """One point of a certificate: meter flow velocity, thickness gauge length, thermometer temperature, transducer pair time
    difference at no flow."""

    reference = LaterQuantityIn(help_text="What the laboratory's standard said.")
    indicated = LaterQuantityIn(help_text="What the instrument showed.")
    expanded_uncertainty = LaterQuantityIn(help_text="Of the error, as the certificate states it.")
    coverage_factor = NumberField(help_text="k of the expanded uncertainty, mostly 2.")


class PermissibleErrorIn(StrictSerializer):
    """Largest permissible error either way; with both parts, `combine_by` says how they hold."""

    absolute = LaterQuantityIn(
        required=False, help_text="In the unit of the points; of temperatures a difference."
    )
    relative = NumberField(required=False, help_text="Of the reference, as a ratio: 0.01 is one per cent.")
    combine_by = serializers.ChoiceField(CombineBy.choices, required=False)


class DecisionRuleIn(StrictSerializer):
    """How the uncertainty is taken into account; the guard band is `guard_factor` (1 if left out) times the expanded uncertainty."""

    rule = serializers.ChoiceField(DecisionRuleName.choices)
    guard_factor = NumberField(required=False)


class CalibrationPointOut(serializers.Serializer):
    reference = QuantityOut()
    indicated = QuantityOut()
    error = QuantityOut()
    expanded_uncertainty = QuantityOut()
    coverage_factor = serializers.FloatField()


class JudgedPointOut(CalibrationPointOut):
    maximum_permissible_error = QuantityOut()
    guard_band = QuantityOut()
    acceptance_limit = QuantityOut(help_text="Below 0: no error can pass.")
    conformity = serializers.ChoiceField(CONFORMITYS)
    fraction_of_limit = serializers.FloatField(help_text="Size of the error over the permissible error.")
    conformance_probability = serializers.FloatField()
    specific_risk = serializers.FloatField()


class ConformitySetOut(serializers.Serializer):
    conformity = serializers.ChoiceField(CONFORMITYS)
    conforms = serializers.BooleanField()
    worst_point = serializers.IntegerField(help_text="Its place among the points, from 0.")
    largest_fraction_of_limit = serializers.FloatField()
    min_conformance_probability = serializers.FloatField()
    points = JudgedPointOut(many=True)


class ConformityOut(serializers.Serializer):
    """Worked out from the points each time it is asked for."""

    conformity = serializers.ChoiceField(CONFORMITYS, allow_null=True)
    conforms = serializers.BooleanField(allow_null=True)
    of = serializers.ChoiceField(
        Moment.choices, allow_null=True, help_text="The points it is the verdict on."
    )
    as_found = ConformitySetOut(allow_null=True)
    as_left = ConformitySetOut(allow_null=True)
    findings = serializers.ListField(child=serializers.DictField())


class PermissibleErrorOut(serializers.Serializer):
    absolute = QuantityOut(allow_null=True)
    relative = serializers.FloatField(allow_null=True)
    combine_by = serializers.ChoiceField(CombineBy.choices, allow_null=True)


class DecisionRuleOut(serializers.Serializer):
    rule = serializers.ChoiceField(DecisionRuleName.choices)
    guard_factor = serializers.FloatField()


class LimitsOut(serializers.Serializer):
    maximum_permissible_error = PermissibleErrorOut()
    decision_rule = DecisionRuleOut()
    limits_from = serializers.ChoiceField(LimitsFrom.choices)


def points_of_request(requested: list[dict[str, Any]], moment: Moment, kind: str) -> list[StatedPoint]:
    """Points of a request as those of an instrument of a kind. Raises ComputeError with the field."""
    name = moment.value.replace("-", "_")
    return [_point(one, moment, kind, f"{name}.{number}") for number, one in enumerate(requested)]


def limits_of_request(requested: dict[str, Any], kind: str) -> tuple[Limits, dict[str, str]] | None:
    """Permissible error and rule of a request, with the text as typed; None if there are none.

    Raises ComputeError with the field, ValidationError if one comes without the other.
    """
    error, rule = requested.get("maximum_permissible_error"), requested.get("decision_rule")
    if error is None and rule is None:
        return None
    if error is None or rule is None:
        missing = "decision_rule" if rule is None else "maximum_permissible_error"
        raise rejection("required/error-and-rule", field=missing)
    return limits_and_rule(error, rule, kind)


def limits_and_rule(error: dict[str, Any], rule: dict[str, Any], kind: str) -> tuple[Limits, dict[str, str]]:
    """A permissible error with its rule, and the text as typed. Raises ComputeError or ValidationError with the field."""
    typed, absolute = {}, None
    if "absolute" in error:
        stated = read(error["absolute"], error_kind(kind), "maximum_permissible_error.absolute")
        absolute, typed["maximum_permissible_error.absolute"] = stated.si, stated.text
    permissible = PermissibleError(absolute, error.get("relative"), error.get("combine_by"))
    if (permissible.relative or 0) >= 1:
        raise rejection("out-of-range/ratio", field="maximum_permissible_error.relative")
    return Limits(permissible, DecisionRule(**rule)), typed


def read(raw: Any, kind: str, field: str) -> Quantity:
    """A quantity of a kind. Raises ComputeError with the field."""
    try:
        quantity = parse_quantity(raw, kind, field)
        check_limits(quantity.si, kind)
    except ComputeError as error:
        error.field = field
        raise
    return quantity


def _point(requested: dict[str, Any], moment: Moment, kind: str, field: str) -> StatedPoint:
    kinds = {
        "reference": QUANTITY[kind],
        "indicated": QUANTITY[kind],
        "expanded_uncertainty": error_kind(kind),
    }
    stated = {name: read(requested[name], of, f"{field}.{name}") for name, of in kinds.items()}
    try:
        point = Point(
            **{name: quantity.si for name, quantity in stated.items()},
            coverage_factor=requested["coverage_factor"],
        )
    except ComputeError as error:
        error.field = field + error.field.removeprefix("points")
        raise
    return StatedPoint(moment, point, {name: quantity.text for name, quantity in stated.items()})
