"""Changes of pipe data as typed: corrections and modifications."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from surveys.inputs.fields import QuantityIn, StrictSerializer, TextField, VisibleRecord, texts
from surveys.inputs.set_ups import MaterialField, MediumIn, PipeIn, changed_pipe_entry, medium_entry
from surveys.models import PipeData, WallMeasurement
from surveys.services.pipes.pipes import PipeStatement


class PipePartIn(PipeIn):
    """Changes of the pipe; fields not given do not change."""

    outer_diameter = QuantityIn("length", required=False)
    wall_thickness = QuantityIn("length", required=False)
    material = MaterialField(required=False)


class CorrectionIn(StrictSerializer):
    """New pipe data because the old was always wrong."""

    reason = TextField(max_length=2000)
    pipe = PipePartIn(required=False, default=dict)
    medium = MediumIn(required=False, help_text="Complete replacement of the medium. Default: no change.")
    corrects = VisibleRecord(
        PipeData, required=False, help_text="Version to correct. Default: the version in force."
    )
    valid_from = serializers.DateField(
        required=False,
        allow_null=True,
        help_text="Value for the corrected version. Default: the value of the version that it corrects.",
    )
    wall_measurement = VisibleRecord(WallMeasurement, required=False, allow_null=True, default=None)


class ModificationIn(CorrectionIn):
    """New pipe data because the pipe itself changed on a date."""

    corrects = None
    valid_from = serializers.DateField()


def changed_statement(base: PipeData, requested: Mapping[str, Any]) -> PipeStatement:
    """A version's statement with the parts named in a request changed."""
    pipe, medium = requested["pipe"], requested.get("medium")
    kept = {path: text for path, text in base.as_entered.items() if not _restated(path, pipe, medium)}
    return PipeStatement(
        pipe=changed_pipe_entry(base.pipe_entry(), pipe),
        medium=medium_entry(medium) if medium else base.medium_entry(),
        as_entered={**kept, **texts({"pipe": pipe, "medium": medium or {}})},
    )


def _restated(path: str, pipe: Mapping[str, Any], medium: Any) -> bool:
    area, _, rest = path.partition(".")
    return bool(medium) if area == "medium" else rest.partition(".")[0] in pipe
