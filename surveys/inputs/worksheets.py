"""The set-up worksheet and the wall readings of the technician's pages as typed so far."""

from __future__ import annotations

import json
from typing import Any

from django.http import HttpRequest
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from surveys.inputs.fields import IntegerField, QuantityIn, StrictSerializer, VisibleRecord, checked
from surveys.inputs.pipes import PipePartIn
from surveys.inputs.set_ups import MediumIn, TransducersField
from surveys.models import Instrument
from surveys.models.pipe import TemperatureSource


class WorksheetIn(StrictSerializer):
    """The entries of a sheet so far: changes of the pipe data, and the mounting."""

    pipe = PipePartIn(required=False, default=dict)
    medium = MediumIn(required=False)
    transducers = TransducersField()
    meter = VisibleRecord(Instrument, required=False)
    traverses = IntegerField(min_value=1, max_value=16, required=False)
    expected_velocity = QuantityIn("speed", required=False)
    medium_temperature = QuantityIn("temperature", required=False)
    medium_temperature_source = serializers.ChoiceField(TemperatureSource.choices, required=False)
    measured_sound_speed = QuantityIn("speed", required=False)


class WallIn(StrictSerializer):
    """Readings so far, as in `wall-measurements/` of the API."""

    gauge = VisibleRecord(Instrument)
    gauge_velocity_setting = QuantityIn("speed", required=False)
    readings = serializers.ListField(child=QuantityIn("length"), max_length=200)


def sheet_checked(serializer_class: Any, request: HttpRequest) -> dict[str, Any]:
    """The entries of a sheet so far. Raises ValidationError by field."""
    try:
        sheet = json.loads(request.POST.get("sheet", ""))
    except ValueError:
        raise ValidationError({"sheet": _("The form is incomplete. Load the page again.")}) from None
    return checked(serializer_class, sheet, {"request": request})
