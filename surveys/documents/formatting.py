"""Quantities, findings and times as documents and pages show them, in the reader's units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, tzinfo
from math import floor, log10
from typing import Any

from django.utils.translation import gettext

from compute.base.units import System, express
from surveys.core.messages import Reader, findings_read
from surveys.core.messages.numbers import MINUS, UNKNOWN, number_text, quantity_text, with_unit
from surveys.models import User
from surveys.models.result import PropagationMethod

PLUS_MINUS = "\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}"


def format_quantity(value: float | None, kind: str, units: System, decimals: int | None = None) -> str:
    """Return a quantity with its unit, or a dash; `decimals` are those in the metric unit."""
    if value is None:
        return UNKNOWN
    if decimals is None and kind == "volume_flow":
        decimals = 2
    return quantity_text(value, kind, units, "" if decimals is None else f".{decimals}")


def stored_quantity_text(quantity: Any, units: System, decimals: int | None = None) -> str:
    """Return a quantity of a stored document; a plain number has no unit."""
    if isinstance(quantity, int | float):
        return number_text(quantity)
    return format_quantity(quantity["si"], quantity["kind"], units, decimals) if quantity else UNKNOWN


def finding_texts(
    findings: Iterable[Mapping[str, Any]], units: System, zone: tzinfo = UTC
) -> list[dict[str, Any]]:
    """Return stored findings or safety notes in the reader's units and the site's time zone, see `findings_read`."""
    return findings_read(findings, Reader(units, zone))


def heading(finding: Mapping[str, Any]) -> str:
    """Return the title of a finding; its code in words where it has no title."""
    return finding["title"] or finding["code"].replace("-", " ")


def straight_length_text(metres: float, units: System) -> str:
    """Return a straight length to 0.1 m or 0.1 ft."""
    return quantity_text(metres, "length", units, "m.1")


def with_uncertainty(value: Any, uncertainty: Any, units: System) -> tuple[str, str]:
    """Return a stored value and its standard uncertainty, both to the second digit of the uncertainty (JCGM 100:2008, 7.2.6)."""
    if isinstance(uncertainty, int | float):
        places = _places(uncertainty)
    else:
        places = _places(express(uncertainty["si"], uncertainty["kind"], units)["value"])
    return _to_places(value, units, places), _to_places(uncertainty, units, places)


def _to_places(quantity: Any, units: System, places: int) -> str:
    if isinstance(quantity, int | float):
        return number_text(quantity, f".{places}f")
    shown = express(quantity["si"], quantity["kind"], units)
    return with_unit(number_text(shown["value"], f".{places}f"), shown["unit"])


def _places(uncertainty: float) -> int:
    """Return the decimals down to the second digit of an uncertainty; two for zero."""
    return max(1 - floor(log10(abs(uncertainty))), 0) if uncertainty else 2


def flow_with_uncertainty(flow: float, expanded: float, units: System) -> str:
    """Return a flow and its expanded uncertainty, both to the second digit of the uncertainty (JCGM 100:2008, 7.2.6)."""
    return PLUS_MINUS.join(
        with_uncertainty({"si": flow, "kind": "volume_flow"}, {"si": expanded, "kind": "volume_flow"}, units)
    )


def correlation_text(result: Any, units: System) -> str:
    """Return the correlation time of the readings of a result and their effective number; empty if the log does not show them."""
    if result.effective_readings is None or result.correlation_time_s is None:
        return ""
    return gettext(
        "Correlation time of the readings: {time}. They count as {effective} independent readings."
    ).format(
        time=format_quantity(result.correlation_time_s, "duration", units),
        effective=number_text(round(result.effective_readings)),
    )


def interval_text(result: Any, units: System) -> str:
    """Return the coverage interval of a result whose distributions were drawn; empty where the law of propagation is valid."""
    if result.propagation_method != PropagationMethod.MONTE_CARLO:
        return ""
    return gettext(
        "The law of propagation of uncertainty is not valid here. The inputs were drawn {trials} times from their distributions "
        "(JCGM 101:2008). The interval from {low} to {high} contains the flow with a probability of approximately 95 %."
    ).format(
        trials=number_text(result.monte_carlo_trials),
        low=format_quantity(result.coverage_low_m3_s, "volume_flow", units),
        high=format_quantity(result.coverage_high_m3_s, "volume_flow", units),
    )


def flow_in_digits_of(expanded: float, flow: float, units: System) -> str:
    """Return a flow to the second digit of an expanded uncertainty."""
    return with_uncertainty(
        {"si": flow, "kind": "volume_flow"}, {"si": expanded, "kind": "volume_flow"}, units
    )[0]


def signed(text: str, value: float) -> str:
    """Return the text of a size with the sign of its value."""
    return f"{'+' if value > 0 else MINUS}{text}"


def full_name(user: User) -> str:
    """Return the full name of a person; the user name where no full name is entered."""
    return user.get_full_name() or user.username


def moment(at: datetime, zone: Any) -> str:
    """Return a time in the time zone of the site, with the name of the zone."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def hours(starts_at: datetime, ends_at: datetime, zone: Any) -> str:
    """Return a period in the time zone of the site, with the day of the end if it differs."""
    starts, ends = starts_at.astimezone(zone), ends_at.astimezone(zone)
    day = "" if starts.date() == ends.date() else f"{ends:%a %d %b} "
    return gettext("%(start)s to %(end)s") % {"start": f"{starts:%H:%M}", "end": f"{day}{ends:%H:%M %Z}"}
