"""Make water.json from the reference equations: `python -m compute.library.data.make_water`.

Sound speed and density by IAPWS-95, viscosity by IAPWS R12-08 (with its critical term, as the reference library has it),
fitted over the liquid from 0 to 200 degC and from saturation (or 600 Pa) to 25 MPa; vapour pressure by IAPWS-95. Needs
CoolProp, a development package; nothing at run time does.
"""

from __future__ import annotations

from typing import Any

import CoolProp
import numpy as np

from compute.library.data.equations import boiling_pressure, liquid
from compute.library.data.fitting import FloatArray, Region, properties, saturation, write

TEMPERATURE = (273.15, 473.15)
TRIPLE = 273.16


def boiling(temperature: float) -> float:
    """Return the boiling pressure, from the triple point on."""
    return boiling_pressure("Water", max(temperature, TRIPLE))


def reference(points: FloatArray) -> FloatArray:
    """Return sound speed, density and viscosity at each point of the fit."""
    return np.array([liquid("Water", temperature, pressure) for _, pressure, temperature in points])


def entry() -> dict[str, Any]:
    """Return water as it is in the file."""
    region = Region(TEMPERATURE, (600.0, 25e6), (0, 7, 16), boiling=boiling)
    return {
        "name": "water",
        "title": "Water",
        "source": "IAPWS R6-95(2018); viscosity IAPWS R12-08",
        "provenance": "derived",
        "made_with": f"CoolProp {CoolProp.__version__}, HEOS::Water",
        "temperature_k": TEMPERATURE,
        "pressure_pa": region.pressure,
        "freezing_k": [273.15],
        # IAPWS-95 states 0.1 % for sound speed of the liquid at worst in this range and 0.001 % to 0.02 % for density;
        # R12-08 1 % to 1.5 % (coverage about 95 %) for viscosity. All from memory.
        "uncertainty": {"sound_speed": 0.0005, "density": 0.0001, "dynamic_viscosity": 0.0075},
        "properties": properties(
            region, reference, temperature_degrees={"density": 10, "dynamic_viscosity": 13}
        ),
        "log_saturation": saturation(TEMPERATURE, boiling),
        "note": "",
    }


def main() -> None:
    """Write the data file of water."""
    write("water.json", {"water": entry})


if __name__ == "__main__":
    main()
