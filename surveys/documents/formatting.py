"""Figures as papers word them, in the reader's units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from math import floor, log10
from typing import Any

from django.utils.translation import gettext

from compute.base.units import System, express
from surveys.core.messages import Reader, findings_read
from surveys.core.messages.numbers import SIGNS

DECIMALS = {"length": 1, "temperature": 1, "speed": 3, "volume_flow": 2, "transit_time": 2, "angle": 1}


def worded(value: float | None, kind: str, units: System, decimals: int | None = None) -> str:
    """A figure with its unit; a dash where there is none."""
    if value is None:
        return "-"
    shown = express(value, kind, units)
    number, unit = float(shown["value"]), str(shown["unit"])
    places = DECIMALS.get(kind) if decimals is None else decimals
    if kind == "length" and unit == "in":
        places = 3
    text = f"{number:.4g}" if places is None else f"{number:.{places}f}"
    return _with_unit(text, unit)


def _with_unit(text: str, unit: str) -> str:
    """A number with its unit; the sign of an angle stands close to it."""
    return f"{text}°" if unit == "deg" else f"{text} {SIGNS.get(unit, unit)}"


def stored_quantity_text(quantity: Any, units: System, decimals: int | None = None) -> str:
    """A figure of a stored document; a plain number is one without a unit."""
    if isinstance(quantity, int | float):
        return f"{quantity:.4g}"
    return worded(quantity["si"], quantity["kind"], units, decimals) if quantity else "-"


def findings_worded(findings: Iterable[Mapping[str, Any]], units: System) -> list[dict[str, Any]]:
    """Stored findings or safety notes in the reader's units, see `findings_read`."""
    return findings_read(findings, Reader(units))


def heading(finding: Mapping[str, Any]) -> str:
    """The title of a finding; its code in words where it has none yet."""
    return finding["title"] or finding["code"].replace("-", " ")


def straight_length_text(metres: float, units: System) -> str:
    """A length of straight pipe, as one would pace it: metres or feet."""
    return f"{metres:.1f} m" if units == "metric" else f"{metres / 0.3048:.1f} ft"


def percent(share: float, sign: bool = False) -> str:
    """A share to a tenth of a per cent; one too small for that as less than it, not as none."""
    if 0 < abs(share) < 0.0005:
        return "< 0.1 %"
    return f"{share:+.1%}".replace("%", " %") if sign else f"{share:.1%}".replace("%", " %")


def grouped(number: float) -> str:
    """A large number to three digits, in groups: 486 000."""
    rounded = float(f"{number:.3g}")
    return f"{rounded:,.0f}".replace(",", "\N{NO-BREAK SPACE}") if abs(rounded) >= 100 else f"{rounded:g}"


def with_uncertainty(value: Any, uncertainty: Any, units: System) -> tuple[str, str]:
    """A stored figure and its standard uncertainty, both to the second digit of the uncertainty (JCGM 100:2008, 7.2.6)."""
    if isinstance(uncertainty, int | float):
        return _to_places(value, units, _places(uncertainty)), _to_places(
            uncertainty, units, _places(uncertainty)
        )
    places = _places(express(uncertainty["si"], uncertainty["kind"], units)["value"])
    return _to_places(value, units, places), _to_places(uncertainty, units, places)


def _to_places(quantity: Any, units: System, places: int) -> str:
    if isinstance(quantity, int | float):
        return f"{quantity:.{places}f}"
    shown = express(quantity["si"], quantity["kind"], units)
    return _with_unit(f"{shown['value']:.{places}f}", shown["unit"])


def _places(uncertainty: float) -> int:
    """Decimals down to the second digit of an uncertainty; two where it is none."""
    return max(1 - floor(log10(abs(uncertainty))), 0) if uncertainty else 2


def flow_with_uncertainty(flow: float, expanded: float, units: System) -> str:
    """A flow and its expanded uncertainty, both to the second digit of the uncertainty (JCGM 100:2008, 7.2.6)."""
    shown, uncertainty = express(flow, "volume_flow", units), express(expanded, "volume_flow", units)
    places = _places(uncertainty["value"])
    unit = SIGNS.get(shown["unit"], shown["unit"])
    return f"{shown['value']:.{places}f} ± {uncertainty['value']:.{places}f} {unit}"


def moment(at: datetime, zone: Any) -> str:
    """A time by the site's clock."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def hours(starts_at: datetime, ends_at: datetime, zone: Any) -> str:
    """Return a period in the time zone of the site, with the day of the end if it differs."""
    starts, ends = starts_at.astimezone(zone), ends_at.astimezone(zone)
    day = "" if starts.date() == ends.date() else f"{ends:%a %d %b} "
    return gettext("%(start)s to %(end)s") % {"start": f"{starts:%H:%M}", "end": f"{day}{ends:%H:%M %Z}"}
