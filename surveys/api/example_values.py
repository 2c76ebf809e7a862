"""Examples of the OpenAPI document: of quantities by kind, of properties by name, and of request bodies."""

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

FORMAT = {
    "encoding": "utf-8",
    "delimiter": ";",
    "decimal_mark": ",",
    "header_line": 1,
    "time": {"at": "Time", "form": "iso"},
    "columns": [
        {"name": "transit_time", "at": "Transit time", "unit": "us"},
        {"name": "time_difference", "at": "Difference", "unit": "ns"},
    ],
}
PROPERTY_EXAMPLES: Mapping[str, Any] = {
    "SiteIn.hazards": "Hot surfaces in the boiler house.",
    "SiteChangeIn.hazards": "Hot surfaces in the boiler house.",
    "action": "0.3 mm",
    "address": "12 Harbour Road",
    "api_gravity": 32.0,
    "asset_number": "A-0412",
    "certificate": "C-2026-0117",
    "correlations": [["pipe.outer_diameter", "pipe.wall_thickness", 0.5]],
    "coverage_factor": 2.0,
    "due_on": "2027-10-06",
    "current_password": "correct horse battery staple",
    "days": 90,
    "earliest_start": "2030-10-06T06:00:00+02:00",
    "email": "technician@client.example",
    "end": "2026-10-06T10:30:00+02:00",
    "ended_at": "2026-10-06T11:30:00+02:00",
    "ends_at": "2030-10-06T16:00:00+02:00",
    "expected_back": "2030-10-07T09:00:00+02:00",
    "expected_hours": 4.0,
    "expires_on": "2030-01-31",
    "face_offset": "14 mm",
    "gauge_velocity_setting": "5900 m/s",
    "format": FORMAT,
    "guard_factor": 1.0,
    "hazards": ["work-at-height"],
    "hours": 2000.0,
    "inputs": {"pipe.wall_thickness": {"standard_uncertainty": "0.05 mm"}},
    "kind": "meter",
    "latest_end": "2030-10-06T18:00:00+02:00",
    "latitude": 55.676,
    "lining": {"material": "cement-mortar", "thickness": "3 mm"},
    "longitude": 12.568,
    "longitudinal_sound_speed": "5900 m/s",
    "mass_fraction": 0.3,
    "material": "carbon-steel",
    "max_days": 1826,
    "max_frequency": "2 MHz",
    "max_hours": 4000.0,
    "max_outer_diameter": "221 mm",
    "max_spacing": "300 mm",
    "max_temperature": "120 degC",
    "max_velocity": "12 m/s",
    "max_wall_thickness": "200 mm",
    "measured_sound_speed": "1546 m/s",
    "min_days": 90,
    "min_frequency": "0.5 MHz",
    "min_hours": 50.0,
    "min_outer_diameter": "217 mm",
    "min_spacing": "0 mm",
    "min_temperature": "-20 degC",
    "min_velocity": "0.01 m/s",
    "min_wall_thickness": "1 mm",
    "monte_carlo_trials": 10_000,
    "months": 12,
    "mounted_spacing": "159 mm",
    "name": "Northern Waterworks",
    "new_password": "a long sentence nobody guesses",
    "notice_threshold": 0.02,
    "one_time_code": "492039",
    "password": "correct horse battery staple",
    "path_angle": "90 deg",
    "priority": 2,
    "reason": "Wall thickness measured again.",
    "relative": 0.01,
    "relative_expanded_uncertainty": 0.02,
    "remind_days": [30, 60, 90],
    "required_qualifications": ["confined-space"],
    "role": "technician",
    "resolution": "0.1 ns",
    "roughness": "0.045 mm",
    "scope": "read",
    "serial": "CX-4711",
    "shear_sound_speed": "3230 m/s",
    "slug": "confined-space",
    "sound_speed": "1550 m/s",
    "sound_speed_uncertainty": 0.001,
    "start": "2026-10-06T09:40:00+02:00",
    "started_at": "2026-10-06T09:30:00+02:00",
    "starts_at": "2030-10-06T08:00:00+02:00",
    "starts_from": "2030-10-06T00:00:00+02:00",
    "starts_to": "2030-10-13T00:00:00+02:00",
    "target": 0.9,
    "taken_at": "2026-10-05T14:00:00+02:00",
    "thickness": "3 mm",
    "time_limit_seconds": 10,
    "time_zone": "Europe/Copenhagen",
    "title": "Survey of the boiler house",
    "traverses": 2,
    "type_name": "Portable",
    "username": "m.larsen",
    "volume_flow": "137.6 m3/h",
    "wall_thickness": "8.0 mm",
    "warning": "0.2 mm",
    "wedge_delay": "9.8 us",
    "wedge_reference_temperature": "20 degC",
    "wedge_sound_speed": "2720 m/s",
    "working_hours": {"0": ["08:00", "16:00"], "1": ["08:00", "16:00"]},
}
"""Name of a property to its example in every request."""

