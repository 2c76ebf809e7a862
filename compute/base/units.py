"""Quantities of requests and responses: text or an object with a unit in, SI floats inside, a value with a unit out.

A number without a unit is rejected, because a wrong unit is a costly and common error. Number and unit are read by a small grammar
and a closed table.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, NumberInvalid, UnitMissing, UnitUnknown
from compute.base.messages import term
from compute.base.unit_table import KINDS, Kind, System, Unit, needed, shortened, unit_named

__all__ = [
    "KINDS",
    "Kind",
    "Quantity",
    "System",
    "Unit",
    "difference_kind",
    "express",
    "express_series",
    "expresser",
    "from_si",
    "parse_quantity",
    "parse_series",
    "unit_named",
]

FloatArray = NDArray[np.float64]

TEXT_LIMIT = 64
MAX_TAPE_DENOMINATOR = 128
INCH_MARKS = ('"', "''", "\N{DOUBLE PRIME}", "\N{RIGHT DOUBLE QUOTATION MARK}")
FOOT_MARKS = ("'", "\N{PRIME}", "\N{RIGHT SINGLE QUOTATION MARK}")

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?", re.ASCII)
_TAPE = re.compile(r"(?:([0-9]{1,4})[ -])?([0-9]{1,3})/([0-9]{1,3})", re.ASCII)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in SI units and the text a person typed for it."""

    si: float
    text: str


def parse_quantity(raw: object, kind: str, field: str = "") -> Quantity:
    """Parse a quantity of a request: text such as "8 5/8 in", or an object {"value": 8.625, "unit": "in"}.

    Parameters
    ----------
    raw : text or mapping  as it came
    kind : str  name of one of KINDS
    field : str  path of the request, named in errors

    Returns
    -------
    quantity : Quantity  SI value, and the text as it was typed

    Raises
    ------
    UnitMissing    a bare number, or no unit
    UnitUnknown    not a unit this kind of quantity can be given in
    NumberInvalid  the number cannot be read or is not finite

    Source
    ------
    own grammar : decimal point or tape fraction; a comma is rejected because it has two meanings.
    """
    if isinstance(raw, Mapping):
        return _parse_object(raw, kind, field)
    if isinstance(raw, str):
        return _parse_text(raw, kind, field)
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        raise UnitMissing(field=field, entered=shortened(raw), **needed(kind))
    raise NumberInvalid(field=field, variant="not-a-quantity", **needed(kind))


def parse_series(raw: object, kind: str, field: str = "") -> FloatArray:
    """Parse many values that share a unit: {"values": [812.1, 812.3], "unit": "us"}.

    Parameters
    ----------
    raw : mapping  keys `values` and `unit`
    kind : str  name of one of KINDS
    field : str  path of the request, named in errors

    Returns
    -------
    values : (n,) array  SI

    Raises
    ------
    NotEnough      the list is empty
    NumberInvalid  not a list of finite JSON numbers; the first bad position is named

    Source
    ------
    own grammar : as parse_quantity; text and truth values are not numbers here.
    """
    if not isinstance(raw, Mapping):
        raise NumberInvalid(field=field, variant="object-keys", keys=["values", "unit"])
    _only_keys(raw, ("values", "unit"), field)
    unit = _unit(raw.get("unit"), kind, field)
    values = raw["values"]
    if not isinstance(values, list | tuple):
        raise NumberInvalid(field=field, variant="values-not-a-list")
    if not values:
        raise NotEnough(field=field, variant="values-empty")
    if not set(map(type, values)) <= {int, float}:
        bad = next(i for i, value in enumerate(values) if type(value) not in (int, float))
        raise NumberInvalid(field=field, variant="value-at-position", position=bad)
    try:
        numbers = np.array(values, dtype=np.float64)
    except OverflowError:
        raise NumberInvalid(field=field, variant="value-too-large") from None
    si: FloatArray = _to_si(numbers, unit)
    if not np.isfinite(si).all():
        bad = int(np.argmin(np.isfinite(si)))
        raise NumberInvalid(field=field, variant="value-at-position", position=bad)
    return si


def express(si: float, kind: str, system: System = "metric") -> dict[str, Any]:
    """Return a value with its unit for a response, without rounding.

    Parameters
    ----------
    si : float  value in the kind's SI unit
    kind : str  name of one of KINDS
    system : str  `metric` or `us`

    Returns
    -------
    quantity : dict  {"value": float, "unit": str}
    """
    return expresser(kind, system)(si)


@cache
def expresser(kind: str, system: System = "metric") -> Callable[[float], dict[str, Any]]:
    """Return `express` for many values of a kind, with the shared conversion looked up once.

    Parameters
    ----------
    kind : str  name of one of KINDS
    system : str  `metric` or `us`

    Returns
    -------
    expressed : function  of a value in the kind's SI unit
    """
    text = KINDS[kind].unit_of(system)
    unit = unit_named(text, kind)
    multiplier, divisor, shift = unit.multiplier, unit.divisor, unit.shift

    def expressed(si: float) -> dict[str, Any]:
        # `from_si` inline: this is called for every number of a response.
        return {"value": float(si) * divisor / multiplier - shift, "unit": text}

    return expressed


