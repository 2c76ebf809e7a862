"""A form over a record: what is on record, what was typed instead and what was refused, as the page shows it again."""

from __future__ import annotations

import hashlib
import json
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from compute.base.units import KINDS

PLAIN_NUMBER = "number-invalid"


@dataclass(frozen=True, slots=True)
class Entry:
    """A field of the form: what it holds, what is on record, what is wrong."""

    name: str
    label: str
    value: str
    now: str
    becomes: str
    moved: bool
    type: str = "text"
    options: tuple[tuple[str, str], ...] = ()
    # The choice it belongs to, and the values of it.
    when: str = ""
    error: str = ""

    @property
    def key(self) -> str:
        """Its id in the page."""
        return self.name.replace(".", "-")


@dataclass(frozen=True, slots=True)
class FormInitial:
    """What a form begins with, by field: the text shown, the value as stored, what was typed for it at the time."""

    texts: Mapping[str, str]
    values: Mapping[str, Any] = field(default_factory=dict)
    as_entered: Mapping[str, str] = field(default_factory=dict)


class Sheet(ABC):
    """A version on record with what was typed of it so far; before anything was, it is as on record."""

    labels: ClassVar[Mapping[str, str]]
    # What holds where nothing is stated.
    unsaid: ClassVar[Mapping[str, str]] = {}
    # Fields asked for as a number without a unit, and what to write there.
    plain_numbers: ClassVar[Mapping[str, str]] = {}
    # What may have happened; the first is taken where nothing is said.
    kinds: ClassVar[tuple[str, ...]] = ("correction",)

    def __init__(self, on_record: FormInitial, typed: Mapping[str, str]) -> None:
        self._on_record = on_record
        self._typed = {name: _lines(value) for name, value in typed.items()}
        self._errors: dict[str, str] = {}
        kind = self._typed.get("kind", "")
        self.kind = kind if kind in self.kinds else self.kinds[0]

    @property
    @abstractmethod
    def entries(self) -> list[Entry]:
        """Every field in the order of the page, but for the reason."""

    @abstractmethod
    def stated(self) -> dict[str, Any]:
        """As the API takes it."""

    @property
    def reason(self) -> Entry:
        """Why it changes, where that is asked."""
        return self._entry("reason")

    @property
    @abstractmethod
    def submit_label(self) -> str:
        """What the button says that does it."""

    @property
    def seal(self) -> str:
        """Tells one state of the form from another."""
        told = json.dumps([self.kind, self.stated()], sort_keys=True)
        return hashlib.sha256(told.encode()).hexdigest()

    @property
    def changes(self) -> list[Entry]:
        """Fields that no longer hold what is on record, of those that belong to what was chosen."""
        return [one for one in self.entries if one.moved and self._belongs(one)]

    @property
    def nothing_changed(self) -> bool:
        """Whether it all stands as on record."""
        return not self.changes

    def rejected(self, errors: Iterable[Mapping[str, str]]) -> None:
        """Keep what was refused, to be shown at its fields."""
        for one in errors:
            plain = self.plain_numbers.get(one["field"]) if one["code"] == PLAIN_NUMBER else None
            self._errors.setdefault(self._at(one["field"]), plain or one["detail"])

    def typed_of(self, as_entered: Mapping[str, str], before: Mapping[str, str]) -> dict[str, str]:
        """Of the texts of a new version those that somebody typed, now or `before`: a figure sent as it is on record was not."""
        return {
            path: text
            for path, text in as_entered.items()
            if before.get(path) == text or self._as_it_was(name := self._at(path), self._text(name)) is None
        }

    @property
    def wrong(self) -> bool:
        """Whether anything is."""
        return bool(self._errors)

    @property
    def elsewhere(self) -> list[str]:
        """What is wrong with no field of the form."""
        return [detail for name, detail in self._errors.items() if name not in self.labels]

    @property
    def corrected_text(self) -> list[Entry]:
        """Fields that are wrong, in the order of the page."""
        requested = [*self.entries, *([self.reason] if "reason" in self.labels else [])]
        return [one for one in requested if one.error]

    def _was(self, name: str) -> str:
        return self._on_record.texts.get(name, "")

    def _text(self, name: str) -> str:
        return self._typed.get(name, self._was(name))

    def _value(self, name: str) -> str:
        """What a field shows; what was typed, unless something else follows from the rest."""
        return self._text(name)

    def _as_it_was(self, name: str, shown: str) -> Any:
        """The value on record, if a field still shows it and it was never typed: it is shown rounded, and stays as it is; else None."""
        if shown != self._was(name) or shown == self._on_record.as_entered.get(name):
            return None
        stored = self._on_record.values.get(name)
        if isinstance(stored, Mapping):
            return {"value": stored["si"], "unit": KINDS[stored["kind"]].si}
        return stored if isinstance(stored, float) else None

    def _belongs(self, entry: Entry) -> bool:
        """Whether the choice that an entry belongs to was made."""
        if not entry.when:
            return True
        choice, *values = entry.when.split()
        chosen = self.kind if choice == "kind" else self._text(choice)
        return chosen in values if values else bool(chosen)

    def _at(self, field: str) -> str:
        """The field of the form that a field of a request is, or the nearest about it."""
        while field and field not in self.labels:
            field = field.rpartition(".")[0]
        return field

    def _options(self, name: str) -> tuple[tuple[str, str], ...]:
        """What a field offers to choose from; nothing where one types."""
        return ()

    def _known(self, name: str) -> str:
        """How what is on record was known, where that was said."""
        return ""

    def _entry(self, name: str, **more: Any) -> Entry:
        value, was, options = self._value(name), self._was(name), self._options(name)
        titles = dict(options)
        unsaid = self.unsaid.get(name, "not stated")
        return Entry(
            name,
            self.labels[name],
            value,
            (titles.get(was, was) if was else unsaid) + self._known(name),
            titles.get(value, value) if value else unsaid,
            value != was,
            options=options,
            error=self._errors.get(name, ""),
            **more,
        )


def _lines(typed: str) -> str:
    """Text as it is stored: a form ends its lines as networks do."""
    return str(typed).strip().replace("\r\n", "\n")
