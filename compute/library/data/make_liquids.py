"""Make liquids.json: pure liquids and refrigerants.

`python -m compute.library.data.make_liquids` makes all of them, `python -m compute.library.data.make_liquids NAME ...` only those named; the
other entries of the file stay as they are.

Sound speed, density and vapour pressure are calculated with the equation of state of each fluid, viscosity with its
correlation. If the library has no correlation, viscosity follows the points below (CRC Handbook, from memory) as a parabola in
the reciprocal of temperature, without an effect of pressure. The generator accepts only the models listed here, because the
library also has estimation methods that are wrong by 25 % for some fluids. Needs CoolProp, a development package.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import CoolProp
import numpy as np
from CoolProp.CoolProp import get_BibTeXKey
from numpy.polynomial import polynomial

from compute.library.data.equations import any_state, boiling_pressure, liquid
from compute.library.data.fitting import FloatArray, Region, properties, saturation, write

MIN_K, MAX_K = 223.15, 423.15
# Near the critical point clamp-on meters hardly ever measure a liquid, and polynomials fail.
MAX_FRACTION_OF_CRITICAL = 0.93
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
# Dynamic viscosity [mPa s] by temperature [degC] for fluids without a correlation in the library.
VISCOSITY_POINTS = {
    "acetone": {-25: 0.540, 0: 0.395, 25: 0.306, 50: 0.247},
    "n-undecane": {0: 1.707, 25: 1.098, 50: 0.763, 75: 0.562, 100: 0.433},
    "propylene-glycol": {0: 248.0, 25: 40.4, 50: 11.3, 75: 4.77, 100: 2.75},
}
POINTS_SOURCE = "CRC Handbook of Chemistry and Physics, section 6, table of viscosities of liquids (not verified against the source)"
# Equations of state by the library's key. Publications differ little: about 1 % for sound speed and 0.2 % for density of the
# liquid (coverage about 95 %, from memory).
EQUATIONS = {
    "Akasaka-JPCRD-2015-R245fa": "Akasaka et al. 2015, J. Phys. Chem. Ref. Data 44:013104",
    "Aleksandrov-TE-2011": "Aleksandrov et al. 2011, Therm. Eng. 58:691",
    "Beckmueller-IJT-2019-octane": "Beckmueller et al. 2019, Int. J. Thermophys., equation of state of n-octane",
    "Buecker-JPCRD-2006B": "Buecker and Wagner 2006, J. Phys. Chem. Ref. Data 35:929",
    "Eisenbach-JPCRD-2021": "Eisenbach et al. 2021, J. Phys. Chem. Ref. Data 50, equation of state of propylene glycol",
    "Gao-JPCRD-2020": "Gao et al. 2020, J. Phys. Chem. Ref. Data, equation of state of ammonia",
    "Herrig-JPCRD-2019": "Herrig et al. 2019, J. Phys. Chem. Ref. Data, equation of state of heavy water",
    "Kamei-IJT-1995": "Kamei et al. 1995, Int. J. Thermophys. 16:1155",
    "Lemmon-EF-2004": "Lemmon and Huber 2004, Energy Fuels 18:960",
    "Lemmon-IJT-2003": "Lemmon 2003, Int. J. Thermophys. 24:991",
    "Lemmon-IJT-2022": "Lemmon and Akasaka 2022, Int. J. Thermophys. 43:119",
    "Lemmon-JCED-2006": "Lemmon and Span 2006, J. Chem. Eng. Data 51:785",
    "Lemmon-JCED-2009": "Lemmon et al. 2009, J. Chem. Eng. Data 54:3141",
    "Schroeder-JPCRD-2014": "Schroeder et al. 2014, J. Phys. Chem. Ref. Data 43:043102",
    "Span-IJT-2003B": "Span and Wagner 2003, Int. J. Thermophys. 24:41",
    "Span-JPCRD-1996": "Span and Wagner 1996, J. Phys. Chem. Ref. Data 25:1509",
    "Thol-FPE-2019-alkanes-hexane": "Thol et al. 2019, Fluid Phase Equilib., equation of state of n-hexane",
    "Thol-FPE-2019-alkanes-pentane": "Thol et al. 2019, Fluid Phase Equilib., equation of state of n-pentane",
    "Thol-HTHP-2012": "Thol et al. 2012, High Temp. High Press. 41:81",
    "Thol-IJT-2016-R1234zeE": "Thol and Lemmon 2016, Int. J. Thermophys. 37, equation of state of R1234ze(E)",
    "TillnerRoth-JPCRD-1994": "Tillner-Roth and Baehr 1994, J. Phys. Chem. Ref. Data 23:657",
    "TillnerRoth-JPCRD-1997": "Tillner-Roth and Yokozeki 1997, J. Phys. Chem. Ref. Data 26:1273",
    "Younglove-JPCRD-1994": "Younglove and McLinden 1994, J. Phys. Chem. Ref. Data 23:731",
    "Zhou-JPCRD-2012": "Zhou et al. 2012, J. Phys. Chem. Ref. Data 41:023103",
    "Zhou-JPCRD-2014": "Zhou et al. 2014, J. Phys. Chem. Ref. Data 43:043105",
    "deReuck-BOOK-1993": "de Reuck and Craven 1993, Methanol: International Thermodynamic Tables of the Fluid State 12",
}


@dataclass(frozen=True, slots=True)
class ViscosityModel:
    """A viscosity correlation: its publication and the relative standard uncertainty of the liquid's viscosity."""

    citation: str
    uncertainty: float = 0.025


