"""Instruments, where they are and in what state, and the data of transducer pairs."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from compute.measuring.beam import Transducers
from compute.measuring.entries import TransducerEntry
from surveys.models.base import Record, as_entered_field


class Kind(models.TextChoices):
    METER = "meter", "meter"
    TRANSDUCER_PAIR = "transducer-pair", "transducer pair"
    THICKNESS_GAUGE = "thickness-gauge", "thickness gauge"
    THERMOMETER = "thermometer", "thermometer"


class State(models.TextChoices):
    IN_SERVICE = "in-service", "in service"
    QUARANTINED = "quarantined", "quarantined"
    AT_LABORATORY = "at-laboratory", "at laboratory"
    RETIRED = "retired", "retired"


class Instrument(Record):
    """A meter, a transducer pair, a thickness gauge or a thermometer of the fleet.

    `state`, `location` and `holder` repeat its latest `InstrumentState`, to list and filter by; the service that writes a state
    writes both.
    """

    kind = models.CharField(max_length=20, choices=Kind)
    type_name = models.CharField(max_length=100, help_text="What the fleet calls this type.")
    serial = models.CharField(max_length=60)
    asset_number = models.CharField(max_length=60, blank=True)
    state = models.CharField(max_length=16, choices=State, default=State.IN_SERVICE)
    location = models.CharField(max_length=200, blank=True, help_text="Where it is kept or was sent to.")
    holder = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="instruments_held"
    )
    belongs_to = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="accessories",
        help_text="The instrument it belongs with.",
    )
    minimum_signal_db = models.FloatField(
        null=True, blank=True, help_text="Meter: weakest signal-to-noise it can use."
    )
    timing_resolution_s = models.FloatField(
        null=True, blank=True, help_text="Meter: the smallest time difference it tells."
    )
    standard_uncertainty_m = models.FloatField(
        null=True, blank=True, help_text="Thickness gauge: of one reading."
    )
    note = models.TextField(blank=True)
    as_entered = as_entered_field()

    class Meta:
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
        """An accessory belongs to one instrument that is no accessory itself."""
        if self.belongs_to is None:
            return
        why = ""
        if self.belongs_to_id == self.pk:
            why = "An instrument is no accessory of itself."
        elif self.belongs_to.belongs_to_id is not None:
            why = f"{self.belongs_to} is an accessory itself; name the instrument that belongs to."
        elif Instrument.objects.filter(belongs_to=self.pk).exists():
            why = "It has accessories of its own; take them off first."
        if why:
            raise ValidationError({"belongs_to": ValidationError(why, code="belongs-to-invalid")})


class InstrumentState(Record):
    """One change of an instrument's state, whereabouts or holder; never changed, the latest holds."""

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="status_changes")
    before = models.CharField(
        max_length=16, choices=State, blank=True, help_text="Empty: it was new to the fleet."
    )
    state = models.CharField(max_length=16, choices=State)
    reason = models.TextField()
    location = models.CharField(max_length=200, blank=True)
    holder = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [models.CheckConstraint(name="instrument_state_has_reason", condition=~Q(reason=""))]


class TransducerData(Record):
    """One immutable version of what the physics needs of a transducer pair; set-ups are worked out by the latest.

    A version that `corrects` another says that it was always wrong: what rests on it is recomputed.
    """

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="transducer_data")
    corrects = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    frequency_hz = models.FloatField()
    wedge_sound_speed_m_s = models.FloatField()
    wedge_angle_rad = models.FloatField()
    face_offset_m = models.FloatField(default=0)
    wedge_delay_s = models.FloatField(default=0)
    wedge_speed_per_kelvin_m_s_k = models.FloatField(null=True, blank=True)
    wedge_reference_temperature_k = models.FloatField(null=True, blank=True)
    min_temperature_k = models.FloatField(null=True, blank=True)
    max_temperature_k = models.FloatField(null=True, blank=True)
    reason = models.TextField(blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    as_entered = as_entered_field()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        verbose_name_plural = "transducer data"
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
        """The pair as the physics takes it."""
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
