"""Types of instruments and what each can do."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from surveys.models.base import Record, as_entered_field
from surveys.models.instrument import Kind


def _figure(help_text: str) -> models.FloatField[float | None, float | None]:
    return models.FloatField(null=True, blank=True, help_text=help_text)


def _in_order(lowest: str, highest: str) -> Q:
    return (
        Q(**{f"{lowest}__isnull": True})
        | Q(**{f"{highest}__isnull": True})
        | Q(**{f"{lowest}__lte": F(highest)})
    )


class InstrumentType(Record):
    """What every instrument of one kind and type name can do; null where it is not known.

    An instrument names its type by kind and name, so that a fleet may be entered before its types are.
    """

    kind = models.CharField(max_length=20, choices=Kind)
    name = models.CharField(max_length=100, help_text="As the instruments' type name says it.")
    min_frequency_hz = _figure("Meter: the lowest it drives.")
    max_frequency_hz = _figure("Meter: the highest it drives.")
    timing_resolution_s = _figure("Meter: the smallest time difference it tells.")
    minimum_signal_db = _figure("Meter: weakest signal-to-noise it can use.")
    min_velocity_m_s = _figure("Meter: the lowest it measures.")
    max_velocity_m_s = _figure("Meter: the highest it measures.")
    min_temperature_k = _figure("Transducer pair or thermometer: the coldest it may be used at.")
    max_temperature_k = _figure("Transducer pair or thermometer: the hottest it may be used at.")
    min_spacing_m = _figure("Transducer pair: the shortest its rail allows.")
    max_spacing_m = _figure("Transducer pair: the longest its rail allows.")
    hazardous_area_certified = models.BooleanField(
        null=True,
        blank=True,
        help_text="Transducer pair: made for hazardous areas; its certificate and the site's permit decide.",
    )
    min_wall_thickness_m = _figure("Thickness gauge: the thinnest it measures.")
    max_wall_thickness_m = _figure("Thickness gauge: the thickest it measures.")
    note = models.TextField(blank=True)
    as_entered = as_entered_field()

    class Meta:
        ordering = ["kind", "name", "id"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "name"], name="instrument_type_name_once_in_a_kind"),
            models.CheckConstraint(
                name="instrument_type_frequencies_in_order",
                condition=_in_order("min_frequency_hz", "max_frequency_hz"),
            ),
            models.CheckConstraint(
                name="instrument_type_velocities_in_order",
                condition=_in_order("min_velocity_m_s", "max_velocity_m_s"),
            ),
            models.CheckConstraint(
                name="instrument_type_temperatures_in_order",
                condition=_in_order("min_temperature_k", "max_temperature_k"),
            ),
            models.CheckConstraint(
                name="instrument_type_spacings_in_order",
                condition=_in_order("min_spacing_m", "max_spacing_m"),
            ),
            models.CheckConstraint(
                name="instrument_type_walls_in_order",
                condition=_in_order("min_wall_thickness_m", "max_wall_thickness_m"),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.name}"