# Correlations fitted to measurements of one fluid: publications state 2 % to 5 % (coverage about 95 %, from memory). Entropy
# scaling and viscosity through points are less certain.
ROUGH_VISCOSITY = 0.05
VISCOSITY_MODELS = {
    "Avgeri-JPCRD-2014-Benzene": ViscosityModel("Avgeri et al. 2014, J. Phys. Chem. Ref. Data 43:033103"),
    "Avgeri-JPCRD-2015-Toluene": ViscosityModel("Avgeri et al. 2015, J. Phys. Chem. Ref. Data 44:033101"),
    "Balogun-JPCRD-2015-pxylene": ViscosityModel("Balogun et al. 2015, J. Phys. Chem. Ref. Data 44:013103"),
    "Bell-PURDUE-2016-ETA": ViscosityModel(
        "Bell and Laesecke 2016, 16th Int. Refrig. Air Cond. Conf. Purdue, entropy scaling", ROUGH_VISCOSITY
    ),
    "Cao-JPCRD-2016-mxylene": ViscosityModel("Cao et al. 2016, J. Phys. Chem. Ref. Data 45:013103"),
    "Cao-JPCRD-2016-oxylene": ViscosityModel("Cao et al. 2016, J. Phys. Chem. Ref. Data 45:023102"),
    "Fenghour-JPCRD-1995": ViscosityModel("Fenghour et al. 1995, J. Phys. Chem. Ref. Data 24:1649"),
    "Geller-PURDUE-2000": ViscosityModel(
        "Geller 2000, Int. Refrig. Conf. Purdue, R404A, R407C, R410A and R507A"
    ),
    "Huber-EF-2004": ViscosityModel("Huber et al. 2004, Energy Fuels 18:968"),
    "Huber-FPE-2004": ViscosityModel("Huber et al. 2004, Fluid Phase Equilib. 224:263"),
    "Huber-IECR-2003": ViscosityModel("Huber et al. 2003, Ind. Eng. Chem. Res. 42:3163"),
    "Huber-RP912": ViscosityModel("Huber, unpublished correlation of ethylbenzene"),
    "IAPWS-D2O-2007-Transport": ViscosityModel("IAPWS R4-84(2007)"),
    "Kiselev-IECR-2005": ViscosityModel("Kiselev et al. 2005, Ind. Eng. Chem. Res. 44:6916"),
    "Laesecke-JPCRD-2017-CO2": ViscosityModel("Laesecke and Muzny 2017, J. Phys. Chem. Ref. Data 46:013107"),
    "Michailidou-JPCRD-2013-Hexane": ViscosityModel(
        "Michailidou et al. 2013, J. Phys. Chem. Ref. Data 42:033104"
    ),
    "Michailidou-JPCRD-2014-Heptane": ViscosityModel(
        "Michailidou et al. 2014, J. Phys. Chem. Ref. Data 43:023103"
    ),
    "QuinonesCisneros-JPCB-2006": ViscosityModel(
        "Quinones-Cisneros and Deiters 2006, J. Phys. Chem. B 110:12820"
    ),
    "Tanaka-IJT-1996": ViscosityModel("Tanaka and Sotani 1996, Int. J. Thermophys. 17:293"),
    "Tariq-JPCRD-2014-Cyclohexane": ViscosityModel("Tariq et al. 2014, J. Phys. Chem. Ref. Data 43:033101"),
    "Vogel-HTHP-1999": ViscosityModel("Vogel et al. 1999, High Temp. High Press. 31:173"),
    "Vogel-IJT-2000": ViscosityModel("Vogel et al. 2000, Int. J. Thermophys. 21:343"),
    "Vogel-JPCRD-1998": ViscosityModel("Vogel et al. 1998, J. Phys. Chem. Ref. Data 27:947"),
    "Xiang-JPCRD-2006": ViscosityModel("Xiang et al. 2006, J. Phys. Chem. Ref. Data 35:1597"),
}
UNCERTAINTY = {"sound_speed": 0.005, "density": 0.001}
LOW_VISCOSITY = "Near 25 degC the viscosity is about 20 % below handbook values: enter a measured viscosity."
NOTES = {"n-pentane": LOW_VISCOSITY, "r22": LOW_VISCOSITY}


