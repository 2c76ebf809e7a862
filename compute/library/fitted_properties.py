"""Tables of fitted polynomials: properties of a liquid by composition, pressure and temperature."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Real = float | FloatArray
Range = tuple[float, float]
State = tuple[Real, Real, Real]

# A chunk of 8 kB columns stays in the processor's cache through all steps of Horner's rule.
CHUNK = 8192
PROPERTIES = ("sound_speed", "density", "dynamic_viscosity")


@dataclass(frozen=True, slots=True)
class Fit:
    """Polynomials in variables scaled to -1..1; coefficients [composition power, pressure power, temperature power].

    Sound speed and density are fitted as they are, viscosity and vapour pressure by their logarithms.
    """

    composition_range: Range
    pressure_range: Range
    temperature_range: Range
    tables: tuple[FloatArray, FloatArray, FloatArray]
    log_saturation: FloatArray
    freezing: FloatArray

    @classmethod
    def read(cls, entry: Mapping[str, Any]) -> Fit:
        """The fit of an entry of a data file."""
        tables = [np.array(entry["properties"][name]["coefficients"]) for name in PROPERTIES]
        return cls(
            _range(entry.get("composition", {}).get("range", (0.0, 0.0))),
            _range(entry["pressure_pa"]),
            _range(entry["temperature_k"]),
            (tables[0], tables[1], tables[2]),
            np.array(entry.get("log_saturation", ())),
            np.array(entry.get("freezing_k", ())),
        )

    def evaluate(self, temperature: Real, pressure: float, composition: float = 0.0) -> State:
        """Sound speed, density and viscosity: at one pressure and composition each is a polynomial in temperature alone."""
        y, z = _scaled(pressure, self.pressure_range), _scaled(composition, self.composition_range)
        rows = [_powers(y, table.shape[1]) @ (_powers(z, len(table)) @ _flat(table)) for table in self.tables]
        if np.ndim(temperature) == 0:
            x = _scaled(float(temperature), self.temperature_range)
            speed, density, log_viscosity = (_horner(row, x) for row in rows)
            return speed, density, float(np.exp(log_viscosity))
        return self._of_array(np.asarray(temperature), rows)

    def boiling_pressure(self, temperature: float) -> float:
        """Pressure [Pa] at which the first bubble forms; 0 if the liquid is not known to boil."""
        if not len(self.log_saturation):
            return 0.0
        return float(np.exp(_horner(self.log_saturation, _scaled(temperature, self.temperature_range))))

    def freezing_temperature(self, composition: float = 0.0) -> float:
        """Temperature [K] at which the liquid freezes at atmospheric pressure; 0 if it is not known to."""
        if not len(self.freezing):
            return 0.0
        return float(_horner(self.freezing, _scaled(composition, self.composition_range)))

    def _of_array(self, temperature: FloatArray, rows: list[FloatArray]) -> State:
        out = np.empty((3, len(temperature)))
        for start in range(0, len(temperature), CHUNK):
            part = slice(start, start + CHUNK)
            x = _scaled(temperature[part], self.temperature_range)
            for target, row in zip(out, rows, strict=True):
                target[part] = _horner(row, x)
            np.exp(out[2, part], out=out[2, part])
        return out[0], out[1], out[2]


def _horner(coefficients: FloatArray, x: Any) -> Any:
    """A polynomial's value, its coefficients from the lowest power up."""
    total = coefficients[-1] + 0.0 * x
    for c in coefficients[-2::-1]:
        total *= x
        total += c
    return total


def _scaled(value: Any, limits: Range) -> Any:
    low, high = limits
    return (2 * value - (low + high)) / (high - low) if high > low else 0.0 * value


def _powers(x: float, count: int) -> FloatArray:
    return np.asarray(x ** np.arange(count))


def _flat(table: FloatArray) -> FloatArray:
    """The table seen so that a vector over compositions leaves [pressure power, temperature power]."""
    return table.transpose(1, 0, 2)


def _range(pair: Any) -> Range:
    return float(pair[0]), float(pair[1])
