"""Pipes, the versions of their data, and wall measurements."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, cast

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from compute.measuring.beam import WaveMode
from compute.measuring.entries import LiningEntry, MaterialEntry, MediumEntry, PipeEntry
from compute.measuring.wall import Wall
from compute.statistics.degrees_of_freedom import pooled_freedom
from surveys.models.base import Record, as_entered_field
from surveys.models.library import (
    CustomMaterialData,
    CustomMaterialEntry,
    CustomMediumData,
    CustomMediumEntry,
)
from surveys.models.reasons import ReasonField
from surveys.models.site import Site

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager


class Pipe(Record):
    """Run of pipe at a site. Its pipe data holds its properties."""

    CLIENT_PATH = "site__client"
    SITE_PATH = "site"

    site = models.ForeignKey(Site, models.PROTECT, related_name="pipes", verbose_name=_("site"))
    name = models.CharField(_("name"), max_length=200)
    description = models.TextField(_("description"), blank=True)
    retired_at = models.DateTimeField(_("retired at"), null=True, blank=True)

    if TYPE_CHECKING:
        data: RelatedManager[PipeData]

    class Meta:
        verbose_name = _("pipe")
        verbose_name_plural = _("pipes")
        ordering = ["name", "id"]
        indexes = [models.Index(fields=["name", "id"], name="pipe_by_name")]
        constraints = [models.UniqueConstraint(fields=["site", "name"], name="pipe_name_once_at_a_site")]

    def __str__(self) -> str:
        return self.name


class Change(models.TextChoices):
    FIRST = "first", _("first entry")
    CORRECTION = "correction", _("correction of wrong data")
    MODIFICATION = "modification", _("modification of the pipe")


class TemperatureSource(models.TextChoices):
    MEASURED = "measured", _("measured")
    ESTIMATED = "estimated", _("estimated")


class PipeData(Record):
    """One dated, immutable version of a pipe's dimensions, material, lining, medium and conditions.

    `valid_from` is the first date of validity (none: since the pipe was installed), `recorded_at` the time of the entry. A
    correction names the version it `corrects`, and replaces it.
    """

    CLIENT_PATH = "pipe__site__client"
    SITE_PATH = "pipe__site"

    pipe = models.ForeignKey(Pipe, models.PROTECT, related_name="data", verbose_name=_("pipe"))
    change = models.CharField(_("change"), max_length=12, choices=Change)
    corrects = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="corrected_by", verbose_name=_("corrects")
    )
    valid_from = models.DateField(_("valid from"), null=True, blank=True)
    reason = ReasonField(_("reason"), blank=True, default=str)
    wall_measurement = models.ForeignKey(
        "WallMeasurement",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="pipe_data",
        verbose_name=_("wall measurement"),
    )
    recorded_at = models.DateTimeField(_("recorded at"))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )

    outer_diameter_m = models.FloatField(_("outer diameter (m)"))
    wall_thickness_m = models.FloatField(_("wall thickness (m)"))
    roughness_m = models.FloatField(_("roughness (m)"), null=True, blank=True)
    wave_mode = models.CharField(_("wave mode"), max_length=12, blank=True)
    material = models.CharField(_("material"), max_length=60, blank=True)
    material_longitudinal_sound_speed_m_s = models.FloatField(
        _("material longitudinal sound speed (m/s)"), null=True, blank=True
    )
    material_shear_sound_speed_m_s = models.FloatField(
        _("material shear sound speed (m/s)"), null=True, blank=True
    )
    lining_thickness_m = models.FloatField(_("lining thickness (m)"), default=0)
    lining_material = models.CharField(_("lining material"), max_length=60, blank=True)
    lining_longitudinal_sound_speed_m_s = models.FloatField(
        _("lining longitudinal sound speed (m/s)"), null=True, blank=True
    )
    lining_shear_sound_speed_m_s = models.FloatField(
        _("lining shear sound speed (m/s)"), null=True, blank=True
    )
    further_linings = models.JSONField(
        _("further linings"),
        default=list,
        blank=True,
        help_text=_("Linings inside the first one, from the outside in, in SI units."),
    )
    further_lining_thickness_m = models.FloatField(
        _("further lining thickness (m)"), default=0, help_text=_("Total thickness of the further linings.")
    )
    dimensions_temperature_k = models.FloatField(_("dimensions temperature (K)"), null=True, blank=True)
    max_outer_diameter_m = models.FloatField(_("largest outer diameter (m)"), null=True, blank=True)
    min_outer_diameter_m = models.FloatField(_("smallest outer diameter (m)"), null=True, blank=True)

    medium = models.CharField(_("medium"), max_length=60, blank=True)
    medium_temperature_k = models.FloatField(_("medium temperature (K)"), null=True, blank=True)
    medium_temperature_source = models.CharField(
        _("medium temperature source"), max_length=10, choices=TemperatureSource, blank=True
    )
    medium_pressure_pa = models.FloatField(_("medium pressure (Pa)"), null=True, blank=True)
    medium_salinity_g_kg = models.FloatField(_("medium salinity g kg"), null=True, blank=True)
    medium_mass_fraction = models.FloatField(_("medium mass fraction"), null=True, blank=True)
    medium_api_gravity = models.FloatField(_("medium api gravity"), null=True, blank=True)
    medium_sound_speed_m_s = models.FloatField(_("medium sound speed (m/s)"), null=True, blank=True)
    medium_density_kg_m3 = models.FloatField(_("medium density (kg/m³)"), null=True, blank=True)
    medium_dynamic_viscosity_pa_s = models.FloatField(
        _("medium dynamic viscosity (Pa·s)"), null=True, blank=True
    )

    # The exact version of a custom material or medium that a name above refers to.
    custom_material_data = models.ForeignKey(
        CustomMaterialData,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="pipe_data_as_material",
        verbose_name=_("custom material data"),
    )
    custom_lining_data = models.ForeignKey(
        CustomMaterialData,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="pipe_data_as_lining",
        verbose_name=_("own lining data"),
    )
    custom_medium_data = models.ForeignKey(
        CustomMediumData,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="pipe_data",
        verbose_name=_("custom medium data"),
    )

    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("pipe data")
        ordering = ["-recorded_at", "-id"]
        verbose_name_plural = _("pipe data")
        constraints = [
            models.CheckConstraint(
                name="pipe_data_outer_diameter_positive", condition=Q(outer_diameter_m__gt=0)
            ),
            models.CheckConstraint(name="pipe_data_wall_positive", condition=Q(wall_thickness_m__gt=0)),
            models.CheckConstraint(
                name="pipe_data_lining_not_negative",
                condition=Q(lining_thickness_m__gte=0, further_lining_thickness_m__gte=0),
            ),
            models.CheckConstraint(
                name="pipe_data_bore_left",
                condition=Q(
                    outer_diameter_m__gt=2 * F("wall_thickness_m")
                    + 2 * F("lining_thickness_m")
                    + 2 * F("further_lining_thickness_m")
                ),
            ),
            models.CheckConstraint(
                name="pipe_data_oval_in_order",
                condition=Q(max_outer_diameter_m__isnull=True, min_outer_diameter_m__isnull=True)
                | Q(
                    max_outer_diameter_m__isnull=False,
                    min_outer_diameter_m__isnull=False,
                    max_outer_diameter_m__gte=F("min_outer_diameter_m"),
                ),
            ),
            models.CheckConstraint(
                name="pipe_data_corrects_if_correction",
                condition=Q(change=Change.CORRECTION, corrects__isnull=False)
                | (~Q(change=Change.CORRECTION) & Q(corrects__isnull=True)),
            ),
            models.CheckConstraint(
                name="pipe_data_modification_dated",
                condition=~Q(change=Change.MODIFICATION) | Q(valid_from__isnull=False),
            ),
            models.CheckConstraint(
                name="pipe_data_change_has_reason", condition=Q(change=Change.FIRST) | ~Q(reason="")
            ),
            models.CheckConstraint(
                name="pipe_data_material_named_or_by_value",
                condition=~Q(material="")
                | Q(
                    material_longitudinal_sound_speed_m_s__isnull=False,
                    material_longitudinal_sound_speed_m_s__gt=0,
                ),
            ),
            models.CheckConstraint(
                name="pipe_data_medium_named_or_by_value",
                condition=~Q(medium="")
                | Q(medium_sound_speed_m_s__isnull=False, medium_sound_speed_m_s__gt=0),
            ),
            models.UniqueConstraint(
                name="pipe_data_first_once", fields=["pipe"], condition=Q(change=Change.FIRST)
            ),
            # Two users correct one version at once: the second corrects the correction instead.
            models.UniqueConstraint(name="pipe_data_corrected_once", fields=["corrects"]),
        ]

    def __str__(self) -> str:
        return f"{self.pipe} ({self.change}, {self.recorded_at:%Y-%m-%d})"

    def pipe_entry(self) -> PipeEntry:
        """Return the pipe as input of the physics."""
        lining = None
        if self.lining_thickness_m:
            lining = LiningEntry(self._lining_entry(), self.lining_thickness_m)
        return PipeEntry(
            outer_diameter=self.outer_diameter_m,
            wall_thickness=self.wall_thickness_m,
            material=self._material_entry(),
            lining=lining,
            roughness=self.roughness_m,
            wave_mode=cast(WaveMode, self.wave_mode) if self.wave_mode else None,
            further_linings=tuple(
                LiningEntry(MaterialEntry(**one["material"]), one["thickness"])
                for one in self.further_linings
            ),
            dimensions_temperature=self.dimensions_temperature_k,
            max_outer_diameter=self.max_outer_diameter_m,
            min_outer_diameter=self.min_outer_diameter_m,
        )

    def _material_entry(self) -> MaterialEntry:
        if self.custom_material_data:
            return self.custom_material_data.entry()
        return MaterialEntry(
            self.material, self.material_longitudinal_sound_speed_m_s, self.material_shear_sound_speed_m_s
        )

    def _lining_entry(self) -> MaterialEntry:
        if self.custom_lining_data:
            return self.custom_lining_data.entry()
        return MaterialEntry(
            self.lining_material,
            self.lining_longitudinal_sound_speed_m_s,
            self.lining_shear_sound_speed_m_s,
        )

    def medium_entry(self) -> MediumEntry:
        """Return the medium as input of the physics."""
        if self.custom_medium_data:
            return CustomMediumEntry(
                name=self.medium,
                temperature=self.medium_temperature_k,
                temperature_source=self.medium_temperature_source,
                pressure=self.medium_pressure_pa,
                version=self.custom_medium_data,
            )
        return MediumEntry(
            name=self.medium,
            temperature=self.medium_temperature_k,
            temperature_source=self.medium_temperature_source,
            pressure=self.medium_pressure_pa,
            salinity=self.medium_salinity_g_kg,
            mass_fraction=self.medium_mass_fraction,
            api_gravity=self.medium_api_gravity,
            sound_speed=self.medium_sound_speed_m_s,
            density=self.medium_density_kg_m3,
            dynamic_viscosity=self.medium_dynamic_viscosity_pa_s,
        )

    def set_pipe(self, entry: PipeEntry) -> None:
        """Fill the columns of the pipe; the inverse of `pipe_entry`."""
        self.outer_diameter_m = entry.outer_diameter
        self.wall_thickness_m = entry.wall_thickness
        self.roughness_m = entry.roughness
        self.wave_mode = entry.wave_mode or ""
        self.custom_material_data = _version_of(entry.material)
        material = _name_or_figures(entry.material)
        self.material = material.name
        self.material_longitudinal_sound_speed_m_s = material.longitudinal_sound_speed
        self.material_shear_sound_speed_m_s = material.shear_sound_speed
        self.lining_thickness_m = entry.lining.thickness if entry.lining else 0.0
        stated_lining = entry.lining.material if entry.lining else MaterialEntry()
        self.custom_lining_data = _version_of(stated_lining)
        lining = _name_or_figures(stated_lining)
        self.lining_material = lining.name
        self.lining_longitudinal_sound_speed_m_s = lining.longitudinal_sound_speed
        self.lining_shear_sound_speed_m_s = lining.shear_sound_speed

        self.further_linings = [
            {"material": _figures(one.material), "thickness": one.thickness} for one in entry.further_linings
        ]
        self.further_lining_thickness_m = sum(one.thickness for one in entry.further_linings)
        self.dimensions_temperature_k = entry.dimensions_temperature
        self.max_outer_diameter_m = entry.max_outer_diameter
        self.min_outer_diameter_m = entry.min_outer_diameter

    def set_medium(self, entry: MediumEntry) -> None:
        """Fill the columns of the medium; the inverse of `medium_entry`."""
        self.custom_medium_data = entry.version if isinstance(entry, CustomMediumEntry) else None
        self.medium = entry.name
        self.medium_temperature_k = entry.temperature
        self.medium_temperature_source = entry.temperature_source
        self.medium_pressure_pa = entry.pressure
        self.medium_salinity_g_kg = entry.salinity
        self.medium_mass_fraction = entry.mass_fraction
        self.medium_api_gravity = entry.api_gravity
        self.medium_sound_speed_m_s = entry.sound_speed
        self.medium_density_kg_m3 = entry.density
        self.medium_dynamic_viscosity_pa_s = entry.dynamic_viscosity


def _figures(entry: MaterialEntry) -> dict[str, Any]:
    """Return a material as stored, by its name in the library or by its properties."""
    names = ("name", "longitudinal_sound_speed", "shear_sound_speed", "roughness", "thermal_expansion")
    return {name: getattr(entry, name) for name in names}


def _version_of(entry: MaterialEntry) -> CustomMaterialData | None:
    return entry.version if isinstance(entry, CustomMaterialEntry) else None


def _name_or_figures(entry: MaterialEntry) -> MaterialEntry:
    """Return the columns of a material: for a custom material only the name, its version holds the properties."""
    version = _version_of(entry)
    return MaterialEntry(version.material.name) if version else entry


class WallMeasurement(Record):
    """Wall thickness readings around a pipe with a thickness gauge, and their result."""

    CLIENT_PATH = "pipe__site__client"
    SITE_PATH = "pipe__site"

    pipe = models.ForeignKey(Pipe, models.PROTECT, related_name="wall_measurements", verbose_name=_("pipe"))
    gauge = models.ForeignKey(
        "Instrument", models.PROTECT, related_name="wall_measurements", verbose_name=_("gauge")
    )
    taken_at = models.DateTimeField(_("taken at"))
    taken_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("taken by")
    )
    readings_m = models.JSONField(
        _("readings (m)"), help_text=_("Readings in metres, in their order around the pipe.")
    )
    mean_m = models.FloatField(_("mean (m)"))
    standard_deviation_m = models.FloatField(_("standard deviation (m)"))
    standard_uncertainty_m = models.FloatField(_("standard uncertainty (m)"))
    minimum_m = models.FloatField(_("minimum (m)"))
    maximum_m = models.FloatField(_("maximum (m)"))
    gauge_velocity_setting_m_s = models.FloatField(
        _("gauge velocity setting (m/s)"),
        null=True,
        blank=True,
        help_text=_("Velocity setting of the gauge, if it differs from that of the wall."),
    )
    correction_factor = models.FloatField(
        _("correction factor"), default=1, help_text=_("Factor applied to the readings.")
    )
    note = models.TextField(_("note"), blank=True)
    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("wall measurement")
        verbose_name_plural = _("wall measurements")
        ordering = ["-taken_at", "-id"]
        constraints = [
            models.CheckConstraint(name="wall_measurement_mean_positive", condition=Q(mean_m__gt=0))
        ]

    def wall(self) -> Wall:
        """Return the result of the wall measurement as input of the physics."""
        return Wall(
            mean=self.mean_m,
            standard_deviation=self.standard_deviation_m,
            standard_uncertainty=self.standard_uncertainty_m,
            minimum=self.minimum_m,
            maximum=self.maximum_m,
            correction_factor=self.correction_factor,
            degrees_of_freedom=pooled_freedom(
                self.standard_uncertainty_m,
                (self.standard_deviation_m / math.sqrt(len(self.readings_m)), len(self.readings_m) - 1),
            ),
        )
