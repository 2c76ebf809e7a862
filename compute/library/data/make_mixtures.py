"""Make mixtures.json.

`python -m compute.library.data.make_mixtures` makes all entries, `python -m compute.library.data.make_mixtures NAME ...` only those named.

Liquids whose sound speed no reference library has. Those of stated_liquids.csv: sound speed and density are linear in
temperature, viscosity follows ASTM D341 (log10 log10(v + 0.7) against log10 T) through two points, all from memory. Glycol
mixtures: density, viscosity and freezing temperature are those of Melinder 2010, as the reference library has them; sound
speed is a parabola through the points below, from memory, and water. Needs CoolProp, a development package.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable, Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any

import CoolProp
import numpy as np
from CoolProp.CoolProp import AbstractState
from numpy.polynomial import polynomial

from compute.library.data.equations import boiling_pressure
from compute.library.data.fitting import FloatArray, Region, chebyshev_shares, properties, saturation, write

CELSIUS = 273.15
PRESSURE = (1e3, 10e6)
ATMOSPHERE = 101_325.0
# Half of a rectangular spread to a standard uncertainty.
TO_STANDARD = 3**-0.5

GLYCOL_TEMPERATURE = (243.15, 373.15)
GLYCOL_SOURCE = (
    "density, viscosity and freezing temperature Melinder 2010, Properties of Secondary Working Fluids for Indirect Systems, IIR; "
    "sound speed an order of magnitude, no publication recorded"
)
# Mass fraction: sound speed [m/s] and its change with temperature [m/s/K] at 20 degC; the first is water.
ETHYLENE_GLYCOL = {
    0.0: (1482.3, 3.0),
    0.3: (1605, -0.2),
    0.4: (1645, -0.9),
    0.5: (1675, -1.5),
    0.6: (1690, -1.9),
}
PROPYLENE_GLYCOL = {
    0.0: (1482.3, 3.0),
    0.3: (1625, -0.7),
    0.4: (1655, -1.7),
    0.5: (1660, -2.4),
    0.6: (1645, -2.9),
}
GLYCOLS = (
    ("ethylene-glycol-water", "Ethylene glycol and water", "MEG", ETHYLENE_GLYCOL),
    ("propylene-glycol-water", "Propylene glycol and water", "MPG", PROPYLENE_GLYCOL),
)
GLYCOL_HALF_SPREAD = 28.0
GLYCOL_SLOPE_UNCERTAINTY = 0.5
WATER_PER_MPA = 1.7


def boiling(temperature: float) -> float:
    """Of water; what is dissolved in it lowers this a little, so a warning comes a little early."""
    return boiling_pressure("Water", max(temperature, 273.16))


def astm_d341(row: dict[str, str]) -> tuple[float, float]:
    """A and B of log10 log10(v + 0.7) = A - B log10 T, v in mm2/s."""
    temperatures = [float(row[key]) + CELSIUS for key in ("kinematic_c1", "kinematic_c2")]
    z = [np.log10(np.log10(float(row[key]) + 0.7)) for key in ("kinematic_1", "kinematic_2")]
    b = (z[0] - z[1]) / (np.log10(temperatures[1]) - np.log10(temperatures[0]))
    return float(z[0] + b * np.log10(temperatures[0])), float(b)


def stated(row: dict[str, str], points: FloatArray) -> FloatArray:
    """Sound speed, density, viscosity of a row of stated_liquids.csv."""
    _, pressure, temperature = points.T
    away = temperature - CELSIUS - float(row["at_c"])
    speed = float(row["sound_speed"]) + float(row["per_k"]) * away
    speed += float(row["per_mpa"]) * (pressure - ATMOSPHERE) / 1e6
    density = float(row["density"]) + float(row["density_per_k"]) * away
    a, b = astm_d341(row)
    kinematic = 1e-6 * (10**10 ** (a - b * np.log10(temperature)) - 0.7)
    return np.stack([speed, density, density * kinematic], axis=1)


def stated_entry(row: dict[str, str]) -> dict[str, Any]:
    """Return the entry of a liquid whose properties the row of the table gives."""
    water = row["boils_as"] == "water"
    region = Region(
        (float(row["low_c"]) + CELSIUS, float(row["high_c"]) + CELSIUS),
        PRESSURE,
        (0, 1, 10),
        boiling=boiling if water else lambda temperature: 0.0,
    )
    spread = (float(row["sound_high"]) - float(row["sound_low"])) / 2 * TO_STANDARD
    speed = float(row["sound_speed"])
    return {
        "name": row["name"],
        "title": row["title"],
        "source": row["source"],
        "provenance": "unverified",
        "made_with": "stated_liquids.csv",
        "temperature_k": region.temperature,
        "pressure_pa": PRESSURE,
        "freezing_k": [float(row["freezing_c"]) + CELSIUS] if row["freezing_c"] else [],
        "uncertainty": {
            "sound_speed": round(spread / speed, 5),
            "density": float(row["density_relative"]),
            "dynamic_viscosity": float(row["viscosity_relative"]),
            "per_kelvin": round(float(row["per_k_uncertainty"]) / speed, 7),
            "reference_temperature": float(row["at_c"]) + CELSIUS,
        },
        "properties": properties(region, partial(stated, row), cloud=400),
        "log_saturation": saturation(region.temperature, boiling) if water else [],
        "note": row["note"],
    }


@cache
def coolant(fluid: str) -> Any:
    """Return the incompressible mixture of the reference library."""
    return AbstractState("INCOMP", fluid)


def glycol_freezing(fluid: str, fraction: float) -> float:
    """Return the freezing temperature of a glycol at a mass fraction."""
    state = coolant(fluid)
    state.set_mass_fractions([fraction])
    return float(state.trivial_keyed_output(CoolProp.iT_freeze))


def glycol_sound_speed(table: dict[float, tuple[float, float]], fractions: FloatArray) -> list[FloatArray]:
    """Sound speed at 20 degC, and its change with temperature, by fraction."""
    at, points = np.array(list(table)), np.array(list(table.values()))
    curves = [polynomial.polyfit(at, points[:, i], 2) for i in (0, 1)]
    return [np.asarray(polynomial.polyval(fractions, curve), dtype=np.float64) for curve in curves]


def glycol(fluid: str, table: dict[float, tuple[float, float]], points: FloatArray) -> FloatArray:
    """Sound speed, density, viscosity of a glycol mixture."""
    state, rows = coolant(fluid), []
    for fraction, pressure, temperature in points:
        state.set_mass_fractions([fraction])
        state.update(CoolProp.PT_INPUTS, pressure, temperature)
        rows.append((state.rhomass(), state.viscosity()))
    speed, per_k = glycol_sound_speed(table, points[:, 0])
    speed = speed + per_k * (points[:, 2] - CELSIUS - 20) + WATER_PER_MPA * (points[:, 1] - ATMOSPHERE) / 1e6
    return np.column_stack([speed, rows])


def glycol_entry(
    name: str, title: str, fluid: str, table: dict[float, tuple[float, float]]
) -> dict[str, Any]:
    """Return the entry of a glycol with water."""
    fractions = (0.0, 0.6)
    freezing = partial(glycol_freezing, fluid)
    region = Region(
        GLYCOL_TEMPERATURE, PRESSURE, (5, 1, 9), composition=fractions, boiling=boiling, freezing=freezing
    )
    x = 2 * chebyshev_shares(16) - 1
    curve = [freezing((share + 1) / 2 * fractions[1]) for share in x]
    return {
        "name": name,
        "title": title,
        "source": GLYCOL_SOURCE,
        "provenance": "unverified",
        "made_with": f"CoolProp {CoolProp.__version__}, INCOMP::{fluid}",
        "temperature_k": GLYCOL_TEMPERATURE,
        "pressure_pa": PRESSURE,
        "composition": {"name": "mass_fraction", "range": fractions},
        "freezing_k": polynomial.polyfit(x, curve, 5),
        "uncertainty": {
            "sound_speed": round(GLYCOL_HALF_SPREAD * TO_STANDARD / 1600, 5),
            "density": 0.005,
            "dynamic_viscosity": 0.05,
            "per_kelvin": round(GLYCOL_SLOPE_UNCERTAINTY / 1600, 7),
            "reference_temperature": 293.15,
        },
        "properties": properties(region, partial(glycol, fluid, table)),
        "log_saturation": saturation(GLYCOL_TEMPERATURE, boiling),
        "note": "The mass fraction is that of the glycol. Inhibitors change the properties.",
    }


def makers() -> dict[str, Callable[[], dict[str, Any]]]:
    """Return how each entry is made, by name."""
    text = (Path(__file__).parent / "stated_liquids.csv").read_text(encoding="utf-8")
    return {row["name"]: partial(stated_entry, row) for row in csv.DictReader(text.splitlines())} | {
        name: partial(glycol_entry, name, title, fluid, table) for name, title, fluid, table in GLYCOLS
    }


def main(names: Sequence[str]) -> None:
    """Make the named entries, or all."""
    write("mixtures.json", makers(), names)


if __name__ == "__main__":
    main(sys.argv[1:])
