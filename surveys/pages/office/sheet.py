"""A form over a record: recorded values, entered values and their errors."""

from __future__ import annotations

import hashlib
import json
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from compute.base.units import KINDS
from surveys.core.messages.numbers import entered_text

PLAIN_NUMBER = "number-invalid"


@dataclass(frozen=True, slots=True)
class Entry:
    """A field of the form: entered value, recorded value, error."""

    name: str
    label: str | Promise
    value: str
    now: str
    becomes: str
    moved: bool
    type: str = "text"
    options: tuple[tuple[str, str | Promise], ...] = ()
    # The choice that the field belongs to, and its values.
    when: str = ""
    error: str = ""

    @property
    def key(self) -> str:
        """Id of the field in the page."""
        return self.name.replace(".", "-")


@dataclass(frozen=True, slots=True)
class FormInitial:
    """Initial state of a form by field: text shown, value stored, text entered at the time."""

    texts: Mapping[str, str]
    values: Mapping[str, Any] = field(default_factory=dict)
    as_entered: Mapping[str, str] = field(default_factory=dict)


class Sheet(ABC):
    """A recorded version with the entered changes."""

    labels: ClassVar[Mapping[str, str | Promise]]
    # Texts shown for empty fields.
    default_texts: ClassVar[Mapping[str, str | Promise]] = {}
    # Fields for a number without a unit, with the remedy for wrong entries.
    plain_numbers: ClassVar[Mapping[str, str | Promise]] = {}
    # Types of change; the first is the default.
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
        """All fields in the order of the page, without the reason."""

    @abstractmethod
    def stated(self) -> dict[str, Any]:
        """Return the request data of the API."""

    @property
    def reason(self) -> Entry:
        """The field for the reason of the change."""
        return self._entry("reason")

    @property
    @abstractmethod
    def submit_label(self) -> str | Promise:
        """Label of the button that saves the change."""

    @property
    def seal(self) -> str:
        """Hash of the state of the form."""
        state = json.dumps([self.kind, self.stated()], sort_keys=True)
        return hashlib.sha256(state.encode()).hexdigest()

    @property
    def changes(self) -> list[Entry]:
        """Changed fields, of those that belong to the selected choices."""
        return [one for one in self.entries if one.moved and self._belongs(one)]

    @property
    def nothing_changed(self) -> bool:
        """Whether all fields have their recorded values."""
        return not self.changes

    def rejected(self, errors: Iterable[Mapping[str, str]]) -> None:
        """Store the errors of a rejected request by field."""
        for one in errors:
            plain = self.plain_numbers.get(one["field"]) if one["code"] == PLAIN_NUMBER else None
            self._errors.setdefault(self._at(one["field"]), str(plain or one["detail"]))

    def typed_of(self, as_entered: Mapping[str, str], before: Mapping[str, str]) -> dict[str, str]:
        """Return the texts of a new version that were entered, now or `before`, without values sent as recorded."""
        return {
            path: text
            for path, text in as_entered.items()
            if before.get(path) == text or self._as_it_was(name := self._at(path), self._text(name)) is None
        }

    @property
    def wrong(self) -> bool:
        """Whether the form has errors."""
        return bool(self._errors)

    @property
    def elsewhere(self) -> list[str]:
        """Errors that belong to no field of the form."""
        return [detail for name, detail in self._errors.items() if name not in self.labels]

    @property
    def fields_with_errors(self) -> list[Entry]:
        """Fields with errors in the order of the page."""
        fields = [*self.entries, *([self.reason] if "reason" in self.labels else [])]
        return [one for one in fields if one.error]

    def _was(self, name: str) -> str:
        return self._on_record.texts.get(name, "")

    def _text(self, name: str) -> str:
        return self._typed.get(name, self._was(name))

    def _value(self, name: str) -> str:
        """Return the text that a field shows: the entered text, unless it follows from other fields."""
        return self._text(name)

    def _as_it_was(self, name: str, shown: str) -> Any:
        """Return the stored value of a field that still shows it rounded and was never entered; else None."""
        if shown != self._was(name) or shown == self._on_record.as_entered.get(name):
            return None
        stored = self._on_record.values.get(name)
        if isinstance(stored, Mapping):
            return {"value": stored["si"], "unit": KINDS[stored["kind"]].si}
        return stored if isinstance(stored, float) else None

    def _belongs(self, entry: Entry) -> bool:
        """Whether the choice that an entry belongs to is selected."""
        if not entry.when:
            return True
        choice, *values = entry.when.split()
        chosen = self.kind if choice == "kind" else self._text(choice)
        return chosen in values if values else bool(chosen)

    def _at(self, field: str) -> str:
        """Return the field of the form for a field of a request, or the nearest enclosing one."""
        while field and field not in self.labels:
            field = field.rpartition(".")[0]
        return field

    def _options(self, name: str) -> tuple[tuple[str, str | Promise], ...]:
        """Return the options of a field; empty for a text field."""
        return ()

    def _with_source(self, name: str, recorded: str) -> str:
        """Return a recorded value with its source, if a source is recorded."""
        return recorded

    def _entry(self, name: str, **more: Any) -> Entry:
        value, was, options = self._value(name), self._was(name), self._options(name)
        titles = dict(options)

        def shown(text: str) -> str:
            return str(titles.get(text, entered_text(text)))

        default = str(self.default_texts.get(name, _("not entered")))
        return Entry(
            name,
            self.labels[name],
            value,
            self._with_source(name, shown(was) if was else default),
            shown(value) if value else default,
            value != was,
            options=options,
            error=self._errors.get(name, ""),
            **more,
        )


def _lines(typed: str) -> str:
    """Return a text with the line ends of stored texts."""
    return str(typed).strip().replace("\r\n", "\n")
