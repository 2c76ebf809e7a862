"""Liquids: sound speed, density and viscosity by temperature and pressure."""

from __future__ import annotations

import difflib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from compute.errors import OutOfRange, UnknownName
from compute.findings import Finding
from compute.sources import PRACTICE, Source

FloatArray = NDArray[np.float64]
Real = float | FloatArray

ATMOSPHERE = 101_325.0
CELSIUS = 273.15
# A chunk of 8 kB columns stays in the processor's cache through all steps of Horner's rule.
CHUNK = 8192

IAPWS = Source("IAPWS R6-95(2018), IAPWS-95; viscosity IAPWS R12-08(2008)", "computed")
SATURATION = Source(
    "Wagner and Pruss 1993/2002, auxiliary equation for the vapour pressure of water", "memory"
)
# Standard uncertainties (k = 1), relative: IAPWS-95 states 0.1 % for sound speed of the liquid at worst in this range and
# 0.001 % to 0.02 % for density; R12-08 1 % to 1.5 % (coverage about 95 %) for viscosity. All from memory.
WATER_SOUND_SPEED_UNCERTAINTY = 0.0005
WATER_DENSITY_UNCERTAINTY = 0.0001
WATER_VISCOSITY_UNCERTAINTY = 0.0075


@dataclass(frozen=True, slots=True)
class MediumProperties:
    """A library medium in one state, or one for each temperature of an array.

    temperature [K], pressure [Pa], sound_speed [m/s], density [kg/m3], dynamic_viscosity [Pa s]; the
    uncertainties are standard and relative.
    """

    name: str
    temperature: Real
    pressure: float
    sound_speed: Real
    density: Real
    dynamic_viscosity: Real
    sound_speed_uncertainty: float
    density_uncertainty: float
    viscosity_uncertainty: float
    source: Source
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class LibraryMedium:
    """An entry of the list of media: what it needs and where its figures come from."""

    name: str
    title: str
    needs: tuple[str, ...]
    takes: tuple[str, ...]
    temperature_range: tuple[float, float]
    pressure_range: tuple[float, float]
    source: Source


def media() -> tuple[LibraryMedium, ...]:
    """Every medium of the library.

    Source
    ------
    library : each medium carries its own.
    """
    fit = _water_fit()
    return (
        LibraryMedium(
            "water",
            "Water",
            ("temperature",),
            ("pressure",),
            fit.temperature_range,
            fit.pressure_range,
            IAPWS,
        ),
    )


def medium_properties(
    name: str, temperature: Real, pressure: float | None, composition: Mapping[str, float] | None = None
) -> MediumProperties:
    """Sound speed, density and viscosity of a library medium.

    Parameters
    ----------
    name : str  slug such as `water`; case does not matter
    temperature : float or (n,) [K]
    pressure : float or None [Pa]  absolute; None takes the atmosphere, or what keeps it liquid, and says so
    composition : mapping of float, or None  such as `salinity`; refused where the medium has none

    Returns
    -------
    properties : MediumProperties  boiling or freezing is among its findings

    Raises
    ------
    UnknownName  there is no such medium; carries the nearest names
    OutOfRange   a temperature or pressure the figures do not reach; a composition the medium does not have

    Source
    ------
    library : the medium carries its own.
    """
    if name.strip().lower() != "water":
        known = [medium.name for medium in media()]
        near = tuple(difflib.get_close_matches(name.strip().lower()[:60], known, n=3, cutoff=0.5)) or tuple(
            known
        )
        raise UnknownName(
            f"The library has no medium {name[:60]!r}; it has {', '.join(known)}. Or state sound_speed, density and "
            "dynamic_viscosity.",
            field="medium.name",
            suggestions=near,
        )
    for stated in composition or {}:
        raise OutOfRange(
            f"Water has no {stated}; leave it out, or state the medium's figures.", field=f"medium.{stated}"
        )
    return _water(temperature, pressure)


def saturation_pressure(temperature: Real) -> Real:
    """Pressure at which water boils.

    ln(p/pc) = Tc/T (a1 q + a2 q^1.5 + a3 q^3 + a4 q^3.5 + a5 q^4 + a6 q^7.5), q = 1 - T/Tc.

    Parameters
    ----------
    temperature : float or (n,) [K]  273.16 to 647.096

    Returns
    -------
    pressure : as temperature [Pa]

    Source
    ------
    vapour pressure : Wagner and Pruss 1993/2002, from memory; checked against a reference library.
    """
    q = 1 - temperature / 647.096
    powers = (
        (1, -7.85951783),
        (1.5, 1.84408259),
        (3, -11.7866497),
        (3.5, 22.6807411),
        (4, -15.9618719),
        (7.5, 1.80122502),
    )
    return 22.064e6 * np.exp(647.096 / temperature * sum(a * q**n for n, a in powers))


