"""Custom materials and media of the office, each with its versions; pipe data names the version it uses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from django.conf import settings
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from compute.base.sources import Source
from compute.library.custom_medium import MediumTable
from compute.library.materials import Solid
from compute.library.media import LibraryMedium
from compute.measuring.entries import MaterialEntry, MediumEntry
from surveys.models.base import Record, as_entered_field
from surveys.models.reasons import ReasonField, SystemReason

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager

SLUG = r"[a-z0-9]+(-[a-z0-9]+)*"


def _name_field() -> models.CharField[Any, Any]:
    return models.CharField(
        max_length=60,
        unique=True,
        validators=[
            RegexValidator(
                rf"^{SLUG}\Z",
                _("This is not a valid name; enter small letters, digits and single hyphens, such as pvc-c."),
            )
        ],
    )


class CustomMaterial(Record):
    """Material that the office has added. Its versions hold its properties."""

    name = _name_field()
    title = models.CharField(_("title"), max_length=200)
    use = models.CharField(_("use"), max_length=200, blank=True)

    if TYPE_CHECKING:
        versions: RelatedManager[CustomMaterialData]

    class Meta:
        verbose_name = _("custom material")
        verbose_name_plural = _("custom materials")
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class CustomMedium(Record):
    """Medium that the office has added. Its versions hold its properties."""

    name = _name_field()
    title = models.CharField(_("title"), max_length=200)
    use = models.CharField(_("use"), max_length=200, blank=True)

    if TYPE_CHECKING:
        versions: RelatedManager[CustomMediumData]

    class Meta:
        verbose_name = _("custom medium")
        ordering = ["name"]
        verbose_name_plural = _("custom media")

    def __str__(self) -> str:
        return self.name


class Version(Record):
    """Common columns of all versions: source, author, time and reason."""

    source = models.TextField()
    note = models.TextField(blank=True)
    reason = ReasonField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    as_entered = as_entered_field()

    class Meta:
        abstract = True
        ordering = ["-recorded_at", "-id"]

    def _version_of(self, record: Record) -> str:
        """Return the name of a version: its record, its time and the reason that a person gave."""
        name = f"{record} of {self.recorded_at:%Y-%m-%d %H:%M:%S} UTC"
        return name if isinstance(self.reason, SystemReason) else f"{name} ({self.reason})"


class CustomMaterialData(Version):
    """One immutable version of a material's properties. The uncertainty is standard and relative."""

    material = models.ForeignKey(
        CustomMaterial, models.PROTECT, related_name="versions", verbose_name=_("material")
    )
    longitudinal_sound_speed_m_s = models.FloatField(_("longitudinal sound speed (m/s)"))
    shear_sound_speed_m_s = models.FloatField(_("shear sound speed (m/s)"), null=True, blank=True)
    sound_speed_uncertainty = models.FloatField(_("sound speed uncertainty"), null=True, blank=True)
    density_kg_m3 = models.FloatField(_("density (kg/m³)"), null=True, blank=True)
    roughness_m = models.FloatField(_("roughness (m)"), null=True, blank=True)
    thermal_expansion_1_k = models.FloatField(_("thermal expansion 1 (K)"), null=True, blank=True)

    class Meta(Version.Meta):
        verbose_name = _("custom material data")
        verbose_name_plural = _("custom material data")
        constraints = [
            models.CheckConstraint(
                name="custom_material_data_sound_speed_positive",
                condition=Q(longitudinal_sound_speed_m_s__gt=0),
            )
        ]

    def __str__(self) -> str:
        return self._version_of(self.material)

    def entry(self) -> CustomMaterialEntry:
        """Return the material as input of the physics."""
        return CustomMaterialEntry(
            longitudinal_sound_speed=self.longitudinal_sound_speed_m_s,
            shear_sound_speed=self.shear_sound_speed_m_s,
            roughness=self.roughness_m,
            thermal_expansion=self.thermal_expansion_1_k,
            version=self,
        )

    def solid(self) -> Solid:
        """Return the material in the form of a library material."""
        speed, shear = self.longitudinal_sound_speed_m_s, self.shear_sound_speed_m_s
        source = Source(self.source, "published")
        return Solid(
            name=self.material.name,
            title=self.material.title,
            use=self.material.use,
            longitudinal_sound_speed=speed,
            longitudinal_range=(speed, speed),
            shear_sound_speed=shear,
            shear_range=None if shear is None else (shear, shear),
            density=self.density_kg_m3,
            roughness=self.roughness_m,
            roughness_range=None,
            thermal_expansion=self.thermal_expansion_1_k,
            source_sound=source,
            source_roughness=None if self.roughness_m is None else source,
            note=self.note,
        )


