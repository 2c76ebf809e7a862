"""Parameters of a message as a text formats them, each kind with its own formats."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any

from django.utils.translation import gettext_lazy as _

from compute.base.unit_table import System
from surveys.core.messages.fields import label_of
from surveys.core.messages.numbers import UNKNOWN, format_of, number_text, percent_text, quantity_text
from surveys.core.messages.terms import word_of
from surveys.core.messages.texts import ABSENT


@dataclass(frozen=True, slots=True)
class Reader:
    """Whom a message is rendered for; without a language in the active one."""

    units: System = "metric"
    zone: tzinfo = UTC
    language: str | None = None


METRIC = Reader()
MOMENTS = {
    "": "%Y-%m-%d %H:%M %Z",
    "seconds": "%Y-%m-%d %H:%M:%S %Z",
    "date": "%Y-%m-%d",
    "time": "%H:%M %Z",
    "clock": "%H:%M:%S",
}
JOINED = {"and": _("{first} and {last}"), "or": _("{first} or {last}")}


class Count(int):
    """A whole number, also what a plural form is chosen by."""

    def __format__(self, spec: str) -> str:
        return str(int(self)) if spec == "d" else _number(int(self), spec or ".12g")


class Number(float):
    """A number without a unit; `%` writes a ratio in per cent."""

    def __format__(self, spec: str) -> str:
        return _number(float(self), spec)


def _number(value: float, spec: str) -> str:
    wanted = format_of(spec)
    shown = abs(value) if wanted.absolute else value
    if wanted.unit == "%":
        return percent_text(shown, wanted.form or ".1f", wanted.sign)
    if wanted.unit:
        raise ValueError(f"A number has no unit: {spec!r}.")
    return number_text(shown, wanted.form or ".4g", wanted.sign)


class Words(str):
    """A text, a term, a label or the text of a record; `cap` begins a sentence."""

    slug: str

    def __new__(cls, text: str, slug: str = "") -> Words:
        created = super().__new__(cls, text)
        created.slug = slug or text
        return created

    def __format__(self, spec: str) -> str:
        if spec == "cap":
            return self[:1].upper() + self[1:]
        return format(str(self), spec)


@dataclass(frozen=True, slots=True)
class Amount:
    """A quantity."""

    si: float
    kind: str
    units: System

    def __format__(self, spec: str) -> str:
        return quantity_text(self.si, self.kind, self.units, spec)


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment: `{t}` with the date, `{t:seconds}`, `{t:date}`, `{t:time}` with the zone, `{t:clock}` without."""

    at: datetime

    def __format__(self, spec: str) -> str:
        return f"{self.at:{MOMENTS[spec]}}"


@dataclass(frozen=True, slots=True)
class Items:
    """A list: joined by commas, the last by `and` or `or` if the format ends so."""

    items: tuple[Any, ...]

    def __format__(self, spec: str) -> str:
        inner, _space, last = spec.rpartition(" ")
        if last not in JOINED:
            return ", ".join(f"{one:{spec}}" for one in self.items)
        *first, end = [f"{one:{inner}}" for one in self.items] or [UNKNOWN]
        return JOINED[last].format(first=", ".join(first), last=end) if first else end


def value_of(parameter: Any, reader: Reader) -> Any:
    """A stored parameter as texts format it; a message within the message is rendered by `rendering`."""
    match parameter:
        case None | bool():
            return parameter
        case int():
            return Count(parameter)
        case float():
            return Number(parameter)
        case str():
            return Words(parameter)
        case [*several]:
            return Items(tuple(ABSENT if one is None else value_of(one, reader) for one in several))
        case {"si": si, "kind": kind}:
            return Amount(si, kind, reader.units)
        case {"at": when}:
            return Moment(datetime.fromisoformat(when).astimezone(reader.zone))
        case {"date": text} | {"text": text}:
            return Words(text)
        case {"term": slug}:
            return Words(word_of(slug), slug)
        case {"field": path}:
            return Words(label_of(path), path)
    raise TypeError(f"{parameter!r} is not a parameter of a message.")


def answered(parameter: Any, reader: Reader) -> Any:
    """A stored parameter as the API answers it, but for quantities: those are put in units with the rest of the document."""
    if isinstance(parameter, list):
        return [answered(one, reader) for one in parameter]
    if isinstance(parameter, Mapping) and len(parameter) == 1:
        return next(iter(parameter.values()))
    return parameter
