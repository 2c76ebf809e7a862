"""Pipes, media and transducers in requests: the same words in computations and in records."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from compute.base.messages import message
from compute.measuring.beam import Transducers
from compute.measuring.entries import LiningEntry, MaterialEntry, MediumEntry, PipeEntry, TransducerEntry
from surveys.calibration.capabilities import with_rail
from surveys.inputs import limits
from surveys.inputs.fields import (
    NumberField,
    QuantityIn,
    StrictSerializer,
    TextField,
    VisibleRecord,
    checked,
    si_of,
)
from surveys.inputs.quantity_schema import quantity_schema
from surveys.inputs.rejections import error_detail, rejection
from surveys.models import CustomMaterialData, Instrument, PipeData, TransducerData
from surveys.models.instrument import Kind
from surveys.models.library import CustomMediumEntry
from surveys.models.pipe import TemperatureSource
from surveys.pipes.selectors import custom_material_named, custom_medium_named, transducer_data_now

WAVE_MODES = ("longitudinal", "shear")
MAX_FURTHER_LININGS = 5
OVAL = ("max_outer_diameter", "min_outer_diameter")


class MaterialByValue(StrictSerializer):
    longitudinal_sound_speed = QuantityIn("speed", lowest=limits.MIN_SOUND_SPEED)
    shear_sound_speed = QuantityIn("speed", lowest=limits.MIN_SOUND_SPEED, required=False)


@extend_schema_field(
    {
        "oneOf": [
            {"type": "string", "maxLength": 60, "examples": ["carbon-steel"]},
            {
                "type": "object",
                "properties": {
                    "longitudinal_sound_speed": quantity_schema("speed"),
                    "shear_sound_speed": quantity_schema("speed"),
                },
                "required": ["longitudinal_sound_speed"],
            },
        ]
    }
)
class MaterialField(serializers.Field):
    """A name of the library or of the office's own, or sound speeds."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, str):
            if not 0 < len(data.strip()) <= 60:
                raise rejection("unknown-name/material-name")
            name = data.strip().lower()
            return {"name": name, "version": custom_material_named(name, self.context["request"].user)}
        return checked(MaterialByValue, data, self.context)

    def to_representation(self, value: Any) -> Any:
        return value


class LiningIn(StrictSerializer):
    material = MaterialField()
    thickness = QuantityIn("length", lowest=limits.MIN_LENGTH)


