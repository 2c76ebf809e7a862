"""Calibration points, permissible errors and decision rules in answers."""

from __future__ import annotations

from rest_framework import serializers

from compute.calibration.decision_rules import CONFORMITYS
from surveys.api.calculated import FindingOut
from surveys.api.fields import QuantityOut
from surveys.models.calibration import CombineBy, DecisionRuleName, LimitsFrom, Moment


class CalibrationPointOut(serializers.Serializer):
    reference = QuantityOut()
    indicated = QuantityOut()
    error = QuantityOut()
    expanded_uncertainty = QuantityOut()
    coverage_factor = serializers.FloatField()


class JudgedPointOut(CalibrationPointOut):
    maximum_permissible_error = QuantityOut()
    guard_band = QuantityOut()
    acceptance_limit = QuantityOut(
        help_text="Largest accepted measurement error; a negative limit accepts no error."
    )
    conformity = serializers.ChoiceField(CONFORMITYS)
    fraction_of_limit = serializers.FloatField(help_text="Size of the error over the permissible error.")
    conformance_probability = serializers.FloatField()
    specific_risk = serializers.FloatField()
    degrees_of_freedom = serializers.FloatField(
        allow_null=True, help_text="Degrees of freedom of the standard uncertainty; null: infinite."
    )
    global_consumer_risk = serializers.FloatField()
    global_producer_risk = serializers.FloatField()


class ConformitySetOut(serializers.Serializer):
    conformity = serializers.ChoiceField(CONFORMITYS)
    conforms = serializers.BooleanField()
    worst_point = serializers.IntegerField(help_text="Index of the point, from 0.")
    largest_fraction_of_limit = serializers.FloatField()
    min_conformance_probability = serializers.FloatField()
    prior_in_tolerance = serializers.FloatField()
    points = JudgedPointOut(many=True)


class ConformityOut(serializers.Serializer):
    """Calculated from the points at each request."""

    conformity = serializers.ChoiceField(CONFORMITYS, allow_null=True)
    conforms = serializers.BooleanField(allow_null=True)
    of = serializers.ChoiceField(
        Moment.choices,
        allow_null=True,
        help_text="Calibration points on which the statement of conformity is based.",
    )
    as_found = ConformitySetOut(allow_null=True)
    as_left = ConformitySetOut(allow_null=True)
    findings = FindingOut(many=True)


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
