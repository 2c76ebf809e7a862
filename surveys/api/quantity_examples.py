"""Examples of quantities in answers, in metric units, by kind of quantity and property."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

EXAMPLES: Mapping[str, Mapping[str, str]] = {
    "length": {
        "InstrumentOut.standard_uncertainty": "0.05 mm",
        "StandardOut.wall_thickness": "8.18 mm",
        "axial_advance": "187.4 mm",
        "bore": "203.1 mm",
        "downstream_straight_length": "2200 mm",
        "face_offset": "14 mm",
        "max_outer_diameter": "221 mm",
        "max_spacing": "300 mm",
        "max_wall_thickness": "200 mm",
        "maximum": "8.05 mm",
        "WallMeasurementOut.mean": "8 mm",
        "min_outer_diameter": "217 mm",
        "min_spacing": "0 mm",
        "min_wall_thickness": "1 mm",
        "minimum": "7.95 mm",
        "mounted_spacing": "159 mm",
        "outer_diameter": "219.1 mm",
        "readings": "8.02 mm",
        "spacing": "159.4 mm",
        "spacing_after": "159.4 mm",
        "spacing_before": "158.6 mm",
        "WallMeasurementOut.standard_deviation": "0.04 mm",
        "WallMeasurementOut.standard_uncertainty": "0.05 mm",
        "thickness": "3 mm",
        "upstream_straight_length": "4400 mm",
        "wall_thickness": "8 mm",
    },
    "roughness": {"roughness": "0.045 mm"},
    "speed": {
        "absolute": "0.01 m/s",
        "acceptance_limit": "0.02 m/s",
        "error": "0.004 m/s",
        "CalibrationPointOut.expanded_uncertainty": "0.006 m/s",
        "JudgedPointOut.expanded_uncertainty": "0.006 m/s",
        "expected_sound_speed": "1546 m/s",
        "expected_velocity": "1.5 m/s",
        "gauge_velocity_setting": "5900 m/s",
        "guard_band": "0 m/s",
        "indicated": "1.004 m/s",
        "longitudinal_range": "5890 m/s",
        "longitudinal_sound_speed": "5900 m/s",
        "max_velocity": "12 m/s",
        "maximum_permissible_error": "0.02 m/s",
        "mean_velocity": "1.18 m/s",
        "measured_sound_speed": "1544 m/s",
        "min_velocity": "0.01 m/s",
        "path_velocity": "1.25 m/s",
        "reference": "1 m/s",
        "shear_range": "3210 m/s",
        "shear_sound_speed": "3230 m/s",
        "sound_speed": "1546 m/s",
        "wedge_sound_speed": "2720 m/s",
    },
    "speed_per_temperature": {"wedge_temperature_coefficient": "-2.5 m/s/K"},
    "volume_flow": {
        "after": "137.6 m3/h",
        "before": "134.2 m3/h",
        "change": "3.4 m3/h",
        "combined_standard_uncertainty": "1.1 m3/h",
        "contribution": "0.6 m3/h",
        "contribution_if_independent": "0.5 m3/h",
        "corrected_flow": "136.8 m3/h",
        "corrected_flow_expanded_uncertainty": "2.2 m3/h",
        "difference": "3.4 m3/h",
        "drift": "0.2 m3/h",
        "effect": "3.4 m3/h",
        "expanded_uncertainty": "2.2 m3/h",
        "flow_after": "137.6 m3/h",
        "flow_before": "134.2 m3/h",
        "high": "139.8 m3/h",
        "low": "135.4 m3/h",
        "mean": "137.6 m3/h",
        "range": "1.9 m3/h",
        "standard_deviation": "0.8 m3/h",
        "standard_uncertainty": "1.1 m3/h",
        "volume_flow": "137.6 m3/h",
        "volume_flow_standard_deviation": "0.8 m3/h",
    },
    "temperature": {
        "conditions_temperature": "20 degC",
        "dimensions_temperature": "20 degC",
        "max_temperature": "120 degC",
        "medium_temperature": "58 degC",
        "min_temperature": "-20 degC",
        "temperature": "58 degC",
        "temperature_range": "20 degC",
        "wedge_reference_temperature": "20 degC",
    },
    "transit_time": {
        "time_in_medium": "287 us",
        "time_in_solids": "28.3 us",
        "transit_time": "314 us",
        "wedge_delay": "9.8 us",
    },
    "time_difference": {
        "action_limit": "1 ns",
        "deviation": "0.1 ns",
        "CheckOut.expanded_uncertainty": "0.2 ns",
        "time_difference": "150 ns",
        "timing_resolution": "0.1 ns",
        "warning_limit": "0.5 ns",
    },
    "time_per_velocity": {"time_difference_per_velocity": "127 ns/(m/s)"},
    "pressure": {"pressure": "600 kPa", "pressure_range": "100 kPa"},
    "density": {
        "MaterialOut.density": "7850 kg/m3",
        "MaterialVersionOut.density": "8500 kg/m3",
        "density": "984 kg/m3",
    },
    "dynamic_viscosity": {"dynamic_viscosity": "0.48 mPa.s"},
    "frequency": {"frequency": "1 MHz", "max_frequency": "2 MHz", "min_frequency": "0.5 MHz"},
    "angle": {
        "angle": "52.6 deg",
        "lining": "30 deg",
        "medium": "22.4 deg",
        "path_angle": "90 deg",
        "wall": "52.6 deg",
        "wedge_angle": "42 deg",
    },
    "salinity": {"salinity": "35 g/kg"},
    "thermal_expansion": {"thermal_expansion": "0.000012 1/K"},
    "duration": {"correlation_time": "4.2 s"},
    "ratio_db": {"minimum_signal": "20 dB"},
}
"""Kind of quantity to property, or component and property, to the text of the example."""

SENSITIVITY = {"value": -1.4, "unit": "(m3/h)/mm"}
"""Sensitivity of a flow to a length; its unit is a ratio, which no request can send."""


def _numbers() -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {"sensitivity": SENSITIVITY}
    for texts in EXAMPLES.values():
        for name, text in texts.items():
            value, _, unit = text.partition(" ")
            found[name] = {"value": float(value), "unit": unit}
    return found


QUANTITY_EXAMPLES: Mapping[str, Mapping[str, Any]] = _numbers()
"""Property, or component and property, to the example of its quantity."""
