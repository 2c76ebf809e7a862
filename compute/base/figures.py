"""Figures as sentences word them: a quantity in metric and US units (`compute.base.marks`), a ratio in per cent, a number with its noun."""

from __future__ import annotations

from functools import cache
from math import log10

from compute.base.marks import marked
from compute.base.unit_table import KINDS, Unit, unit_named
from compute.base.units import from_si

# A unit of metric sentences: its kind, and the unit of US sentences for it.
_UNITS = {
    "mm": ("length", "in"),
    "m": ("length", "ft"),
    "m/s": ("speed", "ft/s"),
    "mm/s": ("speed", "in/s"),
    "degC": ("temperature", "degF"),
    "kPa": ("pressure", "psi"),
    # Of readings of a log.
    "m3/s": ("volume_flow", "US gal/min"),
    "K": ("temperature", "degF"),
    "s": ("transit_time", "s"),
    "dB": ("ratio_db", "dB"),
    "Hz": ("frequency", "Hz"),
}


def said(value: float, unit: str, form: str) -> str:
    """A quantity for a sentence, in a metric unit and in the US unit that stands for it.

    Parameters
    ----------
    value : float [SI]
    unit : str  a key of `_UNITS`, such as mm or degC
    form : str  of the metric number, as Python formats: `.1f`, `.4g`. The US number has as many digits (`g`: four), or the decimals that
        stand for about the same size: 0.1 m/s and 1 ft/s, 1 kPa and 0.1 psi; inches three at least

    Returns
    -------
    text : str  marked, e.g. 4.60 mm and 0.181 in

    Source
    ------
    units : exact by definition (`compute.base.unit_table`); digits are our own.
    """
    kind, us = _UNITS[unit]
    return _both(float(value), kind, (unit, us), form)


def bare(value: float, unit: str, form: str) -> str:
    """The number of `said` without its unit, where the sentence has that at the end of a range.

    Parameters
    ----------
    value : float [SI]
    unit : str  as of `said`
    form : str  as of `said`

    Returns
    -------
    text : str  marked, e.g. 4.60 and 0.181

    Source
    ------
    units : as of `said`.
    """
    kind, us = _UNITS[unit]
    return marked(*_numbers(float(value), kind, (unit, us), form))


def worded(value: float, kind: str, form: str = ".4g") -> str:
    """A figure in the units that answers give its kind in.

    Parameters
    ----------
    value : float [SI]
    kind : str  a kind of quantity (`compute.base.unit_table.KINDS`), or `number` for a ratio, worded in per cent
    form : str  of both numbers, as Python formats

    Returns
    -------
    text : str  marked, e.g. 8.02 mm and 0.3157 in

    Source
    ------
    units : those of the service's answers.
    """
    if kind == "number":
        return f"{value * 100:{form}} %"
    return _both(float(value), kind, (KINDS[kind].metric, KINDS[kind].us), form)


def millimetres(length: float) -> str:
    """A length as remarks word it: two decimals below 100 mm, one from there.

    Parameters
    ----------
    length : float [m]

    Returns
    -------
    text : str  marked, e.g. 4.60 mm and 0.181 in

    Source
    ------
    digits : a wall is gauged to 0.01 mm, a spacing set to 0.1 mm; common practice.
    """
    return said(length, "mm", ".1f" if abs(length) >= 0.1 else ".2f")


def _both(value: float, kind: str, units: tuple[str, str], form: str) -> str:
    metric, us = _numbers(value, kind, units, form)
    return marked(f"{metric} {units[0]}", f"{us} {units[1]}")


def _numbers(value: float, kind: str, units: tuple[str, str], form: str) -> tuple[str, str]:
    metric, us, us_form = _conversions(kind, units, form)
    return f"{from_si(value, metric):{form}}", f"{from_si(value, us):{us_form}}"


@cache
def _conversions(kind: str, units: tuple[str, str], form: str) -> tuple[Unit, Unit, str]:
    metric, us = (unit_named(one, kind) for one in units)
    if form in ("", "g"):  # as entered, in whole metric units
        return metric, us, ".4g"
    if not form.endswith("f"):
        return metric, us, form
    decimals = int(form[1:-1])
    larger = us.multiplier / us.divisor * metric.divisor / metric.multiplier
    least = 3 if units[1] == "in" else 0  # pipe tables have thousandths: 8.625 in
    return metric, us, f".{max(decimals + round(log10(larger)), least)}f"


def difference_kind(kind: str) -> str:
    """The kind of the differences of a kind: of two temperatures it is another, else the same.

    Parameters
    ----------
    kind : str

    Returns
    -------
    kind : str

    Source
    ------
    definition : `compute.base.unit_table.KINDS`.
    """
    return KINDS[kind].difference if kind in KINDS else kind


def counted(count: int, noun: str) -> str:
    """A number with its noun: `1 point`, `3 points`.

    Parameters
    ----------
    count : int
    noun : str  that takes an s

    Returns
    -------
    text : str

    Source
    ------
    definition : grammar.
    """
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
