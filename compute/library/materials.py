"""Materials of pipes, linings and wedges, with their sound speeds."""

from __future__ import annotations

import csv
import difflib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from compute.base.errors import UnknownName
from compute.base.sources import Source, provenance_named

Range = tuple[float, float]
EXPANSION = Source(
    "Kaye and Laby, Tables of Physical and Chemical Constants, 16th ed., thermal expansion near 20 degC, rounded",
    "unverified",
)
SPEED_PER_KELVIN = Source(
    "typical values of handbooks of non-destructive testing for the group of materials; standard uncertainty 40 % of the value",
    "unverified",
)
# Standard uncertainty of a coefficient of the library, relative; a default value.
COEFFICIENT_UNCERTAINTY = 0.4
# Temperature of the sound speeds of the library [K].
REFERENCE_TEMPERATURE = 293.15
# A sound speed never falls below this part of its value at 20 degC; a default value that limits the straight line.
MIN_SHARE_OF_SPEED = 0.3


@dataclass(frozen=True, slots=True)
class Solid:
    """A material: sound speeds [m/s] with the lowest and highest value of the sources, density [kg/m3],
    roughness of a new surface [m], linear expansion [1/K], changes of the sound speeds with temperature [m/s/K], from 20 degC.
    None where it is not known or not meant."""

    name: str
    title: str
    use: str
    longitudinal_sound_speed: float
    longitudinal_range: Range
    shear_sound_speed: float | None
    shear_range: Range | None
    density: float | None
    roughness: float | None
    roughness_range: Range | None
    thermal_expansion: float | None
    source_sound: Source
    source_roughness: Source | None
    note: str
    longitudinal_per_kelvin: float | None = None
    shear_per_kelvin: float | None = None
    source_expansion: Source | None = None


def solid(name: str, field: str = "material") -> Solid:
    """The library's material of that name.

    Parameters
    ----------
    name : str  slug such as `carbon-steel`; case does not matter
    field : str  request path, named in the error

    Returns
    -------
    solid : Solid

    Raises
    ------
    UnknownName  there is none; carries the nearest names

    Source
    ------
    library : each material carries its own.
    """
    known = _library()
    found = known.get(name.strip().lower())
    if found is None:
        near = tuple(difflib.get_close_matches(name.strip().lower()[:60], known, n=3, cutoff=0.5))
        raise UnknownName(field=field, variant="material", suggestions=near, name=name[:60])
    return found


def solids() -> tuple[Solid, ...]:
    """Every material of the library.

    Source
    ------
    library : each material carries its own.
    """
    return tuple(_library().values())


def speed_at(speed: float, per_kelvin: float | None, temperature: Any) -> Any:
    """A sound speed of the library at another temperature than 20 degC.

    Parameters
    ----------
    speed : float [m/s]  at 20 degC
    per_kelvin : float or None [m/s/K]  None: not known, the speed is used unchanged
    temperature : float, (n,) or None [K]  None: not known, the speed is used unchanged

    Returns
    -------
    speed : as temperature [m/s]

    Source
    ------
    linear change : see SPEED_PER_KELVIN.
    """
    if per_kelvin is None or temperature is None:
        return speed
    moved = speed + per_kelvin * (temperature - REFERENCE_TEMPERATURE)
    return np.maximum(moved, MIN_SHARE_OF_SPEED * speed)[()]


def is_solid(name: str) -> bool:
    """Whether the library has a material of that name.

    Parameters
    ----------
    name : str  slug in lower case

    Returns
    -------
    known : bool

    Source
    ------
    library : each material carries its own.
    """
    return name in _library()


@cache
def _library() -> dict[str, Solid]:
    text = (files("compute.library.data") / "solids.csv").read_text(encoding="utf-8")
    return {row["name"]: _solid(row) for row in csv.DictReader(text.splitlines())}


def _solid(row: dict[str, str]) -> Solid:
    return Solid(
        name=row["name"],
        title=row["title"],
        use=row["use"],
        longitudinal_sound_speed=float(row["longitudinal_m_s"]),
        longitudinal_range=(float(row["longitudinal_low"]), float(row["longitudinal_high"])),
        shear_sound_speed=_number(row["shear_m_s"]),
        shear_range=_range(row["shear_low"], row["shear_high"], 1.0),
        density=_number(row["density_kg_m3"]),
        roughness=_number(row["roughness_mm"], 1e-3),
        roughness_range=_range(row["roughness_low_mm"], row["roughness_high_mm"], 1e-3),
        thermal_expansion=_number(row["expansion_per_k"]),
        source_sound=Source(row["sound_source"], provenance_named(row["sound_provenance"])),
        source_roughness=_source(row["roughness_source"], row["roughness_provenance"]),
        note=row["note"],
        longitudinal_per_kelvin=_number(row["longitudinal_per_k"]),
        shear_per_kelvin=_number(row["shear_per_k"]),
        source_expansion=EXPANSION if row["expansion_per_k"] else None,
    )


def _source(text: str, provenance: str) -> Source | None:
    return Source(text, provenance_named(provenance)) if text else None


def _number(text: str, scale: float = 1.0) -> float | None:
    return float(text) * scale if text else None


def _range(low: str, high: str, scale: float) -> Range | None:
    return (float(low) * scale, float(high) * scale) if low and high else None
