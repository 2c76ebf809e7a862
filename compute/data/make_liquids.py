"""Make liquids.json: pure liquids and refrigerants, `python -m compute.data.make_liquids`.

Sound speed, density and vapour pressure by each fluid's reference equation of state; viscosity by its reference
correlation, or where the library has none by the points below (CRC Handbook, from memory) with the reciprocal of
temperature between them, the pressure left out. Needs CoolProp, a development package.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import CoolProp
import numpy as np
from CoolProp.CoolProp import get_BibTeXKey
from numpy.polynomial import polynomial

from compute.data.equations import any_state, boiling_pressure, liquid
from compute.data.fitting import FloatArray, Region, properties, saturation, write

LOWEST_K, HIGHEST_K = 223.15, 423.15
# Nearer to the critical point a liquid is hardly measured by this method, and polynomials fail.
HIGHEST_SHARE_OF_CRITICAL = 0.93
PRESSURE = (1e3, 10e6)
DEGREES = (0, 7, 12)
# Slug, title, name in the library.
FLUIDS = """
ethanol|Ethanol|Ethanol
methanol|Methanol|Methanol
acetone|Acetone|Acetone
toluene|Toluene|Toluene
benzene|Benzene|Benzene
ethylbenzene|Ethylbenzene|EthylBenzene
o-xylene|o-Xylene|o-Xylene
m-xylene|m-Xylene|m-Xylene
p-xylene|p-Xylene|p-Xylene
cyclohexane|Cyclohexane|CycloHexane
n-pentane|n-Pentane|n-Pentane
n-hexane|n-Hexane|n-Hexane
n-heptane|n-Heptane|n-Heptane
n-octane|n-Octane|n-Octane
n-nonane|n-Nonane|n-Nonane
n-decane|n-Decane|n-Decane
n-undecane|n-Undecane|n-Undecane
n-dodecane|n-Dodecane|n-Dodecane
propylene-glycol|Propylene glycol|PropyleneGlycol
heavy-water|Heavy water|HeavyWater
ammonia|Ammonia|Ammonia
propane|Propane (R290)|n-Propane
isobutane|Isobutane (R600a)|IsoButane
n-butane|n-Butane|n-Butane
carbon-dioxide|Carbon dioxide (R744)|CarbonDioxide
r134a|R134a|R134a
r32|R32|R32
r1234yf|R1234yf|R1234yf
r1234ze-e|R1234ze(E)|R1234ze(E)
r22|R22|R22
r123|R123|R123
r245fa|R245fa|R245fa
r404a|R404A|R404A
r407c|R407C|R407C
r410a|R410A|R410A
r507a|R507A|R507A
"""
# Dynamic viscosity [mPa s] by temperature [degC] where the library has none.
VISCOSITY_POINTS = {
    "acetone": {-25: 0.540, 0: 0.395, 25: 0.306, 50: 0.247},
    "n-undecane": {0: 1.707, 25: 1.098, 50: 0.763, 75: 0.562, 100: 0.433},
    "propylene-glycol": {0: 248.0, 25: 40.4, 50: 11.3, 75: 4.77, 100: 2.75},
}
# Round figures for all: reference equations state about 1 % for sound speed, 0.2 % for density and 2 % to 5 % for
# viscosity of the liquid (coverage about 95 %, from memory).
UNCERTAINTY = {"sound_speed": 0.005, "density": 0.001, "dynamic_viscosity": 0.025}
# Viscosity through points, or by entropy scaling with general parameters, is less sure.
ROUGH_VISCOSITY = 0.05


def temperatures(fluid: str, points: dict[int, float] | None) -> tuple[float, float]:
    state = any_state(fluid)
    low = max(LOWEST_K, triple(fluid) + 0.01)
    high = min(HIGHEST_K, HIGHEST_SHARE_OF_CRITICAL * state.T_critical())
    if points:
        low, high = max(low, min(points) + 273.15), min(high, max(points) + 293.15)
    return float(np.ceil(low * 100) / 100), float(np.floor(high * 10) / 10)


def triple(fluid: str) -> float:
    return float(any_state(fluid).trivial_keyed_output(CoolProp.iT_triple))


def viscosity_between(points: dict[int, float]) -> FloatArray:
    """Coefficients of the logarithm of viscosity [Pa s] in 1000/T, through the points as nearly as a parabola goes."""
    inverse = 1000 / (np.array(list(points)) + 273.15)
    logs = np.log(np.array(list(points.values())) * 1e-3)
    return np.asarray(polynomial.polyfit(inverse, logs, 2), dtype=np.float64)


def reference(fluid: str, points: dict[int, float] | None, at: FloatArray) -> FloatArray:
    rows = np.array([liquid(fluid, t, p, viscosity=not points) for _, p, t in at])
    if points:
        rows[:, 2] = np.exp(polynomial.polyval(1000 / at[:, 2], viscosity_between(points)))
    return rows


def entry(slug: str, title: str, fluid: str) -> dict[str, Any]:
    points = VISCOSITY_POINTS.get(slug)
    boiling = partial(boiling_pressure, fluid)
    region = Region(temperatures(fluid, points), PRESSURE, DEGREES, boiling=boiling)
    viscosity = "CRC Handbook, from memory" if points else get_BibTeXKey(fluid, "VISCOSITY")
    rough = points or viscosity.endswith("-ETA")
    return {
        "name": slug,
        "title": title,
        "source": f"equation of state {get_BibTeXKey(fluid, 'EOS')}; viscosity {viscosity}",
        "provenance": "derived",
        "made_with": f"CoolProp {CoolProp.__version__}, HEOS::{fluid}",
        "temperature_k": region.temperature,
        "pressure_pa": PRESSURE,
        "freezing_k": [triple(fluid)],
        "uncertainty": {**UNCERTAINTY, "dynamic_viscosity": ROUGH_VISCOSITY} if rough else UNCERTAINTY,
        "properties": properties(region, partial(reference, fluid, points), cloud=400),
        "log_saturation": saturation(region.temperature, boiling),
        "note": "",
    }


def main() -> None:
    write("liquids.json", [entry(*line.split("|")) for line in FLUIDS.split("\n") if line])


if __name__ == "__main__":
    main()
