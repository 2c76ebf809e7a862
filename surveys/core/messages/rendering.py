"""Rendering of messages with the texts of the catalogue, in the units, time zone and language of a reader."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from typing import Any

from django.utils import translation

from compute.base.messages import Message
from surveys.core.messages.catalogue import CATALOGUE
from surveys.core.messages.texts import Entry, written
from surveys.core.messages.values import METRIC, Reader, Words, answered, value_of

Stored = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Rendered:
    """Rendered message: title, detail and remedy."""

    title: str
    detail: str
    remedy: str

    @property
    def body(self) -> str:
        """Return detail and remedy."""
        return " ".join(text for text in (self.detail, self.remedy) if text)

    @property
    def text(self) -> str:
        """Return the whole message in one line."""
        title = self.title if not self.title or self.title[-1] in ".?!:" else f"{self.title}."
        return " ".join(text for text in (title, self.body) if text)


def render(message: Message | Stored, reader: Reader = METRIC) -> Rendered:
    """Render a message or a stored message; a code without an entry is shown as it is, so that old records stay readable."""
    if not isinstance(message, Message):
        message = Message(message["code"], message["parameters"], message.get("variant", ""))
    with translation.override(reader.language) if reader.language else nullcontext():
        values = {name: _value(given, reader) for name, given in message.parameters.items()}
        values["units"] = Words(reader.units)
        entry = CATALOGUE.get(message.key) or CATALOGUE.get(message.code) or Entry(title=_words(message.code))
        return Rendered(*(written(text, values) for text in (entry.title, entry.detail, entry.remedy)))


def _value(parameter: Any, reader: Reader) -> Any:
    if is_message(parameter):
        return Words(render(parameter, reader).text, parameter["code"])
    if isinstance(parameter, list) and any(is_message(one) for one in parameter):
        return Words(" ".join(f"{_value(one, reader)}" for one in parameter))
    return value_of(parameter, reader)


def _words(code: str) -> str:
    return code.replace("-", " ").capitalize()


def is_message(document: Any) -> bool:
    """Whether a part of a stored document is a message."""
    return isinstance(document, Mapping) and "parameters" in document and "code" in document


def answer(stored: Stored, reader: Reader) -> dict[str, Any]:
    """Return a stored finding, safety note or other message for the API; its quantities are still SI."""
    rendered = render(stored, reader)
    rest = {name: value for name, value in stored.items() if name not in ("code", "variant", "parameters")}
    return {
        "code": stored["code"],
        **rest,
        "title": rendered.title,
        "detail": rendered.detail,
        "remedy": rendered.remedy,
        "parameters": {name: answered(value, reader) for name, value in stored["parameters"].items()},
    }


def findings_read(findings: Iterable[Stored], reader: Reader) -> list[dict[str, Any]]:
    """Add the words to stored findings or safety notes, for pages, documents and e-mails: `title`, `detail`, `remedy`, `body` (the last two) and
    `text` (all three)."""
    return [{**one, **_read(one, reader)} for one in findings]


def _read(stored: Stored, reader: Reader) -> dict[str, str]:
    found = render(stored, reader)
    names = ("title", "detail", "remedy", "body", "text")
    return {name: getattr(found, name) for name in names}
