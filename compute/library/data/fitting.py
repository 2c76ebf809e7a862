"""What the generators of media tables share: nodes, least-squares polynomials, measured errors, and the file form.

A table holds, for each property, coefficients [composition power, pressure power, temperature power] of plain powers of
variables scaled to -1..1, so that at one composition and pressure it collapses to one polynomial in temperature.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Entry = dict[str, Any]
Range = tuple[float, float]
# Columns: composition, pressure, temperature -> sound speed, density, dynamic viscosity.
Reference = Callable[[FloatArray], FloatArray]
# What is fitted of each property: its logarithm where relative error counts.
FORMS = {"sound_speed": "plain", "density": "plain", "dynamic_viscosity": "log"}
SATURATION_DEGREE = 14
SEED = 95
FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class Region:
    """Where a liquid is fitted: ranges, the degrees in (composition, pressure, temperature), the lowest liquid pressure
    [Pa] by temperature, and the coldest liquid [K] by composition."""

    temperature: Range
    pressure: Range
    degrees: tuple[int, int, int]
    composition: Range = (0.0, 0.0)
    boiling: Callable[[float], float] = field(default=lambda temperature: 0.0)
    freezing: Callable[[float], float] = field(default=lambda share: 0.0)

    def points(self, shares: FloatArray) -> FloatArray:
        """Points of the liquid from shares 0..1 of each range."""
        rows = []
        for z, y, x in shares:
            composition = self.composition[0] + z * (self.composition[1] - self.composition[0])
            coldest = max(self.temperature[0], self.freezing(composition))
            temperature = coldest + x * (self.temperature[1] - coldest)
            lowest = max(self.pressure[0], self.boiling(temperature) * (1 + 1e-9))
            rows.append((composition, lowest + y * (self.pressure[1] - lowest), temperature))
        return np.array(rows)

    def scaled(self, points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Each variable on -1..1; one that does not vary is 0."""
        z, y, x = points.T
        return _scaled(z, self.composition), _scaled(y, self.pressure), _scaled(x, self.temperature)


def _scaled(values: FloatArray, limits: Range) -> FloatArray:
    low, high = limits
    return (2 * values - low - high) / (high - low) if high > low else 0 * values


def chebyshev_shares(count: int) -> FloatArray:
    """Chebyshev nodes on 0..1; one node is the middle."""
    return (np.cos(np.pi * (np.arange(count) + 0.5) / count) + 1) / 2


def grid(region: Region) -> FloatArray:
    """Return the points of a region that a polynomial is fitted to."""
    counts = [max(1, 2 * degree + 2) if degree else 1 for degree in region.degrees]
    counts[2] = 3 * (region.degrees[2] // 3 + 1) + region.degrees[2]
    mesh = np.meshgrid(*(chebyshev_shares(count) for count in counts), indexing="ij")
    return region.points(np.stack([axis.ravel() for axis in mesh], axis=1))


def to_powers(coefficients: FloatArray) -> FloatArray:
    """Chebyshev coefficients to those of plain powers, along every axis."""
    for axis in range(coefficients.ndim):
        size = coefficients.shape[axis]

        def powers(row: FloatArray, size: int = size) -> FloatArray:
            plain = chebyshev.cheb2poly(row)
            return np.pad(plain, (0, size - len(plain)))

        coefficients = np.apply_along_axis(powers, axis, coefficients)
    return coefficients


def fit(region: Region, degrees: tuple[int, int, int], points: FloatArray, values: FloatArray) -> FloatArray:
    """Return the coefficients of the least-squares polynomial, by powers."""
    basis = chebyshev.chebvander3d(*region.scaled(points), list(degrees))
    solution = np.asarray(np.linalg.lstsq(basis, values, rcond=None)[0], dtype=np.float64)
    return to_powers(solution.reshape([degree + 1 for degree in degrees]))


def properties(
    region: Region,
    reference: Reference,
    cloud: int = 1500,
    temperature_degrees: Mapping[str, int] | None = None,
) -> dict[str, Any]:
    """Coefficients of each property, with the largest relative error on a cloud of other points.

    `temperature_degrees` lowers the degree where that is enough: evaluation costs a step a degree and reading.
    """
    nodes = grid(region)
    check = region.points(np.random.default_rng(SEED).uniform(0, 1, (cloud, 3)))
    values, expected = reference(nodes), reference(check)
    out = {}
    for i, (name, form) in enumerate(FORMS.items()):
        of = np.log if form == "log" else np.asarray
        degrees = (*region.degrees[:2], (temperature_degrees or {}).get(name, region.degrees[2]))
        coefficients = fit(region, degrees, nodes, of(values[:, i]))
        found = np.polynomial.polynomial.polyval3d(*region.scaled(check), coefficients)
        error = np.abs((np.exp(found) if form == "log" else found) / expected[:, i] - 1).max()
        out[name] = {
            "form": form,
            "largest_relative_error": float(f"{error:.3g}"),
            "coefficients": coefficients,
        }
    return out


def saturation(temperature: Range, boiling: Callable[[float], float]) -> FloatArray:
    """Coefficients of the logarithm of the vapour pressure [Pa] in scaled temperature."""
    low, high = temperature
    x = 2 * chebyshev_shares(3 * SATURATION_DEGREE) - 1
    logs = np.log([boiling(low + (share + 1) / 2 * (high - low)) for share in x])
    coefficients = chebyshev.cheb2poly(chebyshev.chebfit(x, logs, SATURATION_DEGREE))
    return np.asarray(coefficients, dtype=np.float64)


def write(file: str, makers: Mapping[str, Callable[[], Entry]], names: Sequence[str] = ()) -> None:
    """Make the named entries, or all of them, and write the file; entries that are not named stay as they are."""
    if unknown := sorted(set(names) - makers.keys()):
        raise SystemExit(f"{file} has no entry {', '.join(unknown)}. Known: {', '.join(makers)}.")
    path = FOLDER / file
    kept: dict[str, Entry] = {}
    if names:
        kept = {entry["name"]: entry for entry in json.loads(path.read_text(encoding="utf-8"))}
    wanted = names or makers
    entries = {
        name: make() if name in wanted else kept[name]
        for name, make in makers.items()
        if name in wanted or name in kept
    }
    for name in wanted:
        errors = {key: value["largest_relative_error"] for key, value in entries[name]["properties"].items()}
        print(name, errors)
    path.write_text(text_of(list(entries.values())), encoding="utf-8")


def text_of(entries: list[Entry]) -> str:
    """Return entries as JSON, one row of coefficients per line."""
    return _text(entries) + "\n"


def _text(value: Any, indent: str = "") -> str:
    deeper = indent + " "
    if isinstance(value, np.ndarray):
        value = value.tolist()
    if isinstance(value, dict):
        rows = [f"{deeper}{json.dumps(key)}: {_text(item, deeper)}" for key, item in value.items()]
        return "{\n" + ",\n".join(rows) + f"\n{indent}}}"
    if isinstance(value, list) and value and isinstance(value[0], list | dict):
        return "[\n" + ",\n".join(deeper + _text(item, deeper) for item in value) + f"\n{indent}]"
    return json.dumps(value)
