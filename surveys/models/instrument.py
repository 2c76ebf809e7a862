"""Instruments, their state and location, and the data of transducer pairs."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from compute.base.messages import Message, message, record
from compute.measuring.beam import Transducers
from compute.measuring.entries import TransducerEntry
from surveys.core.messages import model_error_of
from surveys.models.base import Record, as_entered_field
from surveys.models.reasons import ReasonField


class Kind(models.TextChoices):
    METER = "meter", _("meter")
    TRANSDUCER_PAIR = "transducer-pair", _("transducer pair")
    THICKNESS_GAUGE = "thickness-gauge", _("thickness gauge")
    THERMOMETER = "thermometer", _("thermometer")


class State(models.TextChoices):
    IN_SERVICE = "in-service", _("in service")
    QUARANTINED = "quarantined", _("quarantined")
    AT_LABORATORY = "at-laboratory", _("at laboratory")
    RETIRED = "retired", _("retired")


class Instrument(Record):
    """Meter, transducer pair, thickness gauge or thermometer of the fleet.

    `state`, `location` and `holder` repeat the latest `InstrumentState` for lists and filters; the service that writes a state
    writes both.
    """

    kind = models.CharField(_("kind"), max_length=20, choices=Kind)
    type_name = models.CharField(_("type"), max_length=100, help_text=_("Name of the type of instrument."))
    serial = models.CharField(_("serial number"), max_length=60)
    asset_number = models.CharField(_("asset number"), max_length=60, blank=True)
    state = models.CharField(_("state"), max_length=16, choices=State, default=State.IN_SERVICE)
    location = models.CharField(
        _("location"), max_length=200, blank=True, help_text=_("Storage location or current address.")
    )
    holder = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="instruments_held",
        verbose_name=_("holder"),
    )
    belongs_to = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="accessories",
        help_text=_("Instrument to which this accessory belongs."),
        verbose_name=_("belongs to"),
    )
    minimum_signal_db = models.FloatField(
        _("minimum signal (dB)"), null=True, blank=True, help_text=_("Meter: minimum signal-to-noise ratio.")
    )
    timing_resolution_s = models.FloatField(
        _("timing resolution (s)"),
        null=True,
        blank=True,
        help_text=_("Meter: resolution of the time difference."),
    )
    standard_uncertainty_m = models.FloatField(
        _("standard uncertainty (m)"),
        null=True,
        blank=True,
        help_text=_("Thickness gauge: uncertainty of one reading."),
    )
    note = models.TextField(_("note"), blank=True)
    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("instrument")
        verbose_name_plural = _("instruments")
        ordering = ["kind", "serial", "id"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "serial"], name="instrument_serial_once_in_a_kind"),
            models.CheckConstraint(
                name="instrument_not_its_own_accessory",
                condition=Q(belongs_to__isnull=True) | ~Q(belongs_to=F("id")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.serial}"

    def clean(self) -> None:
        """Check that an accessory belongs to one instrument that is not an accessory itself."""
        if self.belongs_to is None:
            return
        why: Message | None = None
        if self.belongs_to_id == self.pk:
            why = message("belongs-to-invalid/itself")
        elif self.belongs_to.belongs_to_id is not None:
            of = record("instrument", self.belongs_to_id, str(self.belongs_to))
            why = message("belongs-to-invalid/accessory", instrument=of)
        elif Instrument.objects.filter(belongs_to=self.pk).exists():
            why = message("belongs-to-invalid/has-accessories")
        if why:
            raise ValidationError({"belongs_to": model_error_of(why)})


class InstrumentState(Record):
    """Change of an instrument's state, location or holder; never changed, the latest one applies."""

    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="status_changes", verbose_name=_("instrument")
    )
    before = models.CharField(
        _("before"), max_length=16, choices=State, blank=True, help_text=_("Empty for a new instrument.")
    )
    state = models.CharField(_("state"), max_length=16, choices=State)
    reason = ReasonField(_("reason"))
    location = models.CharField(_("location"), max_length=200, blank=True)
    holder = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("holder"),
    )
    recorded_at = models.DateTimeField(_("recorded at"))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )

    class Meta:
        verbose_name = _("instrument state")
        verbose_name_plural = _("instrument states")
        ordering = ["-recorded_at", "-id"]
        constraints = [models.CheckConstraint(name="instrument_state_has_reason", condition=~Q(reason=""))]


class TransducerData(Record):
    """One immutable version of the data of a transducer pair; set-ups use the latest version.

    A version that `corrects` another states that the other was always wrong: results based on it are recalculated.
    """

    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="transducer_data", verbose_name=_("instrument")
    )
    corrects = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="corrected_by", verbose_name=_("corrects")
    )
    frequency_hz = models.FloatField(_("frequency (Hz)"))
    wedge_sound_speed_m_s = models.FloatField(_("wedge sound speed (m/s)"))
    wedge_angle_rad = models.FloatField(_("wedge angle (rad)"))
    face_offset_m = models.FloatField(_("face offset (m)"), default=0)
    wedge_delay_s = models.FloatField(_("wedge delay (s)"), default=0)
    wedge_speed_per_kelvin_m_s_k = models.FloatField(
        _("wedge speed per kelvin (m/s) (K)"), null=True, blank=True
    )
    wedge_reference_temperature_k = models.FloatField(
        _("wedge reference temperature (K)"), null=True, blank=True
    )
    min_temperature_k = models.FloatField(_("minimum temperature (K)"), null=True, blank=True)
    max_temperature_k = models.FloatField(_("maximum temperature (K)"), null=True, blank=True)
    reason = ReasonField(_("reason"), blank=True, default=str)
    recorded_at = models.DateTimeField(_("recorded at"))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )
    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("transducer data")
        ordering = ["-recorded_at", "-id"]
        verbose_name_plural = _("transducer data")
        constraints = [
            models.CheckConstraint(
                name="transducer_data_positive",
                condition=Q(frequency_hz__gt=0, wedge_sound_speed_m_s__gt=0, wedge_angle_rad__gt=0),
            ),
            models.CheckConstraint(
                name="transducer_data_temperatures_in_order",
                condition=Q(min_temperature_k__isnull=True)
                | Q(max_temperature_k__isnull=True)
                | Q(min_temperature_k__lt=F("max_temperature_k")),
            ),
        ]

    def entry(self) -> TransducerEntry:
        """Return the pair as input of the physics."""
        pair = Transducers(
            frequency=self.frequency_hz,
            wedge_sound_speed=self.wedge_sound_speed_m_s,
            wedge_angle=self.wedge_angle_rad,
            face_offset=self.face_offset_m,
            wedge_delay=self.wedge_delay_s,
        )
        return TransducerEntry(
            pair,
            self.min_temperature_k,
            self.max_temperature_k,
            self.wedge_speed_per_kelvin_m_s_k,
            self.wedge_reference_temperature_k,
        )

    def set_entry(self, entry: TransducerEntry) -> None:
        """Fill the columns; the inverse of `entry`."""
        pair = entry.transducers
        self.frequency_hz = pair.frequency
        self.wedge_sound_speed_m_s = float(pair.wedge_sound_speed)
        self.wedge_angle_rad = float(pair.wedge_angle)
        self.face_offset_m = float(pair.face_offset)
        self.wedge_delay_s = float(pair.wedge_delay)
        self.wedge_speed_per_kelvin_m_s_k = entry.wedge_speed_per_kelvin
        self.wedge_reference_temperature_k = entry.wedge_reference_temperature
        self.min_temperature_k = entry.min_temperature
        self.max_temperature_k = entry.max_temperature