class CustomMediumData(Version):
    """One immutable version of a medium's table. The uncertainties are standard and relative."""

    medium = models.ForeignKey(
        CustomMedium, models.PROTECT, related_name="versions", verbose_name=_("medium")
    )
    pressure_pa = models.FloatField(_("pressure (Pa)"))
    table = models.JSONField(
        _("table"),
        help_text=_(
            "Columns of SI numbers by rising temperature: temperature_k, sound_speed_m_s, density_kg_m3, dynamic_viscosity_pa_s."
        ),
    )
    sound_speed_uncertainty = models.FloatField(_("sound speed uncertainty"))
    density_uncertainty = models.FloatField(_("density uncertainty"))
    viscosity_uncertainty = models.FloatField(_("viscosity uncertainty"))

    class Meta(Version.Meta):
        verbose_name = _("custom medium data")
        verbose_name_plural = _("custom medium data")
        constraints = [
            models.CheckConstraint(
                name="custom_medium_data_uncertainties_not_negative",
                condition=Q(
                    sound_speed_uncertainty__gte=0, density_uncertainty__gte=0, viscosity_uncertainty__gte=0
                ),
            )
        ]

    def __str__(self) -> str:
        return self._version_of(self.medium)

    def medium_table(self) -> MediumTable:
        """Return the table as input of the physics."""
        return MediumTable(
            name=self.medium.name,
            pressure=self.pressure_pa,
            temperature=np.array(self.table["temperature_k"], dtype=float),
            sound_speed=np.array(self.table["sound_speed_m_s"], dtype=float),
            density=np.array(self.table["density_kg_m3"], dtype=float),
            dynamic_viscosity=np.array(self.table["dynamic_viscosity_pa_s"], dtype=float),
            sound_speed_uncertainty=self.sound_speed_uncertainty,
            density_uncertainty=self.density_uncertainty,
            viscosity_uncertainty=self.viscosity_uncertainty,
            source=Source(self.source, "published"),
        )

    def library_medium(self) -> LibraryMedium:
        """Return the medium in the form of a library medium."""
        temperatures = self.table["temperature_k"]
        return LibraryMedium(
            name=self.medium.name,
            title=self.medium.title,
            needs=("temperature",),
            takes=(),
            temperature_range=(temperatures[0], temperatures[-1]),
            pressure_range=(self.pressure_pa, self.pressure_pa),
            composition_range=None,
            sound_speed_uncertainty=self.sound_speed_uncertainty,
            density_uncertainty=self.density_uncertainty,
            viscosity_uncertainty=self.viscosity_uncertainty,
            source=Source(self.source, "published"),
            note=self.note,
        )


@dataclass(frozen=True, slots=True)
class CustomMaterialEntry(MaterialEntry):
    """Material with the properties of a version of a custom material."""

    version: CustomMaterialData | None = None


@dataclass(frozen=True, slots=True)
class CustomMediumEntry(MediumEntry):
    """Medium with the table of a version of a custom medium."""

    version: CustomMediumData | None = None

    @property
    def table(self) -> MediumTable | None:
        """Return its properties by temperature."""
        return self.version.medium_table() if self.version else None
