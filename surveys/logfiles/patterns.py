"""Times written by a pattern of the usual percent letters: one alone with what is wrong, or many at once.

Only a closed list of letters is known, months are English, and nothing depends on the machine's locale.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Letters = NDArray[np.uint8]
MAX_PATTERN_LENGTH = 60
# Letter -> what it may be in a text, and its width where all texts are of one width.
FIELDS = {
    "Y": (r"[0-9]{4}", 4),
    "y": (r"[0-9]{2}", 2),
    "m": (r"[0-9]{1,2}", 2),
    "b": (r"[A-Za-z]{3}", 3),
    "d": (r"[0-9]{1,2}", 2),
    "H": (r"[0-9]{1,2}", 2),
    "I": (r"[0-9]{1,2}", 2),
    "M": (r"[0-9]{1,2}", 2),
    "S": (r"[0-9]{1,2}", 2),
    "f": (r"[0-9]{1,6}", 0),
    "p": (r"[AaPp][Mm]", 2),
    "z": (r"Z|[+-][0-9]{2}:?[0-9]{2}", 0),
}
LITERALS = frozenset(" -/.:,;_()'T")
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAYS = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], dtype=np.int64)
# Two-digit years: what was logged with such an instrument was logged after 1968 (the rule of POSIX).
_CENTURY_TURNS = 69
DAY = 86_400_000_000


@dataclass(frozen=True, slots=True)
class Pattern:
    """A pattern taken apart: letters (`%` gone) and literal texts in order, and the expression it matches."""

    parts: tuple[tuple[str, str], ...]
    expression: re.Pattern[str]

    def moment(self, text: str) -> datetime | None:
        """The time in a text, with an offset only where the pattern has one; None if it is not such a time."""
        found = self.expression.fullmatch(text)
        if found is None:
            return None
        try:
            return _moment(found.groupdict())
        except (ValueError, OverflowError):
            return None

    def many(self, letters: Letters) -> NDArray[np.int64] | None:
        """Local microseconds since 1970 of (n, width) characters; None if any is not plainly such a time."""
        fields = self._fields(letters)
        return None if fields is None else _microseconds(fields, len(letters))

    def _fields(self, letters: Letters) -> dict[str, NDArray[np.int64]] | None:
        spare = letters.shape[1] - sum(
            FIELDS[letter][1] if letter else len(literal) for letter, literal in self.parts
        )
        if spare < 0 or (spare and not any(letter == "f" for letter, _ in self.parts)) or spare > 6:
            return None
        fields: dict[str, NDArray[np.int64]] = {}
        at = 0
        for letter, literal in self.parts:
            width = spare if letter == "f" else FIELDS[letter][1] if letter else len(literal)
            cells = letters[:, at : at + width]
            at += width
            if not letter:
                if (cells != np.frombuffer(literal.encode("ascii"), dtype=np.uint8)).any():
                    return None
                continue
            values = _values(letter, cells)
            if values is None:
                return None
            fields[letter] = values
        return fields


def pattern_error(text: str) -> str:
    """The key of the message on an invalid pattern; empty for a valid one."""
    letters = re.findall(r"%(.?)", text)
    if len(text) > MAX_PATTERN_LENGTH or set(letters) - FIELDS.keys():
        return "log-format-invalid/pattern-letters"
    if set(re.sub(r"%.", "", text)) - LITERALS:
        return "log-format-invalid/pattern-marks"
    if len(set(letters)) < len(letters):
        return "log-format-invalid/pattern-repeats"
    date = {"d"} <= set(letters) and len({"Y", "y"} & set(letters)) == len({"m", "b"} & set(letters)) == 1
    hours = "H" in letters if "p" not in letters else "I" in letters and "H" not in letters
    if not date or not hours or ("I" in letters and "p" not in letters) or "M" not in letters:
        return "log-format-invalid/pattern-incomplete"
    if "f" in letters and "S" not in letters:
        return "log-format-invalid/pattern-fraction"
    return ""


@lru_cache(maxsize=64)
def pattern_of(text: str) -> Pattern:
    """A valid pattern, see `pattern_error`."""
    parts = []
    expression = ""
    for letter, literal in re.findall(r"%(.)|([^%]+)", text):
        parts.append((letter, literal))
        expression += f"(?P<{letter}>{FIELDS[letter][0]})" if letter else re.escape(literal)
    return Pattern(tuple(parts), re.compile(expression, re.ASCII))


def _moment(found: dict[str, str]) -> datetime:
    year = int(found["Y"]) if "Y" in found else int(found["y"])
    if "y" in found:
        year += 1900 if year >= _CENTURY_TURNS else 2000
    month = int(found["m"]) if "m" in found else MONTHS.index(found["b"].lower()) + 1
    hour = int(found["H"]) if "H" in found else int(found["I"])
    if "p" in found:
        if not 1 <= hour <= 12:
            raise ValueError("no hour of a twelve-hour clock")
        hour = hour % 12 + (12 if found["p"].lower() == "pm" else 0)
    moment = datetime(  # noqa: DTZ001 - local by the log's clock
        year,
        month,
        int(found["d"]),
        hour,
        int(found["M"]),
        int(found.get("S") or 0),
        int((found.get("f") or "0").ljust(6, "0")),
    )
    return moment.replace(tzinfo=_offset(found["z"])) if "z" in found else moment


def _offset(text: str) -> timezone:
    if text == "Z":
        return UTC
    size = timedelta(hours=int(text[1:3]), minutes=int(text[-2:]))
    return timezone(size if text[0] == "+" else -size)


def _values(letter: str, cells: Letters) -> NDArray[np.int64] | None:
    if letter == "z" or not cells.shape[1]:
        return None
    if letter == "p":
        first = cells[:, 0] | 32
        ok = ((cells[:, 1] | 32) == ord("m")) & ((first == ord("p")) | (first == ord("a")))
        return (first == ord("p")).astype(np.int64) if ok.all() else None
    if letter == "b":
        return _months(cells)
    digits = cells - np.uint8(48)  # what is below "0" wraps round to far above 9
    if (digits > 9).any():
        return None
    value = np.zeros(len(cells), dtype=np.int64)
    for at in range(digits.shape[1]):
        value *= 10
        value += digits[:, at]
    return value * 10 ** (6 - digits.shape[1]) if letter == "f" else value


def _months(cells: Letters) -> NDArray[np.int64] | None:
    key = ((cells[:, 0].astype(np.int64) | 32) << 16) | ((cells[:, 1].astype(np.int64) | 32) << 8)
    key |= cells[:, 2].astype(np.int64) | 32
    names = np.array([(ord(m[0]) << 16) | (ord(m[1]) << 8) | ord(m[2]) for m in MONTHS])
    order = np.argsort(names)
    at = np.minimum(np.searchsorted(names[order], key), 11)
    letters = ((cells >= 65) & (cells <= 90)) | ((cells >= 97) & (cells <= 122))
    return order[at] + 1 if letters.all() and (names[order][at] == key).all() else None


def _microseconds(fields: dict[str, NDArray[np.int64]], count: int) -> NDArray[np.int64] | None:
    zero = np.zeros(count, dtype=np.int64)
    year = fields["Y"] if "Y" in fields else fields["y"] + np.where(fields["y"] >= _CENTURY_TURNS, 1900, 2000)
    month = fields["m"] if "m" in fields else fields["b"]
    day, hour, minute, second = fields["d"], fields.get("H", zero), fields["M"], fields.get("S", zero)
    if "p" in fields:
        twelve = fields["I"]
        if ((twelve < 1) | (twelve > 12)).any():
            return None
        hour = twelve % 12 + 12 * fields["p"]
    outside: Sequence[NDArray[np.bool_]] = (
        year < 1,
        month < 1,
        month > 12,
        day < 1,
        hour > 23,
        minute > 59,
        second > 59,
    )
    if any(bad.any() for bad in outside):
        return None
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    if (day > _DAYS[month] + (leap & (month == 2))).any():
        return None
    clock = ((hour * 60 + minute) * 60 + second) * 1_000_000 + fields.get("f", zero)
    return _days_since_1970(year, month, day) * DAY + clock


def _days_since_1970(
    year: NDArray[np.int64], month: NDArray[np.int64], day: NDArray[np.int64]
) -> NDArray[np.int64]:
    months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    return months.astype("datetime64[D]").astype(np.int64) + day - 1
