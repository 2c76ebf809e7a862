"""Schemas of quantities in requests, with examples by kind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

KIND_EXAMPLES: Mapping[str, tuple[str, ...]] = {
    "length": ("219.1 mm", "8 5/8 in"),
    "roughness": ("0.05 mm", "2 mil"),
    "speed": ("1.5 m/s", "5 ft/s"),
    "volume_flow": ("137.6 m3/h", "600 US gal/min"),
    "temperature": ("58 degC", "136 degF"),
    "temperature_difference": ("0.5 K", "0.9 degF"),
    "transit_time": ("314 us",),
    "time_difference": ("150 ns",),
    "duration": ("60 s",),
    "pressure": ("600 kPa", "87 psi"),
    "density": ("984 kg/m3", "61.4 lb/ft3"),
    "dynamic_viscosity": ("0.48 mPa.s", "0.48 cP"),
    "frequency": ("1 MHz",),
    "angle": ("42 deg",),
    "time_per_velocity": ("100 ns/(m/s)",),
    "salinity": ("35 g/kg",),
    "thermal_expansion": ("0.000012 1/K",),
    "speed_per_temperature": ("-2.5 m/s/K",),
    "ratio_db": ("20 dB",),
}
"""Kind of quantity to texts that a request can send."""


def quantity_schema(kind: str) -> dict[str, Any]:
    """Return the schema of a quantity of a request: text, or a value with its unit."""
    examples = KIND_EXAMPLES[kind]
    value, _, unit = examples[0].partition(" ")
    return {
        "oneOf": [
            {"type": "string", "maxLength": 64, "examples": list(examples)},
            {
                "type": "object",
                "properties": {
                    "value": {
                        "type": "number",
                        "description": "Number in the unit.",
                        "examples": [float(value)],
                    },
                    "unit": {"type": "string", "description": "Unit of the value.", "examples": [unit]},
                },
                "required": ["value", "unit"],
            },
        ]
    }


def series_schema(kind: str, max_values: int) -> dict[str, Any]:
    """Return the schema of one quantity of a request, or of many that share a unit."""
    value, _, unit = KIND_EXAMPLES[kind][0].partition(" ")
    numbers = {"type": "array", "items": {"type": "number"}, "maxItems": max_values}
    many = {
        "type": "object",
        "properties": {
            "values": numbers | {"description": "Numbers in the unit.", "examples": [[float(value)]]},
            "unit": {"type": "string", "description": "Unit of the values.", "examples": [unit]},
        },
        "required": ["values", "unit"],
    }
    return {"oneOf": [*quantity_schema(kind)["oneOf"], many]}