PIPE = {
    "outer_diameter": "219.1 mm",
    "wall_thickness": "8.0 mm",
    "material": "carbon-steel",
    "roughness": "0.045 mm",
}
MEDIUM = {"name": "water", "temperature": "58 degC"}
TRANSDUCERS = {
    "frequency": "1 MHz",
    "wedge_sound_speed": "2720 m/s",
    "wedge_angle": "42 deg",
    "face_offset": "14 mm",
    "wedge_delay": "9.8 us",
}
READINGS = {"transit_time": "314 us", "time_difference": "150 ns"}
POINT = {
    "reference": "1.000 m/s",
    "indicated": "1.004 m/s",
    "expanded_uncertainty": "0.006 m/s",
    "coverage_factor": 2.0,
}
PERMISSIBLE_ERROR = {"relative": 0.01}
ROWS = [
    {
        "temperature": f"{celsius} degC",
        "sound_speed": f"{1500 + celsius} m/s",
        "density": "1100 kg/m3",
        "dynamic_viscosity": "1.2 mPa.s",
    }
    for celsius in (10, 30)
]

COMPONENT_EXAMPLES: Mapping[str, Any] = {
    "AcceptancePolicyIn": {
        "kind": "meter",
        "maximum_permissible_error": PERMISSIBLE_ERROR,
        "decision_rule": {"rule": "simple-acceptance"},
    },
    "BookingIn": ("job", "technician", "starts_at", "ends_at"),
    "CalendarFeedIn": {"label": "Calendar of the workshop", "subject": "due-dates"},
    "CalibrationPointIn": POINT,
    "CheckIn": {
        "kind": "zero-flow",
        "performed_at": "2026-10-06T08:00:00+02:00",
        "limits": {"warning": "0.5 ns", "action": "1 ns"},
        "time_differences": [
            "0.1 ns",
            "0.2 ns",
            "-0.1 ns",
            "0.0 ns",
            "0.1 ns",
            "0.0 ns",
            "-0.2 ns",
            "0.1 ns",
        ],
    },
    "CombinationIn": {
        "site": "0192f3a0-5c1e-7b60-9c43-2f3c1d7a9e10",
        "name": "Mean of the supply line",
        "kind": "mean",
        "parts": ["0192f3a0-5c1e-7b60-9c43-2f3c1d7a9e10", "0192f3a0-5c1e-7b60-9c43-2f3c1d7a9e11"],
    },
    "CorrectionIn": {"reason": "Wall thickness measured again.", "pipe": {"wall_thickness": "8.2 mm"}},
    "CustomMaterialIn": {
        "name": "works-brass",
        "title": "Brass of the works",
        "source": "Measured in the workshop.",
        "longitudinal_sound_speed": "4400 m/s",
        "shear_sound_speed": "2100 m/s",
    },
    "CustomMediumIn": {
        "name": "works-brine",
        "title": "Brine of the plant",
        "source": "Measured in the workshop.",
        "pressure": "100 kPa",
        "sound_speed_uncertainty": 0.001,
        "density_uncertainty": 0.001,
        "viscosity_uncertainty": 0.02,
        "table": ROWS,
    },
    "DiagnosisIn": {
        "pipe": PIPE,
        "medium": MEDIUM,
        "transducers": TRANSDUCERS,
        "traverses": 2,
        "measured_sound_speed": "1520 m/s",
    },
    "ErrorCorrectionPolicyIn": {
        "kind": "meter",
        "applied": True,
        "valid_from": "2026-01-01",
        "reason": "Decision of the laboratory.",
    },
    "ExpectedBackIn": {"expected_back": "2030-10-07T09:00:00+02:00"},
    "FlowIn": {
        "pipe": PIPE,
        "medium": MEDIUM,
        "transducers": TRANSDUCERS,
        "traverses": 2,
        "readings": READINGS,
    },
    "IntervalPolicyIn": {"kind": "meter", "months": 12},
    "LogFormatIn": {"name": "Logger of the works", "format": FORMAT},
    "MaterialRevisionIn": {
        "source": "Measured again.",
        "reason": "The earlier sound speed was too low.",
        "longitudinal_sound_speed": "4420 m/s",
        "shear_sound_speed": "2110 m/s",
    },
    "MediumIn": MEDIUM,
    "MediumRevisionIn": {
        "source": "Measured again.",
        "reason": "The earlier table was too coarse.",
        "pressure": "100 kPa",
        "sound_speed_uncertainty": 0.001,
        "density_uncertainty": 0.001,
        "viscosity_uncertainty": 0.02,
        "table": ROWS,
    },
    "ModificationIn": {
        "reason": "The pipe section was replaced.",
        "valid_from": "2026-11-01",
        "pipe": {"wall_thickness": "8.2 mm"},
    },
    "LogFormatChangeIn": ("name", "format"),
    "MountingIn": ("transducers", "meter", "traverses", "medium_temperature", "medium_temperature_source"),
    "PermissibleErrorIn": PERMISSIBLE_ERROR,
    "PipeIn": PIPE,
    "PipePartIn": {"wall_thickness": "8.2 mm"},
    "PlanIn": ("jobs",),
    "ReadingsIn": READINGS,
    "ReportIn": {},
    "SetupIn": {"pipe": PIPE, "medium": MEDIUM, "transducers": TRANSDUCERS, "expected_velocity": "1.5 m/s"},
    "SiteMeterReadingIn": {
        "meter": "FT-101",
        "volume_flow": "137.6 m3/h",
        "relative_expanded_uncertainty": 0.02,
    },
    "SpanIn": ("starts_at", "ends_at"),
    "SurveyCorrectionIn": {
        "reason": "Temperature entered wrongly.",
        "medium_temperature": "58 degC",
        "medium_temperature_source": "measured",
    },
    "SurveyIn": ("medium_temperature", "medium_temperature_source"),
    "TransducersByValue": TRANSDUCERS,
    "UncertaintyIn": {
        "pipe": PIPE,
        "medium": MEDIUM,
        "transducers": TRANSDUCERS,
        "traverses": 2,
        "readings": READINGS,
        "inputs": {
            "pipe.outer_diameter": {"standard_uncertainty": "0.2 mm"},
            "pipe.wall_thickness": {"standard_uncertainty": "0.05 mm"},
        },
    },
    "WallMeasurementIn": {
        "gauge": "0192f3a0-5c1e-7b60-9c43-2f3c1d7a9e10",
        "readings": ["8.02 mm", "7.98 mm", "8.05 mm", "7.95 mm"],
        "taken_at": "2026-10-05T14:00:00+02:00",
    },
}
"""Component to the example of its body, or to the properties that the example shows beside the required ones."""


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
