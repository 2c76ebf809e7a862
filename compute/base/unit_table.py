"""Closed table of units: every accepted spelling and its conversion to SI.

The unit library fills the table once, when a unit is first needed, and never parses text that a person typed: it reads
"1 1/2 inch" as half an inch and "1,5 m" as 15 m, and some texts take it minutes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any, Literal

from compute.base.errors import UnitUnknown
from compute.base.messages import term

System = Literal["metric", "us"]

ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: its SI unit, the units of metric and US responses, and the kind of its differences.

    `units` maps what the unit library calls a unit to the ways people write it, the preferred one first.
    """

    name: str
    si: str
    metric: str
    us: str
    units: Mapping[str, tuple[str, ...]]
    difference: str

    def unit_of(self, system: System) -> str:
        """The unit of a response."""
        return self.metric if system == "metric" else self.us

    @property
    def accepted(self) -> str:
        """The units a request may use, each in its preferred spelling."""
        return ", ".join(spellings[0] for spellings in self.units.values())


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit with the most exact conversion in floats: SI value = (value + shift) * multiplier / divisor.

    An inch is 127/5000 m: one product and one quotient bring 8.625 in back as 8.625 in.
    """

    multiplier: float
    divisor: float
    shift: float


_LENGTHS = {
    "millimeter": ("mm",),
    "centimeter": ("cm",),
    "meter": ("m",),
    "kilometer": ("km",),
    "micrometer": ("um", "µm", "μm"),
    "inch": ("in", "inch", "inches"),
    "foot": ("ft", "foot", "feet"),
    "thou": ("mil", "thou"),
}
_SPEEDS = {
    "meter/second": ("m/s",),
    "millimeter/second": ("mm/s",),
    "kilometer/second": ("km/s",),
    "foot/second": ("ft/s", "fps"),
    "inch/second": ("in/s",),
    "inch/microsecond": ("in/us", "in/µs", "in/μs"),
}
_VOLUME_FLOWS = {
    "meter**3/hour": ("m3/h", "m³/h", "m^3/h", "m3/hr"),
    "meter**3/second": ("m3/s", "m³/s", "m^3/s"),
    "liter/second": ("l/s", "L/s"),
    "liter/minute": ("l/min", "L/min"),
    "liter/hour": ("l/h", "L/h"),
    "megaliter/day": ("Ml/d", "ML/d"),
    "gallon/minute": ("US gal/min", "US gpm", "gpm", "gal/min"),
    "gallon/hour": ("US gal/h",),
    "imperial_gallon/minute": ("imp gal/min",),
    "foot**3/second": ("ft3/s", "ft³/s", "ft^3/s", "cfs"),
    "foot**3/minute": ("ft3/min", "ft³/min", "ft^3/min", "cfm"),
}
_TEMPERATURES = {
    "degree_Celsius": ("degC", "°C", "deg C", "C"),
    "degree_Fahrenheit": ("degF", "°F", "deg F", "F"),
    "kelvin": ("K",),
}
_TEMPERATURE_DIFFERENCES = {
    "kelvin": ("K",),
    "delta_degree_Celsius": ("degC", "°C", "deg C"),
    "delta_degree_Fahrenheit": ("degF", "°F", "deg F"),
}
_TIMES = {
    "microsecond": ("us", "µs", "μs"),
    "nanosecond": ("ns",),
    "picosecond": ("ps",),
    "millisecond": ("ms",),
    "second": ("s",),
}
_DURATIONS = {
    **_TIMES,
    "minute": ("min",),
    "hour": ("h", "hr"),
    "day": ("d",),
}
_PRESSURES = {
    "kilopascal": ("kPa",),
    "pascal": ("Pa",),
    "megapascal": ("MPa",),
    "bar": ("bar",),
    "millibar": ("mbar",),
    "psi": ("psi", "psia"),
    "standard_atmosphere": ("atm",),
}
_DENSITIES = {
    "kilogram/meter**3": ("kg/m3", "kg/m³", "kg/m^3"),
    "gram/centimeter**3": ("g/cm3", "g/cm³", "g/cm^3"),
    "kilogram/liter": ("kg/l", "kg/L"),
    "pound/foot**3": ("lb/ft3", "lb/ft³", "lb/ft^3"),
}
_VISCOSITIES = {
    "millipascal*second": ("mPa.s", "mPa·s", "mPa s"),
    "pascal*second": ("Pa.s", "Pa·s", "Pa s"),
    "micropascal*second": ("uPa.s", "µPa.s", "μPa.s", "µPa·s"),
    "centipoise": ("cP",),
    "poise": ("P",),
    "pound/foot/second": ("lb/(ft.s)",),
}
_FREQUENCIES = {"megahertz": ("MHz",), "kilohertz": ("kHz",), "hertz": ("Hz",)}
_ANGLES = {"degree": ("deg", "°", "degrees"), "radian": ("rad",)}
_TIMES_PER_VELOCITY = {
    "nanosecond/(meter/second)": ("ns/(m/s)",),
    "microsecond/(meter/second)": ("us/(m/s)",),
    "second/(meter/second)": ("s/(m/s)",),
    "nanosecond/(foot/second)": ("ns/(ft/s)",),
}
_SALINITIES = {"gram/kilogram": ("g/kg",), "kilogram/kilogram": ("kg/kg",), "percent": ("%",)}
_EXPANSIONS = {
    "1/kelvin": ("1/K", "1/degC"),
    "micrometer/meter/kelvin": ("um/(m.K)", "ppm/K"),
    "1/delta_degree_Fahrenheit": ("1/degF",),
}
_SPEED_SLOPES = {
    "meter/second/kelvin": ("m/s/K", "m/(s.K)"),
    "foot/second/delta_degree_Fahrenheit": ("ft/s/degF",),
}
_RATIOS_DB = {"dimensionless": ("dB",)}

KINDS: Mapping[str, Kind] = {
    name: Kind(name, si, metric, us, units, difference or name)
    for name, si, metric, us, units, difference in (
        ("length", "m", "mm", "in", _LENGTHS, ""),
        ("roughness", "m", "mm", "in", _LENGTHS, ""),
        ("speed", "m/s", "m/s", "ft/s", _SPEEDS, ""),
        ("volume_flow", "m3/s", "m3/h", "US gal/min", _VOLUME_FLOWS, ""),
        ("temperature", "K", "degC", "degF", _TEMPERATURES, "temperature_difference"),
        ("temperature_difference", "K", "K", "degF", _TEMPERATURE_DIFFERENCES, ""),
        ("transit_time", "s", "us", "us", _TIMES, ""),
        ("time_difference", "s", "ns", "ns", _TIMES, ""),
        ("duration", "s", "s", "s", _DURATIONS, ""),
        ("pressure", "Pa", "kPa", "psi", _PRESSURES, ""),
        ("density", "kg/m3", "kg/m3", "lb/ft3", _DENSITIES, ""),
        ("dynamic_viscosity", "Pa.s", "mPa.s", "cP", _VISCOSITIES, ""),
        ("frequency", "Hz", "MHz", "MHz", _FREQUENCIES, ""),
        ("angle", "rad", "deg", "deg", _ANGLES, ""),
        ("time_per_velocity", "s/(m/s)", "ns/(m/s)", "ns/(ft/s)", _TIMES_PER_VELOCITY, ""),
        ("salinity", "g/kg", "g/kg", "g/kg", _SALINITIES, ""),
        ("thermal_expansion", "1/K", "1/K", "1/degF", _EXPANSIONS, ""),
        ("speed_per_temperature", "m/s/K", "m/s/K", "ft/s/degF", _SPEED_SLOPES, ""),
        ("ratio_db", "dB", "dB", "dB", _RATIOS_DB, ""),
    )
}


def unit_named(text: str, kind: str, field: str = "") -> Unit:
    """Return the unit of a spelling, from the closed table.

    Parameters
    ----------
    text : str  spelling, exact: MPa and mPa differ
    kind : str  name of one of KINDS
    field : str  path of the request, named in errors

    Returns
    -------
    unit : Unit

    Raises
    ------
    UnitUnknown  not a unit this kind of quantity can be given in
    """
    if text not in _spellings(kind):
        raise _unknown(text, kind, field)
    return _table(kind)[text]


def needed(kind: str) -> dict[str, Any]:
    """Return the required kind of quantity and its accepted units, as parameters of a message."""
    return {"kind": _kind_term(kind), "accepted": [spellings[0] for spellings in KINDS[kind].units.values()]}


def _unknown(text: str, kind: str, field: str) -> UnitUnknown:
    if kind == "pressure" and text.strip("() ").lower() in {"barg", "psig", "kpag", "bar(g"}:
        return UnitUnknown(field=field, variant="gauge-pressure", entered=shortened(text), **needed(kind))
    other = next((name for name in KINDS if text in _spellings(name)), None)
    return UnitUnknown(
        field=field,
        entered=shortened(text),
        other_kind=_kind_term(other) if other else None,
        **needed(kind),
    )


def _kind_term(kind: str) -> dict[str, str]:
    return term(kind.replace("_", "-"))


def shortened(value: object) -> str:
    """Return the start of an entered value, so that an error message stays short."""
    if isinstance(value, int) and value.bit_length() > 100:
        return ELLIPSIS
    text = (
        str(value).encode("utf-8", "backslashreplace").decode()
    )  # unpaired surrogates cannot be encoded in a response
    return text if len(text) <= 32 else f"{text[:32]}{ELLIPSIS}"


@cache
def _spellings(kind: str) -> frozenset[str]:
    return frozenset(text for spellings in KINDS[kind].units.values() for text in spellings)


@cache
def _registry() -> Any:
    """Return the unit library with exact fractions. Its import takes half a second, so it is deferred."""
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


@cache
def _table(kind: str) -> Mapping[str, Unit]:
    """Return every spelling of the units of a kind, with its conversion."""
    si_name = next(name for name, spellings in KINDS[kind].units.items() if KINDS[kind].si in spellings)
    return {
        text: _conversion(name, si_name)
        for name, spellings in KINDS[kind].units.items()
        for text in spellings
    }


def _conversion(name: str, si_name: str) -> Unit:
    quantity = _registry().Quantity
    zero, one = (quantity(Fraction(n), name).to(si_name).magnitude for n in (0, 1))
    slope = one - zero
    if max(slope.numerator, slope.denominator) > 2**53:  # pi is not an exact fraction of floats
        return Unit(float(slope), 1.0, float(zero / slope))
    return Unit(float(slope.numerator), float(slope.denominator), float(zero / slope))