class UnknownModel(ValueError):
    """A fluid whose equation of state or viscosity model is not listed in this module."""


def equation_of_state(slug: str, fluid: str) -> str:
    """Return the citation of the equation of state of a fluid."""
    key = get_BibTeXKey(fluid, "EOS")
    if key not in EQUATIONS:
        raise UnknownModel(f"{slug}: equation of state {key!r} is not in EQUATIONS. Add its publication.")
    return EQUATIONS[key]


def viscosity_model(slug: str, fluid: str) -> ViscosityModel:
    """Return the viscosity model of a fluid: its points if it has some, otherwise a correlation listed here."""
    if slug in VISCOSITY_POINTS:
        return ViscosityModel(POINTS_SOURCE, ROUGH_VISCOSITY)
    key = get_BibTeXKey(fluid, "VISCOSITY")
    if key not in VISCOSITY_MODELS:
        raise UnknownModel(
            f"{slug}: viscosity model {key!r} is not in VISCOSITY_MODELS. Compare it with measured values: if it agrees, add its "
            "publication and uncertainty; otherwise add measured values to VISCOSITY_POINTS."
        )
    return VISCOSITY_MODELS[key]


def temperatures(fluid: str, points: dict[int, float] | None) -> tuple[float, float]:
    """Return the lowest and highest temperature of the fit."""
    state = any_state(fluid)
    low = max(MIN_K, triple(fluid) + 0.01)
    high = min(MAX_K, MAX_FRACTION_OF_CRITICAL * state.T_critical())
    if points:
        low, high = max(low, min(points) + 273.15), min(high, max(points) + 293.15)
    return float(np.ceil(low * 100) / 100), float(np.floor(high * 10) / 10)


def triple(fluid: str) -> float:
    """Return the triple point temperature."""
    return float(any_state(fluid).trivial_keyed_output(CoolProp.iT_triple))


def viscosity_between(points: dict[int, float]) -> FloatArray:
    """Coefficients of the logarithm of viscosity [Pa s] in 1000/T, through the points as nearly as a parabola goes."""
    inverse = 1000 / (np.array(list(points)) + 273.15)
    logs = np.log(np.array(list(points.values())) * 1e-3)
    return np.asarray(polynomial.polyfit(inverse, logs, 2), dtype=np.float64)


def reference(fluid: str, points: dict[int, float] | None, at: FloatArray) -> FloatArray:
    """Return sound speed, density and viscosity at each point of the fit."""
    rows = np.array([liquid(fluid, t, p, viscosity=not points) for _, p, t in at])
    if points:
        rows[:, 2] = np.exp(polynomial.polyval(1000 / at[:, 2], viscosity_between(points)))
    return rows


def description(slug: str, title: str, fluid: str) -> dict[str, Any]:
    """Return the texts and uncertainties of an entry."""
    model = viscosity_model(slug, fluid)
    return {
        "name": slug,
        "title": title,
        "source": f"equation of state {equation_of_state(slug, fluid)}; viscosity {model.citation}",
        "provenance": "derived",
        "made_with": f"CoolProp {CoolProp.__version__}, HEOS::{fluid}",
        "uncertainty": {**UNCERTAINTY, "dynamic_viscosity": model.uncertainty},
        "note": NOTES.get(slug, ""),
    }


def entry(slug: str, title: str, fluid: str) -> dict[str, Any]:
    """Return one liquid as it is in the file."""
    texts = description(slug, title, fluid)
    points = VISCOSITY_POINTS.get(slug)
    boiling = partial(boiling_pressure, fluid)
    region = Region(temperatures(fluid, points), PRESSURE, DEGREES, boiling=boiling)
    order = ("name", "title", "source", "provenance", "made_with")
    return {
        **{key: texts[key] for key in order},
        "temperature_k": region.temperature,
        "pressure_pa": PRESSURE,
        "freezing_k": [triple(fluid)],
        "uncertainty": texts["uncertainty"],
        "properties": properties(region, partial(reference, fluid, points), cloud=400),
        "log_saturation": saturation(region.temperature, boiling),
        "note": texts["note"],
    }


def fluids() -> dict[str, tuple[str, str, str]]:
    """Return slug, title and library name of every liquid, by slug."""
    rows = (line.split("|") for line in FLUIDS.split("\n") if line)
    return {slug: (slug, title, fluid) for slug, title, fluid in rows}


def main(names: Sequence[str]) -> None:
    """Make the named liquids, or all."""
    write("liquids.json", {slug: partial(entry, *row) for slug, row in fluids().items()}, names)


if __name__ == "__main__":
    main(sys.argv[1:])
