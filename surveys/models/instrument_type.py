"""Types of instruments and their capabilities."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record, as_entered_field
from surveys.models.instrument import Kind


def _figure(verbose_name: Any, help_text: Any) -> models.FloatField[float | None, float | None]:
    return models.FloatField(verbose_name, null=True, blank=True, help_text=help_text)


def _in_order(lowest: str, highest: str) -> Q:
    return (
        Q(**{f"{lowest}__isnull": True})
        | Q(**{f"{highest}__isnull": True})
        | Q(**{f"{lowest}__lte": F(highest)})
    )


class InstrumentType(Record):
    """Capabilities of all instruments of one kind and type name; null if unknown.

    An instrument names its type by kind and name, so that a fleet can be entered before its types.
    """

    kind = models.CharField(_("kind"), max_length=20, choices=Kind)
    name = models.CharField(
        _("name"), max_length=100, help_text=_("Type name as entered for the instruments.")
    )
    min_frequency_hz = _figure(_("minimum frequency (Hz)"), _("Meter: minimum transducer frequency."))
    max_frequency_hz = _figure(_("maximum frequency (Hz)"), _("Meter: maximum transducer frequency."))
    timing_resolution_s = _figure(_("timing resolution (s)"), _("Meter: resolution of the time difference."))
    minimum_signal_db = _figure(_("minimum signal (dB)"), _("Meter: minimum signal-to-noise ratio."))
    min_velocity_m_s = _figure(_("minimum velocity (m/s)"), _("Meter: minimum velocity."))
    max_velocity_m_s = _figure(_("maximum velocity (m/s)"), _("Meter: maximum velocity."))
    min_temperature_k = _figure(
        _("minimum temperature (K)"), _("Transducer pair or thermometer: minimum temperature.")
    )
    max_temperature_k = _figure(
        _("maximum temperature (K)"), _("Transducer pair or thermometer: maximum temperature.")
    )
    min_spacing_m = _figure(_("minimum spacing (m)"), _("Transducer pair: minimum spacing of the rail."))
    max_spacing_m = _figure(_("maximum spacing (m)"), _("Transducer pair: maximum spacing of the rail."))
    hazardous_area_certified = models.BooleanField(
        _("hazardous area certified"),
        null=True,
        blank=True,
        help_text=_(
            "Transducer pair: certified for hazardous areas. The certificate and the site permit take precedence."
        ),
    )
    min_wall_thickness_m = _figure(
        _("minimum wall thickness (m)"), _("Thickness gauge: minimum wall thickness.")
    )
    max_wall_thickness_m = _figure(
        _("maximum wall thickness (m)"), _("Thickness gauge: maximum wall thickness.")
    )
    note = models.TextField(_("note"), blank=True)
    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("instrument type")
        verbose_name_plural = _("instrument types")
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
