"""Contributions of the changed inputs to the change of a result, as pages and reports show them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from django.utils.translation import gettext

from compute.base.units import System
from surveys.core.messages.fields import label_of
from surveys.documents.formatting import format_quantity, signed, stored_quantity_text


@dataclass(frozen=True, slots=True)
class CauseText:
    """A changed input in words: its name, its value before and after, and its contribution to the change of the flow."""

    name: str
    before: str
    after: str
    effect: str


def cause_texts(breakdown: Mapping[str, Any] | None, units: System, zone: tzinfo) -> list[CauseText]:
    """Return the causes of a stored change breakdown; none where nothing was replaced."""
    return [
        CauseText(
            label_of(one["field"]),
            _side(one["field"], one["before"], units, zone),
            _side(one["field"], one["after"], units, zone),
            _effect(one["effect"]["si"], units),
        )
        for one in (breakdown or {}).get("causes", [])
    ]


def _side(field: str, value: Any, units: System, zone: tzinfo) -> str:
    if isinstance(value, list):
        if field == "segments" and not value:
            return gettext("whole log")
        if field == "outliers":
            return gettext("included") if value else gettext("excluded")
        parts = (
            f"{label_of(one['field'])} {_value(one['field'], one['value'], units, zone)}" for one in value
        )
        return ", ".join(parts) or gettext("none")
    return gettext("none") if value is None else _value(field, value, units, zone)


def _value(field: str, value: Any, units: System, zone: tzinfo) -> str:
    if isinstance(value, dict):
        return stored_quantity_text(value, units, 2)
    if field in {"segment_start", "segment_end"}:
        return f"{datetime.fromisoformat(value).astimezone(zone):%Y-%m-%d %H:%M:%S %Z}"
    return str(value)


def _effect(effect_m3_s: float, units: System) -> str:
    size = format_quantity(abs(effect_m3_s), "volume_flow", units)
    return signed(size, effect_m3_s) if effect_m3_s else size