class PipeIn(StrictSerializer):
    """A pipe as it is, not as it is called: actual outer diameter, wall, material."""

    outer_diameter = QuantityIn("length", lowest=limits.MIN_LENGTH)
    wall_thickness = QuantityIn("length", lowest=limits.MIN_LENGTH)
    material = MaterialField()
    lining = LiningIn(required=False, allow_null=True)
    roughness = QuantityIn("roughness", required=False, allow_null=True)
    wave_mode = serializers.ChoiceField(WAVE_MODES, required=False, allow_null=True)
    further_linings = serializers.ListField(
        child=LiningIn(),
        required=False,
        max_length=MAX_FURTHER_LININGS,
        help_text="Linings inside the first lining, from the outside in.",
    )
    dimensions_temperature = QuantityIn(
        "temperature",
        required=False,
        allow_null=True,
        help_text="Temperature of the pipe at the measurement of its dimensions.",
    )
    max_outer_diameter = QuantityIn(
        "length", required=False, allow_null=True, help_text="Largest outer diameter of an oval pipe."
    )
    min_outer_diameter = QuantityIn(
        "length", required=False, allow_null=True, help_text="Smallest outer diameter of an oval pipe."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        oval = [name for name in OVAL if name in attrs]
        if len(oval) == 1 or len({attrs[name] is None for name in oval}) > 1:
            raise rejection("required/out-of-round", field="max_outer_diameter")
        return attrs


class MediumIn(StrictSerializer):
    """A medium of the library or a custom medium by name and temperature, or a medium by its properties."""

    name = TextField(max_length=60, required=False)
    temperature = QuantityIn("temperature", required=False)
    temperature_source = serializers.ChoiceField(
        TemperatureSource.choices,
        required=False,
        help_text="Whether the temperature was measured or estimated.",
    )
    pressure = QuantityIn(
        "pressure", required=False, allow_null=True, help_text="Absolute pressure of the medium."
    )
    salinity = QuantityIn("salinity", required=False)
    mass_fraction = NumberField(required=False, min_value=0, max_value=1)
    api_gravity = NumberField(required=False, min_value=-10, max_value=100)
    sound_speed = QuantityIn("speed", lowest=limits.MIN_SOUND_SPEED, required=False)
    density = QuantityIn("density", lowest=limits.MIN_DENSITY, required=False)
    dynamic_viscosity = QuantityIn("dynamic_viscosity", lowest=limits.MIN_VISCOSITY, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        by_value = {"sound_speed", "density", "dynamic_viscosity"} & attrs.keys()
        if attrs.get("name") and by_value:
            detail = error_detail(message("both-stated/medium"))
            raise ValidationError(dict.fromkeys(sorted(by_value), detail))
        name = attrs.get("name", "").strip().lower()
        if name:
            attrs["version"] = custom_medium_named(name, self.context["request"].user)
        return attrs


class TransducersByValue(StrictSerializer):
    frequency = QuantityIn("frequency", lowest=limits.MIN_FREQUENCY)
    wedge_sound_speed = QuantityIn("speed", lowest=limits.MIN_SOUND_SPEED)
    wedge_angle = QuantityIn("angle", lowest=limits.MIN_ANGLE)
    face_offset = QuantityIn("length", required=False)
    wedge_delay = QuantityIn("transit_time", required=False)
    min_temperature = QuantityIn("temperature", required=False, allow_null=True)
    max_temperature = QuantityIn("temperature", required=False, allow_null=True)
    wedge_temperature_coefficient = QuantityIn(
        "speed_per_temperature",
        required=False,
        help_text="Change of the wedge's sound speed with temperature.",
    )
    wedge_reference_temperature = QuantityIn(
        "temperature", required=False, help_text="Reference temperature of wedge_sound_speed."
    )


class TransducersOfFleet(StrictSerializer):
    instrument = VisibleRecord(Instrument)


@extend_schema_field(
    {
        "oneOf": [
            {"$ref": "#/components/schemas/TransducersByValueRequest"},
            {
                "type": "object",
                "properties": {"instrument": {"type": "string", "format": "uuid"}},
                "required": ["instrument"],
            },
        ]
    }
)
class TransducersField(serializers.Field):
    """A transducer pair by its data, or one of the fleet by its id; becomes a TransducerEntry."""

    def to_internal_value(self, data: Any) -> TransducerEntry:
        if isinstance(data, Mapping) and "instrument" in data:
            return _entry_of(checked(TransducersOfFleet, data, self.context)["instrument"])
        return transducer_entry(checked(TransducersByValue, data, self.context))

    def to_representation(self, value: Any) -> Any:
        return value


def _entry_of(instrument: Instrument) -> TransducerEntry:
    data = transducer_data_now(instrument) if instrument.kind == Kind.TRANSDUCER_PAIR else None
    if data is None:
        raise rejection("wrong-instrument/no-transducer-data", field="instrument")
    return with_rail(data.entry(), instrument)


def pipe_entry(stated: Mapping[str, Any]) -> PipeEntry:
    """A validated PipeIn as the physics takes it."""
    return PipeEntry(**_pipe_parts(stated))


def changed_pipe_entry(base: PipeEntry, stated: Mapping[str, Any]) -> PipeEntry:
    """A pipe with the parts that are stated changed.

    A further lining stated by the sound speeds on record is the one on record, with what else is known of its material.
    """
    parts = _pipe_parts(stated)
    if "further_linings" in parts:
        known = {_figures(one.material): one.material for one in base.further_linings}
        parts["further_linings"] = tuple(
            replace(one, material=known.get(_figures(one.material), one.material))
            for one in parts["further_linings"]
        )
    return replace(base, **parts)


def _figures(material: MaterialEntry) -> tuple[str, float | None, float | None]:
    return material.name, material.longitudinal_sound_speed, material.shear_sound_speed


def _pipe_parts(stated: Mapping[str, Any]) -> dict[str, Any]:
    convert: dict[str, Callable[[Any], Any]] = {
        "outer_diameter": si_of,
        "wall_thickness": si_of,
        "material": _material,
        "lining": _lining,
        "roughness": si_of,
        "wave_mode": lambda mode: mode,
        "further_linings": lambda rows: tuple(
            LiningEntry(_material(r["material"]), r["thickness"].si) for r in rows
        ),
        "dimensions_temperature": si_of,
        "max_outer_diameter": si_of,
        "min_outer_diameter": si_of,
    }
    return {name: convert[name](value) for name, value in stated.items()}


def _lining(stated: Mapping[str, Any] | None) -> LiningEntry | None:
    return LiningEntry(_material(stated["material"]), stated["thickness"].si) if stated else None


def _material(stated: Mapping[str, Any]) -> MaterialEntry:
    version: CustomMaterialData | None = stated.get("version")
    if version is not None:
        return version.entry()
    return MaterialEntry(
        stated.get("name", ""),
        si_of(stated.get("longitudinal_sound_speed")),
        si_of(stated.get("shear_sound_speed")),
    )


def medium_entry(stated: Mapping[str, Any]) -> MediumEntry:
    """A validated MediumIn as the physics takes it."""
    quantities = ("temperature", "pressure", "salinity", "sound_speed", "density", "dynamic_viscosity")
    parts: dict[str, Any] = {
        "temperature_source": stated.get("temperature_source", ""),
        "mass_fraction": stated.get("mass_fraction"),
        "api_gravity": stated.get("api_gravity"),
        **{name: si_of(stated.get(name)) for name in quantities},
    }
    name = stated.get("name", "").strip().lower()
    if stated.get("version") is not None:
        return CustomMediumEntry(name=name, version=stated["version"], **parts)
    return MediumEntry(name=name, **parts)


def transducer_entry(stated: Mapping[str, Any]) -> TransducerEntry:
    """A validated TransducersByValue as the physics takes it."""
    offset, delay = stated.get("face_offset"), stated.get("wedge_delay")
    pair = Transducers(
        frequency=stated["frequency"].si,
        wedge_sound_speed=stated["wedge_sound_speed"].si,
        wedge_angle=stated["wedge_angle"].si,
        face_offset=offset.si if offset else 0.0,
        wedge_delay=delay.si if delay else 0.0,
    )
    return TransducerEntry(
        pair,
        si_of(stated.get("min_temperature")),
        si_of(stated.get("max_temperature")),
        si_of(stated.get("wedge_temperature_coefficient")),
        si_of(stated.get("wedge_reference_temperature")),
    )


def pipe_data_document(data: PipeData) -> dict[str, Any]:
    """Pipe data as stored, in the words of requests: SI numbers with their kinds."""
    return {"pipe": _pipe_document(data), "medium": _medium_document(data)}


def _pipe_document(data: PipeData) -> dict[str, Any]:
    lining = None
    if data.lining_thickness_m:
        lining = {
            "material": _material_document(
                data.lining_material,
                data.lining_longitudinal_sound_speed_m_s,
                data.lining_shear_sound_speed_m_s,
            ),
            "thickness": _quantity(data.lining_thickness_m, "length"),
        }
    return {
        "outer_diameter": _quantity(data.outer_diameter_m, "length"),
        "wall_thickness": _quantity(data.wall_thickness_m, "length"),
        "material": _material_document(
            data.material, data.material_longitudinal_sound_speed_m_s, data.material_shear_sound_speed_m_s
        ),
        "lining": lining,
        "roughness": _quantity(data.roughness_m, "roughness"),
        "wave_mode": data.wave_mode or None,
        "further_linings": [
            {
                "material": _material_document(
                    one["material"]["name"],
                    one["material"]["longitudinal_sound_speed"],
                    one["material"]["shear_sound_speed"],
                ),
                "thickness": _quantity(one["thickness"], "length"),
            }
            for one in data.further_linings
        ],
        "dimensions_temperature": _quantity(data.dimensions_temperature_k, "temperature"),
        "max_outer_diameter": _quantity(data.max_outer_diameter_m, "length"),
        "min_outer_diameter": _quantity(data.min_outer_diameter_m, "length"),
        "bore": _quantity(data.pipe_entry().bore, "length"),
    }


def _material_document(name: str, longitudinal: float | None, shear: float | None) -> Any:
    if name:
        return name
    return {
        "longitudinal_sound_speed": _quantity(longitudinal, "speed"),
        "shear_sound_speed": _quantity(shear, "speed"),
    }


def _medium_document(data: PipeData) -> dict[str, Any]:
    columns = (
        ("temperature", data.medium_temperature_k, "temperature"),
        ("pressure", data.medium_pressure_pa, "pressure"),
        ("salinity", data.medium_salinity_g_kg, "salinity"),
        ("sound_speed", data.medium_sound_speed_m_s, "speed"),
        ("density", data.medium_density_kg_m3, "density"),
        ("dynamic_viscosity", data.medium_dynamic_viscosity_pa_s, "dynamic_viscosity"),
    )
    numbers = {"mass_fraction": data.medium_mass_fraction, "api_gravity": data.medium_api_gravity}
    stated = {
        "name": data.medium or None,
        "temperature_source": data.medium_temperature_source or None,
        **{name: _quantity(value, kind) for name, value, kind in columns},
        **numbers,
    }
    return {name: value for name, value in stated.items() if value is not None}


def transducer_document(data: TransducerData) -> dict[str, Any]:
    """Transducer data as stored: SI numbers with their kinds."""
    return {
        "frequency": _quantity(data.frequency_hz, "frequency"),
        "wedge_sound_speed": _quantity(data.wedge_sound_speed_m_s, "speed"),
        "wedge_angle": _quantity(data.wedge_angle_rad, "angle"),
        "face_offset": _quantity(data.face_offset_m, "length"),
        "wedge_delay": _quantity(data.wedge_delay_s, "transit_time"),
        "min_temperature": _quantity(data.min_temperature_k, "temperature"),
        "max_temperature": _quantity(data.max_temperature_k, "temperature"),
        "wedge_temperature_coefficient": _quantity(
            data.wedge_speed_per_kelvin_m_s_k, "speed_per_temperature"
        ),
        "wedge_reference_temperature": _quantity(data.wedge_reference_temperature_k, "temperature"),
    }


def _quantity(value: float | None, kind: str) -> Any:
    return None if value is None else {"si": value, "kind": kind}
