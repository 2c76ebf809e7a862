"""Entries of the message catalogue: texts with placeholders, and the choice between them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise

from surveys.core.messages.numbers import SPACE, UNKNOWN

# Between a number and its unit in the texts themselves.
UNBROKEN = re.compile(r"(?<=\d) (?=%|(?:mm|cm|km|m|in|ft|s|min|h|K|kPa|bar|psi|dB|Hz|kHz|MHz|µs|ns)\b|°)")

Plain = str | Promise
Values = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class When:
    """A text that is left out where one of its parameters is not given."""

    names: tuple[str, ...]
    text: Text


@dataclass(frozen=True, slots=True)
class FirstOf:
    """The first of several texts that is not left out."""

    texts: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """A text by the value of a parameter: a word, a term, or true and false."""

    name: str
    options: Mapping[str, Text]
    otherwise: Text


Text = Plain | When | FirstOf | Choice | tuple[Any, ...]


def when(*names_and_text: Any) -> When:
    """`when("nearest", _("Nearest standard wall: {nearest}."))`: a text where all the parameters named are given."""
    *names, text = names_and_text
    return When(tuple(names), text)


def first_of(*texts: Text) -> FirstOf:
    """`first_of(when("above", _(...)), _(...))`: the first text whose parameters are given."""
    return FirstOf(texts)


def choose(name: str, otherwise: Text = "", **options: Text) -> Choice:
    """`choose("direction", too_close=_(...), too_far=_(...))`: a text by the value of a parameter; `too_close` is for `too-close`."""
    return Choice(name, {value.replace("_", "-"): text for value, text in options.items()}, otherwise)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """The texts of one message.

    title   the verdict in 2 to 6 words, without a full stop; errors need none
    detail  what was found and what was expected, and what it means for the flow
    remedy  what to do
    """

    title: Text = ""
    detail: Text = ""
    remedy: Text = ""


class Absent:
    """What a placeholder writes for a parameter that is not known, whatever its format."""

    def __format__(self, spec: str) -> str:
        return UNKNOWN


ABSENT = Absent()


def written(text: Text, values: Values) -> str:
    """A text with its placeholders filled in."""
    filled = {name: ABSENT if value is None else value for name, value in values.items()}
    return UNBROKEN.sub(SPACE, " ".join(part.format(**filled) for part in _chosen(text, values)))


def _chosen(text: Text, values: Values) -> Iterator[Any]:
    """The plain texts that apply; both a str and a lazy translation have `format`."""
    match text:
        case When(names, inner):
            if all(values.get(name) is not None for name in names):
                yield from _chosen(inner, values)
        case FirstOf(texts):
            yield from next((found for one in texts if (found := list(_chosen(one, values)))), [])
        case Choice(name, options, otherwise):
            yield from _chosen(options.get(word(values.get(name)), otherwise), values)
        case tuple():
            for one in text:
                yield from _chosen(one, values)
        case _:
            if isinstance(text, Promise) or text:
                yield text


def word(value: Any) -> str:
    """The value of a parameter as an option of `choose` names it."""
    return str(value).lower() if isinstance(value, bool) else str(getattr(value, "slug", value))


def parts(text: Text) -> Iterator[tuple[frozenset[str], Any]]:
    """Every plain text with the parameters it is written under."""
    match text:
        case When(names, inner):
            yield from ((under | set(names), part) for under, part in parts(inner))
        case FirstOf(texts):
            for one in texts:
                yield from parts(one)
        case Choice(name, options, otherwise):
            for one in (*options.values(), otherwise):
                yield from ((under | {name}, part) for under, part in parts(one))
        case tuple():
            for one in text:
                yield from parts(one)
        case _:
            if text:
                yield frozenset(), text


class Open(int):
    """A parameter that is left open, also a count."""

    def __format__(self, spec: str) -> str:
        return "…"


def heading(text: Text) -> str:
    """The first plain text of a title, with its placeholders left open."""
    _, first = next(parts(text))
    given: dict[str, Any] = {"count": Open(2)}
    while True:
        try:
            return str(first.format(**given))
        except KeyError as missing:
            given[missing.args[0]] = Open()