def express_series(si: FloatArray, kind: str, system: System = "metric") -> dict[str, Any]:
    """Return many values with their unit for a response, without rounding.

    Parameters
    ----------
    si : (n,) array  values in the kind's SI unit
    kind : str  name of one of KINDS
    system : str  `metric` or `us`

    Returns
    -------
    series : dict  {"values": [...], "unit": str}
    """
    text = KINDS[kind].unit_of(system)
    values: list[float] = np.asarray(from_si(np.asarray(si), unit_named(text, kind))).tolist()
    return {"values": values, "unit": text}


def _parse_text(raw: str, kind: str, field: str) -> Quantity:
    if len(raw) > TEXT_LIMIT:
        raise NumberInvalid(field=field, variant="text-too-long", limit=TEXT_LIMIT, **needed(kind))
    text = raw.strip()
    number = _TAPE.match(text) or _NUMBER.match(text)
    if number is None:
        raise NumberInvalid(field=field, variant="no-number", entered=shortened(raw), **needed(kind))
    rest = text[number.end() :]
    _reject_misreadings(raw, rest, field)
    value = _number(number.group(), field)
    unit = _unit(rest.strip(), kind, field)
    return Quantity(_finite(_to_si(value, unit), raw, field), raw)


def _parse_object(raw: Mapping[str, Any], kind: str, field: str) -> Quantity:
    _only_keys(raw, ("value", "unit"), field)
    value = raw["value"]
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise NumberInvalid(field=field, variant="not-a-number")
    unit_text = raw.get("unit")
    unit = _unit(unit_text, kind, field)
    if isinstance(value, str):
        if len(value) > TEXT_LIMIT or not _TAPE.fullmatch(value):
            raise NumberInvalid(field=field, variant="not-a-number")
        number = _number(value, field)
    else:
        number = _float(value, field)
    return Quantity(_finite(_to_si(number, unit), value, field), f"{value} {unit_text}")


def _reject_misreadings(raw: str, rest: str, field: str) -> None:
    """Reject text that can be read in two ways."""
    if re.match(r",[0-9]", rest):
        reason = "decimal-comma"
    elif rest.strip() in INCH_MARKS:
        reason = "inch-mark"
    elif rest.strip() in FOOT_MARKS:
        reason = "foot-mark"
    elif re.match(r"\s*(?!1/[A-Za-z])(?:[0-9./]|-[0-9])", rest):  # 1/K is a unit, not another number
        reason = "several-numbers"
    else:
        return
    raise NumberInvalid(field=field, variant="ambiguous", entered=shortened(raw), reason=term(reason))


def _number(text: str, field: str) -> float:
    fraction = _TAPE.fullmatch(text)
    if fraction is None:
        return _float(text, field)
    whole, numerator, denominator = (int(part or 0) for part in fraction.groups())
    if not 0 < numerator < denominator <= MAX_TAPE_DENOMINATOR:
        raise NumberInvalid(
            field=field, variant="fraction", entered=shortened(text), max_denominator=MAX_TAPE_DENOMINATOR
        )
    return whole + numerator / denominator


def _float(value: str | int | float, field: str) -> float:
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    return _finite(number, value, field)


def _finite(number: float, shown: object, field: str) -> float:
    if not math.isfinite(number):
        raise NumberInvalid(field=field, variant="too-large", entered=shortened(shown))
    return number


def _only_keys(raw: Mapping[str, Any], keys: tuple[str, str], field: str) -> None:
    if keys[0] not in raw or not set(raw) <= set(keys):
        raise NumberInvalid(field=field, variant="object-keys", keys=list(keys))


def _unit(text: object, kind: str, field: str) -> Unit:
    if text is None or text == "":
        raise UnitMissing(field=field, **needed(kind))
    if not isinstance(text, str):
        raise UnitUnknown(field=field, variant="not-text", **needed(kind))
    return unit_named(text, kind, field)


def _to_si(value: Any, unit: Unit) -> Any:
    return (value + unit.shift) * unit.multiplier / unit.divisor


def from_si(si: Any, unit: Unit) -> Any:
    """Convert SI values to a unit.

    Parameters
    ----------
    si : float or (n,) array  SI
    unit : Unit

    Returns
    -------
    values : as si  in the unit

    Source
    ------
    definition : of `Unit`.
    """
    return si * unit.divisor / unit.multiplier - unit.shift


def difference_kind(kind: str) -> str:
    """The kind of the differences of a kind: temperature differences for temperatures, otherwise the same.

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