def _water(temperature: Real, pressure: float | None) -> MediumProperties:
    fit = _water_fit()
    coldest, hottest = float(np.min(temperature)), float(np.max(temperature))
    findings: list[Finding] = []
    if coldest < fit.temperature_range[0]:
        findings.append(_frozen(coldest))
    _within(coldest, fit.temperature_range, 10.0, "medium.temperature")
    _within(max(hottest, fit.temperature_range[0]), fit.temperature_range, 0.0, "medium.temperature")
    boiling = float(saturation_pressure(max(hottest, 273.16)))
    if pressure is None:
        pressure = max(ATMOSPHERE, boiling)
        findings.append(_pressure_assumed(pressure))
    _within(pressure, fit.pressure_range, 0.0, "medium.pressure")
    if pressure < boiling * (1 - 1e-9):
        findings.append(_boiling(hottest, pressure, boiling))
        pressure = boiling
    inside = np.maximum(temperature, fit.temperature_range[0])
    speed, density, viscosity = fit.evaluate(inside, pressure)
    return MediumProperties(
        name="water",
        temperature=temperature,
        pressure=pressure,
        sound_speed=speed,
        density=density,
        dynamic_viscosity=viscosity,
        sound_speed_uncertainty=WATER_SOUND_SPEED_UNCERTAINTY,
        density_uncertainty=WATER_DENSITY_UNCERTAINTY,
        viscosity_uncertainty=WATER_VISCOSITY_UNCERTAINTY,
        source=IAPWS,
        findings=tuple(findings),
    )


def _within(value: float, limits: tuple[float, float], slack: float, field: str) -> None:
    low, high = limits
    if not low - slack <= value <= high:
        if field.endswith("temperature"):
            shown = f"{value - CELSIUS:.4g} degC; the figures for water reach from {low - CELSIUS:g} to {high - CELSIUS:g} degC"
        else:
            shown = (
                f"{value / 1e3:.4g} kPa; the figures for water reach from {low / 1e3:g} to {high / 1e3:g} kPa"
            )
        raise OutOfRange(f"{field} is {shown}.", field=field)


def _frozen(temperature: float) -> Finding:
    return Finding(
        "medium-frozen",
        "stop",
        f"Water freezes at 0 degC (a little lower under pressure) and this is {temperature - CELSIUS:.1f} degC; figures are those "
        "at 0 degC. Check the temperature, or name the mixture that keeps it liquid.",
        field="medium.temperature",
        value=temperature,
        limit=CELSIUS,
        kind="temperature",
        source=IAPWS,
    )


def _boiling(temperature: float, pressure: float, boiling: float) -> Finding:
    return Finding(
        "medium-boiling",
        "stop",
        f"At {temperature - CELSIUS:.1f} degC water boils at {boiling / 1e3:.4g} kPa, and the pressure stated is "
        f"{pressure / 1e3:.4g} kPa absolute; figures are those at the boiling pressure. Check pressure and temperature.",
        field="medium.pressure",
        value=pressure,
        limit=boiling,
        kind="pressure",
        source=SATURATION,
    )


def _pressure_assumed(pressure: float) -> Finding:
    what = "atmospheric" if pressure == ATMOSPHERE else "the pressure at which it would boil"
    return Finding(
        "pressure-assumed",
        "note",
        f"No pressure was stated; {pressure / 1e3:.5g} kPa absolute is assumed ({what}). 100 kPa more change the sound speed of "
        "water by about 0.01 %.",
        field="medium.pressure",
        value=pressure,
        kind="pressure",
        source=PRACTICE,
    )


@dataclass(frozen=True, slots=True)
class _Fit:
    """Polynomials in scaled temperature and pressure; coefficients [pressure power, temperature power]."""

    temperature_range: tuple[float, float]
    pressure_range: tuple[float, float]
    sound_speed: FloatArray
    density: FloatArray
    log_viscosity: FloatArray

    def evaluate(self, temperature: Real, pressure: float) -> tuple[Real, Real, Real]:
        """Sound speed, density and viscosity: one pressure makes each a polynomial in temperature alone."""
        low, high = self.temperature_range
        y = (2 * pressure - sum(self.pressure_range)) / (self.pressure_range[1] - self.pressure_range[0])
        powers = y ** np.arange(len(self.sound_speed))
        rows = [powers @ table for table in (self.sound_speed, self.density, self.log_viscosity)]
        if np.ndim(temperature) == 0:
            x = (2 * float(temperature) - low - high) / (high - low)
            speed, density, log_viscosity = (_horner(row, x) for row in rows)
            return speed, density, float(np.exp(log_viscosity))
        return self._of_array(np.asarray(temperature), rows)

    def _of_array(
        self, temperature: FloatArray, rows: list[FloatArray]
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        low, high = self.temperature_range
        out = np.empty((3, len(temperature)))
        for start in range(0, len(temperature), CHUNK):
            part = slice(start, start + CHUNK)
            x = (2 * temperature[part] - (low + high)) / (high - low)
            for target, row in zip(out, rows, strict=True):
                target[part] = _horner(row, x)
            np.exp(out[2, part], out=out[2, part])
        return out[0], out[1], out[2]


def _horner(coefficients: FloatArray, x: Any) -> Any:
    total = coefficients[-1] + 0.0 * x
    for c in coefficients[-2::-1]:
        total *= x
        total += c
    return total


@cache
def _water_fit() -> _Fit:
    data = json.loads((files("compute") / "data" / "water.json").read_text(encoding="utf-8"))
    tables = {name: np.array(entry["coefficients"]) for name, entry in data["properties"].items()}
    return _Fit(
        tuple(data["temperature_k"]),
        tuple(data["pressure_pa"]),
        tables["sound_speed"],
        tables["density"],
        tables["dynamic_viscosity"],
    )
