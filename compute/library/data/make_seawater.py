"""Make seawater.json: `python -m compute.library.data.make_seawater`.

Sound speed and density by IAPWS R13-08 (the thermodynamics behind TEOS-10): IAPWS-95 for the water and the saline part of
its Gibbs function, taken as the difference a TEOS-10 library finds between seawater and its own water at the same
state. Viscosity by R12-08 times the factor of Sharqawy, Lienhard and Zubair 2010 (from memory). Needs CoolProp, and
gsw (`pip install gsw`), which nothing else here uses.
"""

from __future__ import annotations

import importlib
from typing import Any

import CoolProp
import numpy as np
from numpy.polynomial import polynomial

from compute.library.data.equations import boiling_pressure, liquid_state
from compute.library.data.fitting import FloatArray, Region, chebyshev_shares, properties, saturation, write

gsw = importlib.import_module("gsw")

SALINITY = (0.0, 42.0)
# Above 40 degC the saline part is not backed by sound speeds: it bends upward there, which no seawater does.
TEMPERATURE = (271.15, 313.15)
TRIPLE = 273.16
ATMOSPHERE_DBAR = 10.1325


def gibbs_of_library(salinity: float, temperature: float, pressure: float) -> FloatArray:
    """Derivatives p, pp, tp, tt of the library's Gibbs function."""
    state = salinity, temperature - 273.15, pressure / 1e4 - ATMOSPHERE_DBAR
    volume, heat = 1 / gsw.rho_t_exact(*state), gsw.cp_t_exact(*state)
    expansion = gsw.alpha_wrt_t_exact(*state)
    # The library gives the isentropic compressibility.
    compressibility = gsw.kappa_t_exact(*state) + temperature * volume * expansion**2 / heat
    return np.array([volume, -volume * compressibility, volume * expansion, -heat / temperature])


def gibbs_of_water(temperature: float, pressure: float) -> FloatArray:
    """The same derivatives by IAPWS-95."""
    state = liquid_state("Water", temperature, pressure)
    volume = 1 / state.rhomass()
    return np.array(
        [
            volume,
            -volume * state.isothermal_compressibility(),
            volume * state.isobaric_expansion_coefficient(),
            -state.cpmass() / temperature,
        ]
    )


def seawater(salinity: float, pressure: float, temperature: float) -> tuple[float, float, float]:
    """Sound speed, density, viscosity; c^2 = g_p^2 g_tt / (g_tp^2 - g_tt g_pp)."""
    saline = gibbs_of_library(salinity, temperature, pressure) - gibbs_of_library(0.0, temperature, pressure)
    g_p, g_pp, g_tp, g_tt = gibbs_of_water(temperature, pressure) + saline
    speed = g_p * np.sqrt(g_tt / (g_tp**2 - g_tt * g_pp))
    t, s = temperature - 273.15, salinity / 1000
    a, b = 1.541 + 1.998e-2 * t - 9.52e-5 * t**2, 7.974 - 7.561e-2 * t + 4.724e-4 * t**2
    viscosity = liquid_state("Water", temperature, pressure).viscosity() * (1 + a * s + b * s**2)
    return float(speed), float(1 / g_p), float(viscosity)


def reference(points: FloatArray) -> FloatArray:
    """Return sound speed, density and viscosity at each point of the fit."""
    return np.array([seawater(*point) for point in points])


def freezing() -> FloatArray:
    """Coefficients of the freezing temperature in scaled salinity, at one atmosphere, air-free."""
    x = 2 * chebyshev_shares(12) - 1
    salinity = SALINITY[0] + (x + 1) / 2 * (SALINITY[1] - SALINITY[0])
    return polynomial.polyfit(x, gsw.t_freezing(salinity, 0.0, 0.0) + 273.15, 5)


def boiling(temperature: float) -> float:
    """That of water: seawater boils at about 2 % less, so a warning comes a little early."""
    return boiling_pressure("Water", max(temperature, TRIPLE))


def entry() -> dict[str, Any]:
    """Return seawater as it is in the file."""
    region = Region(TEMPERATURE, (600.0, 10e6), (6, 4, 10), composition=SALINITY, boiling=boiling)
    return {
        "name": "seawater",
        "title": "Seawater",
        "source": "IAPWS R13-08 (TEOS-10) on IAPWS R6-95(2018); viscosity IAPWS R12-08 times the factor of Sharqawy, Lienhard and "
        "Zubair 2010, Desalin. Water Treat. 16:354 (not verified against the source)",
        "provenance": "derived",
        "made_with": f"gsw {gsw.__version__}, CoolProp {CoolProp.__version__}",
        "temperature_k": TEMPERATURE,
        "pressure_pa": region.pressure,
        "composition": {"name": "salinity", "range": SALINITY},
        "freezing_k": freezing(),
        # Sound speed 0.0035 % to 0.02 % and density 0.001 % by the release, viscosity 1.5 % by the paper, each with a
        # coverage of about 95 %, all from memory; the first two are widened.
        "uncertainty": {"sound_speed": 0.0002, "density": 0.00002, "dynamic_viscosity": 0.0075},
        "properties": properties(region, reference),
        "log_saturation": saturation(TEMPERATURE, boiling),
        "note": "Absolute salinity. In the open ocean it is 1.00472 times practical salinity.",
    }


def main() -> None:
    """Write the data file of seawater."""
    write("seawater.json", {"seawater": entry})


if __name__ == "__main__":
    main()
