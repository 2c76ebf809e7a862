"""Instruments as typed: types, transducer data, decisions on intervals and results, calendar feeds."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from surveys.inputs.fields import QuantityIn, StrictSerializer, TextField, VisibleRecord, si_of, texts
from surveys.inputs.rejections import rejection
from surveys.inputs.set_ups import TransducersByValue
from surveys.models import InstrumentType, IntervalReview, TransducerData
from surveys.models.calibration import FeedSubject
from surveys.models.instrument import Kind
from surveys.services.fleet.out_of_tolerance_reviews import DECISIONS


class TransducerDataIn(TransducersByValue):
    """New data of a pair, with the reason; later set-ups use it.

    With `corrects` it says that a version was always wrong: surveys made with it are recomputed.
    """

    reason = TextField(max_length=2000)
    corrects = VisibleRecord(TransducerData, required=False)


# Each figure of the API: its column and its kind of quantity.
FIGURES = {
    "min_frequency": ("min_frequency_hz", "frequency"),
    "max_frequency": ("max_frequency_hz", "frequency"),
    "timing_resolution": ("timing_resolution_s", "time_difference"),
    "minimum_signal": ("minimum_signal_db", "ratio_db"),
    "min_velocity": ("min_velocity_m_s", "speed"),
    "max_velocity": ("max_velocity_m_s", "speed"),
    "min_temperature": ("min_temperature_k", "temperature"),
    "max_temperature": ("max_temperature_k", "temperature"),
    "min_spacing": ("min_spacing_m", "length"),
    "max_spacing": ("max_spacing_m", "length"),
    "min_wall_thickness": ("min_wall_thickness_m", "length"),
    "max_wall_thickness": ("max_wall_thickness_m", "length"),
}


class InstrumentTypeIn(StrictSerializer):
    kind = serializers.ChoiceField(Kind.choices)
    name = TextField(max_length=100, help_text="Name of the type, as in type_name of the instruments.")
    hazardous_area_certified = serializers.BooleanField(required=False, allow_null=True)
    note = TextField(max_length=5000, required=False, allow_blank=True)

    def get_fields(self) -> dict[str, Any]:
        figures = {
            name: QuantityIn(kind, required=False, allow_null=True, help_text=_help(column))
            for name, (column, kind) in FIGURES.items()
        }
        return {**super().get_fields(), **figures}


class InstrumentTypeChangeIn(InstrumentTypeIn):
    kind = None


def type_changes(record: InstrumentType, requested: dict[str, Any]) -> dict[str, Any]:
    """The columns of a type that a checked request changes, with what was typed for them."""
    changes = type_columns(requested)
    if set(requested) & set(FIGURES):
        kept = {name: text for name, text in record.as_entered.items() if name not in requested}
        changes["as_entered"] = kept | texts(requested)
    return changes


def type_columns(requested: dict[str, Any]) -> dict[str, Any]:
    return {
        FIGURES[name][0] if name in FIGURES else name: si_of(value) if name in FIGURES else value
        for name, value in requested.items()
    }


def _help(column: str) -> str:
    field: Any = InstrumentType._meta.get_field(column)
    return str(field.help_text)


class IntervalDecisionIn(StrictSerializer):
    decision = serializers.ChoiceField(IntervalReview.Decision.choices)
    reason = TextField(max_length=2000)


class CalendarFeedIn(StrictSerializer):
    label = TextField(
        max_length=100, required=False, allow_blank=True,
        help_text="Name of the feed, such as the place of its use; required without a subject.",
    )  # fmt: skip
    subject = serializers.ChoiceField(
        FeedSubject.choices,
        required=False,
        help_text="Subject of the feed; jobs: the jobs of the user. Default: due-dates.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not attrs.get("label") and "subject" not in attrs:
            raise rejection("required/feed-label", field="label")
        return attrs


DECISION_CHOICES = [(state.value, state.label) for state in DECISIONS]
