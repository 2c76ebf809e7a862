"""Messages as data: a code of the message catalogue and parameters, never a sentence.

A finding, a safety note or an error carries a `Message`. The catalogue (`surveys.core.messages`) has the texts of each code and
renders them for a reader. Parameters are JSON, so that a message is stored as it is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any, Literal

from compute.base.sources import PRACTICE, Source

Severity = Literal["error", "warning", "info"]
Parameters = Mapping[str, Any]


def quantity(si: float | None, kind: str) -> Any:
    """A quantity in SI with its kind, rendered in the reader's units; a plain number for the kind `number`; None if not finite."""
    if si is None or not math.isfinite(si):
        return None
    return float(si) if kind == "number" else {"si": float(si), "kind": kind}


def at(moment: datetime | float) -> dict[str, str]:
    """A moment (aware, or seconds since 1970), rendered in the reader's time zone."""
    when = moment if isinstance(moment, datetime) else datetime.fromtimestamp(moment, UTC)
    return {"at": when.astimezone(UTC).isoformat()}


def day(of: date) -> dict[str, str]:
    """A calendar day."""
    return {"date": of.isoformat()}


def term(word: str) -> dict[str, str]:
    """Return a term of the catalogue, such as `too-close`."""
    return {"term": word}


def field_name(path: str) -> dict[str, str]:
    """Return a field of a request, rendered as its label: `pipe.wall_thickness` as "wall thickness"."""
    return {"field": path}


def record(model: str, id: object, text: str) -> dict[str, str]:
    """A record, rendered as its text."""
    return {"record": model, "id": str(id), "text": text}


@dataclass(frozen=True, slots=True)
class Message:
    """A code of the catalogue and the parameters of its texts.

    The code is what clients branch on and is coarse (`out-of-range`); a variant selects an entry of its own (`out-of-range/too-thick`).
    """

    code: str
    parameters: Parameters = field(default_factory=dict)
    variant: str = ""

    @property
    def key(self) -> str:
        """The key of the catalogue's entry."""
        return f"{self.code}/{self.variant}" if self.variant else self.code

    def stored(self) -> dict[str, Any]:
        """The message as JSON."""
        variant = {"variant": self.variant} if self.variant else {}
        return {"code": self.code, **variant, "parameters": dict(self.parameters)}

    def __str__(self) -> str:
        given = ", ".join(f"{name}={_for_developers(value)}" for name, value in self.parameters.items())
        return f"{self.key}: {given}" if given else self.key


def gettext_noop(text: str) -> str:
    """Mark a text for translation; it is translated where it is read."""
    return text


def message(key: str, /, **parameters: Any) -> Message:
    """Return a message by its key (`code` or `code/variant`); raises TypeError for a parameter that is not JSON."""
    code, _, variant = key.partition("/")
    return Message(code, {name: _json(name, value) for name, value in parameters.items()}, variant)


def _json(name: str, value: Any) -> Any:
    if isinstance(value, Message):
        return value.stored()
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_json(name, one) for one in value]
    if hasattr(value, "item"):  # a NumPy scalar
        value = value.item()
    if value is None or isinstance(value, str | bool | int):
        return str(value) if isinstance(value, str) else value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    raise TypeError(f"The parameter {name} of a message is a {type(value).__name__}, not JSON.")


def _for_developers(value: Any) -> str:
    if isinstance(value, Mapping) and "si" in value:
        return f"{value['si']:.6g} ({value['kind']})"
    if isinstance(value, Mapping) and len(value) == 1:
        return str(next(iter(value.values())))
    return str(value)


@dataclass(frozen=True, slots=True)
class Finding:
    """Result of a plausibility check; created by `finding`.

    message   code and parameters of its texts
    severity  error: do not use the result; warning: check before use; info: for information
    field     path of the field in the request, e.g. `pipe.wall_thickness`; empty for the whole request
    source    where the limit comes from
    """

    message: Message
    severity: Severity
    field: str = ""
    source: Source = PRACTICE

    @property
    def code(self) -> str:
        """The stable code of the message."""
        return self.message.code

    @property
    def parameters(self) -> Parameters:
        """The parameters of the message."""
        return self.message.parameters


def finding(
    key: str, severity: Severity, field: str = "", /, *, source: Source = PRACTICE, **parameters: Any
) -> Finding:
    """A finding by the key of its message (`code` or `code/variant`)."""
    return Finding(message(key, **parameters), severity, field, source)


@dataclass(frozen=True, slots=True)
class SafetyNote:
    """A hazard for people and how to protect against it; made by `safety_note`. It never says that work is safe."""

    message: Message
    source: Source = PRACTICE

    @property
    def code(self) -> str:
        """The stable code of the message."""
        return self.message.code


def safety_note(key: str, /, *, source: Source = PRACTICE, **parameters: Any) -> SafetyNote:
    """A safety note by the key of its message (`code` or `code/variant`)."""
    return SafetyNote(message(key, **parameters), source)
