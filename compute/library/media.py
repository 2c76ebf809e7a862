"""Liquids: sound speed, density and viscosity by temperature, pressure and composition."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from compute.base.errors import NotEnough, OutOfRange, UnknownName
from compute.base.messages import Finding, finding, quantity, term
from compute.base.sources import Source
from compute.library.fitted_properties import Real
from compute.library.liquids import Liquid, liquids

ATMOSPHERE = 101_325.0
CELSIUS = 273.15
# Up to this far outside their range, the properties at its end are used, with a finding.
TEMPERATURE_SLACK = 10.0
# At or above this relative standard uncertainty of the sound speed, unverified properties are a warning.
PROPERTY_UNCERTAINTY_CAUTION = 0.005


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
    """An entry of the list of media: required inputs, ranges, uncertainties and source.

    temperature_range [K], pressure_range [Pa], composition_range [g/kg for a salinity, else -] or None; the
    uncertainties are standard and relative, that of the sound speed in the middle of the range.
    """

    name: str
    title: str
    needs: tuple[str, ...]
    takes: tuple[str, ...]
    temperature_range: tuple[float, float]
    pressure_range: tuple[float, float]
    composition_range: tuple[float, float] | None
    sound_speed_uncertainty: float
    density_uncertainty: float
    viscosity_uncertainty: float
    source: Source
    note: str


def media() -> tuple[LibraryMedium, ...]:
    """Every medium of the library.

    Source
    ------
    library : each medium carries its own.
    """
    return tuple(
        LibraryMedium(
            one.name,
            one.title,
            ("temperature", one.composition) if one.composition else ("temperature",),
            ("pressure",),
            one.temperature_range,
            one.pressure_range,
            one.composition_range if one.composition else None,
            one.uncertainty.of_sound_speed(sum(one.temperature_range) / 2),
            one.uncertainty.density,
            one.uncertainty.dynamic_viscosity,
            one.source,
            one.note,
        )
        for one in liquids().values()
    )


def is_medium(name: str) -> bool:
    """Whether the library has a medium of that name.

    Parameters
    ----------
    name : str  slug in lower case

    Returns
    -------
    known : bool

    Source
    ------
    library : each medium carries its own.
    """
    return name in liquids()


def medium_properties(
    name: str, temperature: Real, pressure: float | None, composition: Mapping[str, float] | None = None
) -> MediumProperties:
    """Sound speed, density and viscosity of a library medium.

    Parameters
    ----------
    name : str  slug such as `water`; case does not matter
    temperature : float or (n,) [K]
    pressure : float or None [Pa]  absolute; None uses the atmosphere, or the boiling pressure if higher, with a finding
    composition : mapping of float, or None  `salinity` [g/kg], `mass_fraction` or `api_gravity` [-], for a medium that has one

    Returns
    -------
    properties : MediumProperties  its findings report boiling, freezing, values outside the range and uncertain properties

    Raises
    ------
    UnknownName  the medium is unknown; carries the nearest names
    NotEnough    the composition is missing
    OutOfRange   a temperature, pressure or composition outside the ranges; a component the medium does not have

    Source
    ------
    library : the medium carries its own.
    """
    liquid = _named(name)
    share = _share(liquid, composition or {})
    coldest, hottest = float(np.min(temperature)), float(np.max(temperature))
    low, high = liquid.temperature_range
    _reached(coldest, hottest, liquid)
    freezing = liquid.freezing_temperature(share)
    floor = max(low, freezing)
    findings = _outside(coldest, hottest, floor, freezing, liquid)
    boiling = liquid.boiling_pressure(min(max(hottest, floor), high))
    if pressure is None:
        pressure = max(ATMOSPHERE, boiling)
        findings.append(_pressure_assumed(pressure))
    _pressure_reached(pressure, liquid)
    if pressure < boiling * (1 - 1e-9):
        findings.append(_boiling(liquid, hottest, pressure, boiling))
        pressure = boiling
    findings += _uncertain_properties(liquid, coldest, hottest)
    inside = _clipped(temperature, floor, high)
    speed, density, viscosity = liquid.evaluate(inside, pressure, share)
    return MediumProperties(
        name=liquid.name,
        temperature=temperature,
        pressure=pressure,
        sound_speed=speed,
        density=density,
        dynamic_viscosity=viscosity,
        sound_speed_uncertainty=liquid.uncertainty.of_sound_speed(coldest, hottest),
        density_uncertainty=liquid.uncertainty.density,
        viscosity_uncertainty=liquid.uncertainty.dynamic_viscosity,
        source=liquid.source,
        findings=tuple(findings),
    )


def saturation_pressure(temperature: float, name: str = "water") -> float:
    """Pressure at which a library medium boils.

    Parameters
    ----------
    temperature : float [K]  within the medium's range
    name : str  slug

    Returns
    -------
    pressure : float [Pa]  0 if it is not known to boil

    Raises
    ------
    UnknownName  the medium is unknown

    Source
    ------
    phase equilibrium : that of the medium's equation of state, fitted.
    """
    return _named(name).boiling_pressure(temperature)


def _named(name: str) -> Liquid:
    known, wanted = liquids(), name.strip().lower()
    if wanted in known:
        return known[wanted]
    near = tuple(difflib.get_close_matches(wanted[:60], known, n=3, cutoff=0.5))
    raise UnknownName(field="medium.name", variant="medium", suggestions=near, name=name[:60])


def _share(liquid: Liquid, composition: Mapping[str, float]) -> float:
    """The composition of the liquid as one number; 0 for a liquid without one."""
    for stated in composition:
        if stated != liquid.composition:
            raise OutOfRange(field=f"medium.{stated}", variant="not-of-this-medium", medium=liquid.title)
    if not liquid.composition:
        return 0.0
    field = f"medium.{liquid.composition}"
    if liquid.composition not in composition:
        raise NotEnough(field=field, variant="composition", medium=liquid.title)
    share = float(composition[liquid.composition])
    low, high = liquid.composition_range
    if not low <= share <= high:
        kind = "salinity" if liquid.composition == "salinity" else "number"
        raise _outside_range(field, liquid, share, (low, high), kind)
    return share


def _reached(coldest: float, hottest: float, liquid: Liquid) -> None:
    low, high = liquid.temperature_range
    for value in (coldest, hottest):
        if not low - TEMPERATURE_SLACK <= value <= high + TEMPERATURE_SLACK:
            raise _outside_range("medium.temperature", liquid, value, liquid.temperature_range, "temperature")


def _pressure_reached(pressure: float, liquid: Liquid) -> None:
    low, high = liquid.pressure_range
    if not low <= pressure <= high:
        raise _outside_range("medium.pressure", liquid, pressure, liquid.pressure_range, "pressure")


def _outside_range(
    field: str, liquid: Liquid, value: float, limits: tuple[float, float], kind: str
) -> OutOfRange:
    return OutOfRange(
        field=field,
        variant="medium-range",
        medium=liquid.title,
        value=quantity(value, kind),
        at_least=quantity(limits[0], kind),
        at_most=quantity(limits[1], kind),
    )


def _clipped(temperature: Real, low: float, high: float) -> Real:
    return (
        min(max(float(temperature), low), high)
        if np.ndim(temperature) == 0
        else np.clip(temperature, low, high)
    )


def _outside(coldest: float, hottest: float, floor: float, freezing: float, liquid: Liquid) -> list[Finding]:
    """Findings on freezing and on temperatures slightly outside the range of the properties."""
    findings = []
    if coldest < freezing:
        findings.append(_frozen(liquid, coldest, freezing, floor))
    elif coldest < floor:
        findings.append(_beyond(liquid, coldest, floor))
    if hottest > liquid.temperature_range[1]:
        findings.append(_beyond(liquid, hottest, liquid.temperature_range[1]))
    return findings


def _frozen(liquid: Liquid, temperature: float, freezing: float, floor: float) -> Finding:
    return finding(
        "medium-frozen",
        "error",
        "medium.temperature",
        source=liquid.source,
        medium=liquid.title,
        temperature=quantity(temperature, "temperature"),
        freezing=quantity(freezing, "temperature"),
        used=quantity(floor, "temperature"),
    )


def _beyond(liquid: Liquid, temperature: float, end: float) -> Finding:
    return finding(
        "medium-outside-range",
        "warning",
        "medium.temperature",
        source=liquid.source,
        medium=liquid.title,
        temperature=quantity(temperature, "temperature"),
        limit=quantity(end, "temperature"),
    )


def _boiling(liquid: Liquid, temperature: float, pressure: float, boiling: float) -> Finding:
    return finding(
        "medium-boiling",
        "error",
        "medium.pressure",
        source=liquid.source,
        medium=liquid.title,
        temperature=quantity(temperature, "temperature"),
        pressure=quantity(pressure, "pressure"),
        boiling=quantity(boiling, "pressure"),
    )


def _pressure_assumed(pressure: float) -> Finding:
    return finding(
        "pressure-assumed",
        "info",
        "medium.pressure",
        pressure=quantity(pressure, "pressure"),
        assumed=term("atmospheric-pressure" if pressure == ATMOSPHERE else "boiling-pressure"),
    )


def _uncertain_properties(liquid: Liquid, coldest: float, hottest: float) -> list[Finding]:
    """Return a finding if the properties are unverified or vary from batch to batch."""
    uncertainty = liquid.uncertainty.of_sound_speed(coldest, hottest)
    if liquid.source.provenance != "unverified":
        return []
    return [
        finding(
            "medium-figures-uncertain",
            "warning" if uncertainty >= PROPERTY_UNCERTAINTY_CAUTION else "info",
            "medium.name",
            source=liquid.source,
            medium=liquid.title,
            sound_speed_uncertainty=2 * uncertainty,
            viscosity_uncertainty=2 * liquid.uncertainty.dynamic_viscosity,
        )
    ]
