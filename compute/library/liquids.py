"""Liquids of the library: names, ranges of validity and uncertainties."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from compute.base.sources import Source, provenance_named
from compute.library.crude_oil import BATZLE_WANG, crude_oil
from compute.library.fitted_properties import Fit, Range, Real, State

DATA_FILES = ("water.json", "seawater.json", "liquids.json", "mixtures.json")


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainties, relative; that of the sound speed grows by `per_kelvin` away from a temperature [K]."""

    sound_speed: float
    density: float
    dynamic_viscosity: float
    per_kelvin: float = 0.0
    reference_temperature: float = 0.0

    def of_sound_speed(self, *temperatures: float) -> float:
        """The largest among the temperatures [K]."""
        away = max(abs(temperature - self.reference_temperature) for temperature in temperatures)
        return float((self.sound_speed**2 + (self.per_kelvin * away) ** 2) ** 0.5)


@dataclass(frozen=True, slots=True)
class Liquid:
    """A liquid of the library: ranges of temperature [K], pressure [Pa] and composition, and its functions.

    `composition` names the component that must be entered, empty if none: `salinity` [g/kg], `mass_fraction` or
    `api_gravity` [-]. `boiling_pressure` [Pa] is 0, `freezing_temperature` [K] is 0 where not known.
    """

    name: str
    title: str
    composition: str
    composition_range: Range
    temperature_range: Range
    pressure_range: Range
    evaluate: Callable[[Real, float, float], State]
    boiling_pressure: Callable[[float], float]
    freezing_temperature: Callable[[float], float]
    uncertainty: Uncertainty
    source: Source
    note: str = ""


@cache
def liquids() -> Mapping[str, Liquid]:
    """Every liquid by its name.

    Source
    ------
    library : each liquid carries its own.
    """
    read = [_liquid(entry) for file in DATA_FILES for entry in _entries(file)]
    return {one.name: one for one in (*read, _crude_oil())}


def _entries(file: str) -> list[dict[str, Any]]:
    entries: list[dict[str, Any]] = json.loads(
        (files("compute.library.data") / file).read_text(encoding="utf-8")
    )
    return entries


def _liquid(entry: dict[str, Any]) -> Liquid:
    fit = Fit.read(entry)
    return Liquid(
        name=entry["name"],
        title=entry["title"],
        composition=entry.get("composition", {}).get("name", ""),
        composition_range=fit.composition_range,
        temperature_range=fit.temperature_range,
        pressure_range=fit.pressure_range,
        evaluate=fit.evaluate,
        boiling_pressure=fit.boiling_pressure,
        freezing_temperature=fit.freezing_temperature,
        uncertainty=Uncertainty(**entry["uncertainty"]),
        source=Source(entry["source"], provenance_named(entry["provenance"])),
        note=entry["note"],
    )


def _crude_oil() -> Liquid:
    """Ranges and uncertainties are rounded from how the correlations scatter, from memory."""
    return Liquid(
        name="crude-oil",
        title="Crude oil",
        composition="api_gravity",
        composition_range=(5.0, 55.0),
        temperature_range=(283.15, 423.15),
        pressure_range=(600.0, 50e6),
        evaluate=crude_oil,
        boiling_pressure=lambda temperature: 0.0,
        freezing_temperature=lambda composition: 0.0,
        uncertainty=Uncertainty(0.015, 0.01, 0.3),
        source=BATZLE_WANG,
        note="without dissolved gas; wax and water are not in the formulas",
    )
