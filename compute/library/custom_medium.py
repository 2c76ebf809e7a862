"""Custom medium of a user: a small table by temperature, interpolated between its rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Finding, finding, quantity
from compute.base.sources import Source
from compute.library.fitted_properties import FloatArray, Real
from compute.library.media import TEMPERATURE_SLACK, MediumProperties

# ASTM D341 adds 0.7 mm2/s and needs the sum well above 1 mm2/s.
MIN_VISCOSITY_D341 = 0.4e-6


@dataclass(frozen=True, slots=True)
class MediumTable:
    """Rows by rising temperature [K]: sound_speed [m/s], density [kg/m3], dynamic_viscosity [Pa s]; (n,) arrays of two rows
    or more at one `pressure` [Pa]. Uncertainties are standard and relative."""

    name: str
    pressure: float
    temperature: FloatArray
    sound_speed: FloatArray
    density: FloatArray
    dynamic_viscosity: FloatArray
    sound_speed_uncertainty: float
    density_uncertainty: float
    viscosity_uncertainty: float
    source: Source


def table_properties(table: MediumTable, temperature: Real) -> MediumProperties:
    """Sound speed, density and viscosity between the rows of a table.

    Sound speed and density by monotone cubics (no overshoot between rows); viscosity v = viscosity/density by straight lines
    of log log (v + 0.7 mm2/s) in log T, or, for thin liquids, of log v in 1/T.

    Parameters
    ----------
    table : MediumTable
    temperature : float or (n,) [K]

    Returns
    -------
    properties : MediumProperties  a temperature a little outside the table is among its findings

    Raises
    ------
    NotEnough   fewer than two rows
    OutOfRange  rows not in rising order or not above 0; a temperature more than 10 K outside the table

    Source
    ------
    interpolation : Fritsch and Carlson 1980, monotone cubics; ASTM D341, viscosity-temperature charts (from memory).
    """
    if len(table.temperature) < 2:
        raise NotEnough(field="medium.table", variant="table-rows")
    _check(table)
    low, high = float(table.temperature[0]), float(table.temperature[-1])
    findings = _outside(table, float(np.min(temperature)), float(np.max(temperature)))
    inside = np.clip(temperature, low, high)
    density = _monotone(table.temperature, table.density, inside)
    return MediumProperties(
        name=table.name,
        temperature=temperature,
        pressure=table.pressure,
        sound_speed=_as(temperature, _monotone(table.temperature, table.sound_speed, inside)),
        density=_as(temperature, density),
        dynamic_viscosity=_as(temperature, density * _kinematic(table, inside)),
        sound_speed_uncertainty=table.sound_speed_uncertainty,
        density_uncertainty=table.density_uncertainty,
        viscosity_uncertainty=table.viscosity_uncertainty,
        source=table.source,
        findings=tuple(findings),
    )


def _check(table: MediumTable) -> None:
    rows = (table.temperature, table.sound_speed, table.density, table.dynamic_viscosity)
    if len({len(row) for row in rows}) > 1:
        raise NotEnough(field="medium.table", variant="table-columns")
    if not all(np.all(np.isfinite(row)) and np.all(row > 0) for row in rows):
        raise OutOfRange(field="medium.table", variant="table-values")
    if not np.all(np.diff(table.temperature) > 0):
        raise OutOfRange(field="medium.table", variant="table-order")


def _outside(table: MediumTable, coldest: float, hottest: float) -> list[Finding]:
    findings = []
    low, high = float(table.temperature[0]), float(table.temperature[-1])
    for value, end, away in ((coldest, low, low - coldest), (hottest, high, hottest - high)):
        if not away <= TEMPERATURE_SLACK:
            raise OutOfRange(
                field="medium.temperature",
                variant="medium-range",
                medium=table.name,
                value=quantity(value, "temperature"),
                at_least=quantity(low, "temperature"),
                at_most=quantity(high, "temperature"),
            )
        if away > 0:
            findings.append(
                finding(
                    "medium-outside-range/table",
                    "warning",
                    "medium.temperature",
                    source=table.source,
                    medium=table.name,
                    temperature=quantity(value, "temperature"),
                    limit=quantity(end, "temperature"),
                )
            )
    return findings


def _monotone(x: FloatArray, y: FloatArray, at: Real) -> FloatArray:
    from scipy.interpolate import PchipInterpolator  # half a second to import, so only where a table is used

    return np.asarray(PchipInterpolator(x, y)(at), dtype=np.float64)


def _kinematic(table: MediumTable, at: Real) -> FloatArray:
    viscosity = table.dynamic_viscosity / table.density
    if np.min(viscosity) < MIN_VISCOSITY_D341:
        return np.asarray(np.exp(np.interp(-1 / at, -1 / table.temperature, np.log(viscosity))))
    straight = np.log10(np.log10(viscosity * 1e6 + 0.7))
    between = np.interp(np.log10(at), np.log10(table.temperature), straight)
    return np.asarray(1e-6 * (10 ** (10**between) - 0.7))


def _as(temperature: Real, values: FloatArray) -> Real:
    return float(values) if np.ndim(temperature) == 0 else values
