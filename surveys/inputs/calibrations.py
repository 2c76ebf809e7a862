"""Certificates as typed: their points, permissible errors and decision rules.

Their unit goes with the kind of instrument, which a field does not know: quantities are read once the instrument is.
"""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from compute.base.errors import ComputeError
from compute.base.units import Quantity, parse_quantity
from compute.calibration.decision_rules import DecisionRule, PermissibleError
from compute.calibration.points import Point
from surveys.calibration.conformity import QUANTITY, error_kind
from surveys.inputs.fields import (
    NumberField,
    QuantityIn,
    StrictSerializer,
    TextField,
    VisibleRecord,
    si_of,
    texts,
)
from surveys.inputs.limits import check_limits
from surveys.inputs.quantity_schema import quantity_schema
from surveys.inputs.rejections import rejection
from surveys.models import Calibration, Instrument
from surveys.models.calibration import CombineBy, DecisionRuleName, Moment
from surveys.services.fleet.calibrations import CertificateContent, CertificatePoint, Limits

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

    reference = LaterQuantityIn(help_text="Reference value of the laboratory's standard.")
    indicated = LaterQuantityIn(help_text="Value indicated by the instrument.")
    expanded_uncertainty = LaterQuantityIn(help_text="Uncertainty of the error, as on the certificate.")
    coverage_factor = NumberField(help_text="k of the expanded uncertainty, mostly 2.")


class PermissibleErrorIn(StrictSerializer):
    """Largest permissible error either way; with both parts, `combine_by` says how they hold."""

    absolute = LaterQuantityIn(
        required=False, help_text="Limit in the unit of the points; a difference for temperatures."
    )
    relative = NumberField(required=False, help_text="Fraction of the reference value: 0.01 is one per cent.")
    combine_by = serializers.ChoiceField(CombineBy.choices, required=False)


class DecisionRuleIn(StrictSerializer):
    """How the uncertainty is taken into account; the guard band is `guard_factor` (1 if left out) times the expanded uncertainty."""

    rule = serializers.ChoiceField(DecisionRuleName.choices)
    guard_factor = NumberField(required=False)


def points_of_request(requested: list[dict[str, Any]], moment: Moment, kind: str) -> list[CertificatePoint]:
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


def _point(requested: dict[str, Any], moment: Moment, kind: str, field: str) -> CertificatePoint:
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
    return CertificatePoint(moment, point, {name: quantity.text for name, quantity in stated.items()})


class CalibrationIn(StrictSerializer):
    instrument = VisibleRecord(Instrument)
    serial = TextField(
        max_length=60,
        required=False,
        help_text="Serial number on the certificate; must match the instrument.",
    )
    certificate = TextField(max_length=100, help_text="Number of the certificate.")
    laboratory = TextField(max_length=200)
    accreditation = TextField(
        max_length=200,
        required=False,
        allow_blank=True,
        help_text="Accreditation of the laboratory, as on the certificate.",
    )
    calibrated_on = serializers.DateField()
    due_on = serializers.DateField(
        required=False, help_text="Last day of validity. Default: set by the interval policy."
    )
    conditions = TextField(max_length=2000, required=False, allow_blank=True)
    conditions_temperature = QuantityIn("temperature", required=False)
    as_found = serializers.ListField(child=CalibrationPointIn(), max_length=MAX_POINTS, required=False)
    as_left = serializers.ListField(
        child=CalibrationPointIn(),
        max_length=MAX_POINTS,
        required=False,
        help_text="Points after adjustment; an empty list if nothing was adjusted.",
    )
    maximum_permissible_error = PermissibleErrorIn(
        required=False,
        help_text="Limits of acceptance. Default: the acceptance policy of the instrument or its type.",
    )
    decision_rule = DecisionRuleIn(required=False)
    note = TextField(max_length=5000, required=False, allow_blank=True)
    corrects = VisibleRecord(
        Calibration,
        required=False,
        help_text="Id of the calibration that this certificate replaces because the calibration was entered incorrectly.",
    )
    reason = TextField(max_length=2000, required=False, help_text="Reason for a correction.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "due_on" in attrs and attrs["due_on"] <= attrs["calibrated_on"]:
            raise rejection("due-too-early", field="due_on")
        stated, instrument = attrs.get("serial"), attrs["instrument"]
        if stated is not None and _plain(stated) != _plain(instrument.serial):
            raise rejection("other-serial", field="serial", certificate=stated, instrument=instrument.serial)
        return attrs


def calibration_of_request(requested: dict[str, Any]) -> tuple[Calibration, CertificateContent, str]:
    """A checked request as the service takes it. Raises ComputeError or ValidationError with the field."""
    kind = requested["instrument"].kind
    typed = texts({name: requested[name] for name in ("conditions_temperature",) if name in requested})
    points = [
        point
        for moment in Moment
        for point in points_of_request(requested.pop(moment.value.replace("-", "_"), []), moment, kind)
    ]
    stated = limits_of_request(requested, kind)
    if stated:
        typed |= stated[1]
    reason = requested.pop("reason", "")
    for name in ("serial", "maximum_permissible_error", "decision_rule"):
        requested.pop(name, None)
    temperature = si_of(requested.pop("conditions_temperature", None))
    calibration = Calibration(**requested, conditions_temperature_k=temperature, as_entered=typed)
    return calibration, CertificateContent(points, stated[0] if stated else None), reason


def _plain(serial: str) -> str:
    return "".join(serial.split()).casefold()
