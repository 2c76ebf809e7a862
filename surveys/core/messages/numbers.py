"""Numbers and quantities in texts for people: digits, signs of units, no-break spaces."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from math import floor, isfinite, log10

from compute.base.unit_table import System
from compute.base.units import KINDS, from_si, unit_named

SPACE = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"
UNKNOWN = "\N{EN DASH}"
SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

# Signs of the units that people do not read as they are typed.
SIGNS = {
    "degC": "°C",
    "degF": "°F",
    "deg": "°",
    "m3/h": "m³/h",
    "m3/s": "m³/s",
    "kg/m3": "kg/m³",
    "lb/ft3": "lb/ft³",
    "mPa.s": "mPa·s",
    "us": "µs",
    "um": "µm",
    "us/(m/s)": "µs/(m/s)",
    "m/s/K": "m/(s·K)",
    "ft/s/degF": "ft/(s·°F)",
    "1/degF": "1/°F",
    "in/us": "in/µs",
    "g/cm3": "g/cm³",
    "ft3/s": "ft³/s",
    "ft3/min": "ft³/min",
    "Pa.s": "Pa·s",
    "uPa.s": "µPa·s",
    "lb/(ft.s)": "lb/(ft·s)",
    "um/(m.K)": "µm/(m·K)",
}
# A quantity as it was entered: number, then unit.
ENTERED = re.compile(r"(?P<number>[-+\d.,/ ]*\d)\s*(?P<unit>[^\d\s].*)")

# The unit that readers in US units get for one that a format names.
US_UNITS = {
    "mm": "in",
    "m": "ft",
    "m/s": "ft/s",
    "mm/s": "in/s",
    "degC": "degF",
    "K": "degF",
    "kPa": "psi",
    "bar": "psi",
    "m3/h": "US gal/min",
    "m3/s": "US gal/min",
    "l/s": "US gal/min",
    "kg/m3": "lb/ft3",
}

# Digits of a kind in metric units, where the format names none. A length depends on its size, see `_form`.
FORMS = {
    "roughness": ".3g",
    "temperature": ".1f",
    "temperature_difference": ".1f",
    "angle": ".1f",
    "transit_time": ".2f",
    "ratio_db": ".1f",
    "duration": ".3g",
}

_FORMAT = re.compile(
    r"(?P<abs>abs)? ?(?P<sign>\+)?(?!g$)(?P<unit>%|[A-Za-z][A-Za-z0-9/]*)?(?P<form>\.\d+[fg]?)?|(?P<short>\+?g)"
)


@dataclass(frozen=True, slots=True)
class Format:
    """Format of a number: `abs`, `+`, a unit or `%`, and digits, in this order; e.g. `m`, `mm.2`, `+%.1`, `abs m/s`, `.3g`,
    `g`.
    """

    absolute: bool = False
    sign: bool = False
    unit: str = ""
    form: str = ""


@cache
def format_of(text: str) -> Format:
    """Return the format of a placeholder; raise ValueError for an unknown one."""
    found = _FORMAT.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is not a format of a number.")
    if short := found["short"]:
        return Format(sign=short[0] == "+", form=".4g")
    form = found["form"] or ""
    if form and form[-1].isdigit():
        form += "f"
    return Format(bool(found["abs"]), bool(found["sign"]), found["unit"] or "", form)


def number_text(value: float, form: str = ".4g", sign: bool = False) -> str:
    """Return a number with a true minus and groups of three digits from 10 000; very large or small ones as a power of ten."""
    if not isfinite(value):
        return UNKNOWN
    text = f"{abs(value):{form}}"
    if "e" in text:
        text = _without_exponent(float(text))
    if not text.strip("0."):
        return text
    whole, point, decimals = text.partition(".")
    if whole.isdecimal() and len(whole) > 4:
        text = f"{int(whole):,}".replace(",", SPACE) + point + decimals
    return f"{MINUS if value < 0 else '+' if sign else ''}{text}"


def _without_exponent(value: float) -> str:
    if 1e-5 <= value < 1e9:
        return f"{value:.10f}".rstrip("0").rstrip(".")
    power = floor(log10(value))
    return f"{value / 10**power:.4g}{SPACE}×{SPACE}10{str(power).translate(SUPERSCRIPT)}"


def percent_text(ratio: float, form: str = ".1f", sign: bool = False) -> str:
    """Return a ratio in per cent; one too small for the digits as less than the last digit, not as zero."""
    share = ratio * 100
    if form.endswith("f") and share and not float(f"{share:{form}}"):
        return f"<{SPACE}{10.0 ** -int(form[1:-1]):{form}}{SPACE}%"
    return f"{number_text(share, form, sign)}{SPACE}%"


def with_unit(number: str, unit: str) -> str:
    """Return a number with the sign of its unit; the sign of an angle has no space before it."""
    sign = SIGNS.get(unit, unit)
    return f"{number}{sign}" if sign == "°" else f"{number}{SPACE}{sign}"


def entered_text(text: str) -> str:
    """Return a quantity as it was entered, with the sign of its unit; any other text unchanged."""
    found = ENTERED.fullmatch(text.strip())
    return with_unit(found["number"], found["unit"]) if found and found["unit"] in SIGNS else text


def units_text(kind: str) -> str:
    """Return the accepted units of a kind of quantity with their signs."""
    return ", ".join(SIGNS.get(unit, unit) for unit in KINDS[kind].accepted.split(", "))


def quantity_text(si: float, kind: str, units: System, spec: str = "") -> str:
    """Return a quantity in the reader's units, with the digits of its kind or those of the format."""
    wanted = format_of(spec)
    if wanted.unit == "%":
        raise ValueError(f"A {kind} is not a ratio.")
    metric = wanted.unit or _metric_unit(kind, si)
    shown = (
        metric
        if units == "metric"
        else US_UNITS.get(metric, metric)
        if wanted.unit
        else _us_unit(kind, metric)
    )
    form = wanted.form or _form(kind, metric, si)
    if shown != metric:
        form = _us_form(form, kind, metric, shown)
    value = from_si(abs(si) if wanted.absolute else si, unit_named(shown, kind))
    return with_unit(number_text(value, form, wanted.sign), shown)


def _metric_unit(kind: str, si: float) -> str:
    if kind != "duration":
        return KINDS[kind].metric
    return next((unit for unit, most in (("s", 120), ("min", 7200), ("h", 172_800)) if abs(si) < most), "d")


def _us_unit(kind: str, metric: str) -> str:
    return metric if kind == "duration" else KINDS[kind].us


def _form(kind: str, unit: str, si: float) -> str:
    """Digits in a metric unit: a wall is measured to 0.01 mm, a spacing set to 0.1 mm, a straight length paced to 0.01 m."""
    if kind == "length":
        return {"mm": ".1f" if abs(si) >= 0.1 else ".2f", "m": ".2f"}.get(unit, ".4g")
    if kind == "speed":
        return ".1f" if abs(si) >= 100 else ".3g"
    return FORMS.get(kind, ".4g")


@cache
def _us_form(form: str, kind: str, metric: str, us: str) -> str:
    """Decimals that stand for about the same size in another unit; inches have three at least, as in pipe tables."""
    if not form.endswith("f"):
        return form
    one, other = unit_named(us, kind), unit_named(metric, kind)
    larger = one.multiplier / one.divisor * other.divisor / other.multiplier
    return f".{max(int(form[1:-1]) + round(log10(larger)), 3 if us == 'in' else 0)}f"
