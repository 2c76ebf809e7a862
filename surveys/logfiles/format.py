"""The log format: how a logger's file is to be read, as a record its users make and try out.

A log format describes any file of rows: the delimiter of the columns, the columns of the quantities and their units,
how times are written and in which zone. The plain log format is the one a file has that names its own columns.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from compute.base.errors import ComputeError
from compute.base.unit_table import unit_named
from surveys.core.errors import ServiceError
from surveys.logfiles.columns import KIND_BY_COLUMN, SUFFICIENT, TIME
from surveys.logfiles.patterns import FIELDS, MAX_PATTERN_LENGTH, pattern_error

FORMS = ("csv", "parquet")
ENCODINGS = ("utf-8", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252")
TIME_FORMS = ("iso", "pattern", "unix-seconds", "unix-milliseconds", "elapsed-seconds")
SITE_ZONE = "site"
MAX_COLUMNS = 64
MAX_LINES_SKIPPED = 1000
MAX_NO_VALUES = 16
MAX_TEXT_LENGTH = 60
_FIXED_ZONE = re.compile(r"UTC([+-])([01][0-9]|2[0-3]):([0-5][0-9])", re.ASCII)
# A character of numbers or times cannot be a delimiter.
_NEVER_A_DELIMITER = frozenset("+-.\r\n\0\"'")

At = str | int


@dataclass(frozen=True, slots=True)
class ColumnAt:
    """Column of a quantity: the text of its header cell, or its position counted from 1.

    Without a unit the one in brackets behind the header's text counts. A turned column is counted the other
    way by the logger.
    """

    name: str
    at: At
    unit: str = ""
    turned: bool = False


@dataclass(frozen=True, slots=True)
class TimeAt:
    """Column and notation of the time; with `clock` the first column is the date only."""

    at: At = TIME
    clock: At | None = None
    form: str = "iso"
    pattern: str = ""
    zone: str = SITE_ZONE
    starts_at: str = ""


@dataclass(frozen=True, slots=True)
class LogFormat:
    """Description of a log file. The default is the plain log format.

    `delimiter` empty: comma, semicolon or tab, whichever the header has. `header_line` None: no header, the
    columns go by position. `columns` empty: the header names them, as in `transit_time [us]`.
    """

    form: str = "csv"
    encoding: str = "utf-8"
    delimiter: str = ""
    decimal_mark: str = "."
    quote: str = '"'
    comment: str = ""
    header_line: int | None = 1
    skip_after_header: int = 0
    no_value: tuple[str, ...] = ()
    time: TimeAt = field(default_factory=TimeAt)
    columns: tuple[ColumnAt, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The log format as a JSON object."""
        return asdict(self) | {
            "no_value": list(self.no_value),
            "columns": [asdict(column) for column in self.columns],
        }

    @classmethod
    def from_json(cls, raw: object) -> LogFormat:
        """A log format from a JSON object; the plain log format gives the default of each member.

        Raises ServiceError naming the field, such as `log_format.delimiter`.
        """
        given = _object(raw, cls, "format")
        if "time" in given:
            given["time"] = TimeAt(**_object(given["time"], TimeAt, "format.time"))
        if "no_value" in given:
            given["no_value"] = tuple(_list(given["no_value"], MAX_NO_VALUES, "format.no_value"))
        if "columns" in given:
            given["columns"] = tuple(
                _column(column, f"format.columns.{n}")
                for n, column in enumerate(_list(given["columns"], MAX_COLUMNS, "format.columns"))
            )
        log_format = cls(**given)
        log_format.check()
        return log_format

    def check(self) -> None:
        """Raise ServiceError for an invalid log format."""
        _one_of(self.form, FORMS, "format.form")
        _one_of(self.encoding, ENCODINGS, "format.encoding")
        _one_of(self.decimal_mark, (".", ","), "format.decimal_mark")
        _one_of(self.quote, ("", '"', "'"), "format.quote")
        _check_marks(self)
        _check_lines(self)
        for n, text in enumerate(self.no_value):
            _text(text, f"format.no_value.{n}")
        _check_time(self.time, self.header_line is not None or self.form == "parquet")
        _check_columns(self)


PLAIN = LogFormat()


def zone_named(name: str) -> tzinfo | None:
    """Return the zone of a text of a log format; None is the zone of the site.

    Raises ServiceError for an unknown zone.
    """
    if name == SITE_ZONE:
        return None
    if name == "UTC":
        return UTC
    if fixed := _FIXED_ZONE.fullmatch(name):
        offset = timedelta(hours=int(fixed[2]), minutes=int(fixed[3]))
        return timezone(offset if fixed[1] == "+" else -offset)
    if name in available_timezones():
        return ZoneInfo(name)
    raise _invalid("log-format-invalid/zone", "format.time.zone", given=_shown(name))


def _check_marks(log_format: LogFormat) -> None:
    mark = log_format.delimiter
    if not isinstance(mark, str) or len(mark) > 1 or (mark and not _may_part(mark)):
        raise _invalid("log-format-invalid/delimiter", "format.delimiter")
    if mark and mark == log_format.decimal_mark:
        raise _invalid("log-format-invalid/delimiter-is-decimal-mark", "format.delimiter", mark=mark)
    comment = log_format.comment
    if not isinstance(comment, str) or len(comment) > 3 or not comment.isascii() or not _plain(comment):
        raise _invalid("log-format-invalid/comment", "format.comment")
    if comment and (comment[0].isalnum() or comment[0] in "+-." or comment[0] in (mark, log_format.quote)):
        raise _invalid("log-format-invalid/comment-hides-rows", "format.comment")


def _may_part(mark: str) -> bool:
    return mark == "\t" or (
        mark.isascii() and mark.isprintable() and not mark.isalnum() and mark not in _NEVER_A_DELIMITER
    )


def _check_lines(log_format: LogFormat) -> None:
    line, skip = log_format.header_line, log_format.skip_after_header
    if line is not None and (type(line) is not int or not 1 <= line <= MAX_LINES_SKIPPED):
        raise _invalid("log-format-invalid/header-line", "format.header_line", at_most=MAX_LINES_SKIPPED)
    if type(skip) is not int or not 0 <= skip <= MAX_LINES_SKIPPED:
        raise _invalid(
            "log-format-invalid/skipped-lines", "format.skip_after_header", at_most=MAX_LINES_SKIPPED
        )


def _check_time(time: TimeAt, header: bool) -> None:
    _at(time.at, header, "format.time.at")
    if time.clock is not None:
        _at(time.clock, header, "format.time.clock")
        if time.form not in ("iso", "pattern"):
            raise _invalid("log-format-invalid/clock-form", "format.time.form")
    _one_of(time.form, TIME_FORMS, "format.time.form")
    if not isinstance(time.pattern, str) or (time.form != "pattern" and time.pattern):
        raise _invalid("log-format-invalid/pattern-form", "format.time.pattern")
    if time.form == "pattern" and (error := pattern_error(time.pattern)):
        letters = [f"%{letter}" for letter in FIELDS]
        raise _invalid(error, "format.time.pattern", letters=letters, at_most=MAX_PATTERN_LENGTH)
    if not isinstance(time.zone, str):
        raise _invalid("log-format-invalid/not-text", "format.time.zone")
    zone_named(time.zone)
    if not isinstance(time.starts_at, str):
        raise _invalid("log-format-invalid/not-text", "format.time.starts_at")
    if time.starts_at:
        start_named(time.starts_at)


def start_named(text: str) -> datetime:
    """The start that elapsed seconds count from; without an offset it is the log format's zone's time."""
    try:
        start = datetime.fromisoformat(text)
    except ValueError:
        start = None
    if start is None or not 1970 <= start.year <= 2199:
        raise _invalid("log-format-invalid/start", "format.time.starts_at", given=_shown(text))
    return start


def _check_columns(log_format: LogFormat) -> None:
    if not log_format.columns:
        if log_format.header_line is None and log_format.form == "csv":
            raise _invalid("log-format-invalid/columns-without-header", "format.columns")
        return
    header = log_format.header_line is not None or log_format.form == "parquet"
    names = []
    for n, column in enumerate(log_format.columns):
        where = f"format.columns.{n}"
        _one_of(column.name, tuple(KIND_BY_COLUMN), f"{where}.name")
        _at(column.at, header, f"{where}.at")
        if type(column.turned) is not bool:
            raise _invalid("log-format-invalid/not-boolean", f"{where}.turned")
        _check_unit(column, header, where)
        names.append(column.name)
    if len(set(names)) < len(names):
        raise _invalid("log-format-invalid/quantity-repeated", "format.columns")
    if not any(need <= set(names) for need in SUFFICIENT):
        raise _invalid("log-format-invalid/quantities-missing", "format.columns")
    places = [log_format.time.at, log_format.time.clock, *(column.at for column in log_format.columns)]
    taken = [place for place in places if place is not None]
    if len({(type(place), place) for place in taken}) < len(taken):
        raise _invalid("log-format-invalid/column-shared", "format.columns")


def _check_unit(column: ColumnAt, header: bool, where: str) -> None:
    if not isinstance(column.unit, str):
        raise _invalid("log-format-invalid/not-text", f"{where}.unit")
    if not column.unit:
        if not header or isinstance(column.at, int):
            raise ServiceError("unit-missing/log-format", field=f"{where}.unit", name=column.name)
        return
    try:
        unit_named(column.unit, KIND_BY_COLUMN[column.name])
    except ComputeError as error:
        raise ServiceError.of(error, field=f"{where}.unit") from None


def _at(at: object, header: bool, where: str) -> None:
    if type(at) is int:
        if not 1 <= at <= MAX_COLUMNS:
            raise _invalid("log-format-invalid/position", where, at_most=MAX_COLUMNS)
    elif not isinstance(at, str) or not at.strip() or len(at) > MAX_TEXT_LENGTH or not _plain(at):
        raise _invalid("log-format-invalid/column", where)
    elif not header:
        raise _invalid("log-format-invalid/position-needed", where)


def _one_of(value: object, allowed: tuple[str, ...], where: str) -> None:
    if not isinstance(value, str) or value not in allowed:
        raise _invalid("log-format-invalid/choice", where, given=_shown(value), choices=list(allowed))


def _text(text: object, where: str) -> None:
    if not isinstance(text, str) or len(text) > MAX_TEXT_LENGTH or text != text.strip() or not _plain(text):
        raise _invalid("log-format-invalid/text", where, at_most=MAX_TEXT_LENGTH)


def _plain(text: str) -> bool:
    """Whether a text has no control characters and can be stored and sent back."""
    return all(character.isprintable() for character in text)


def _object(raw: object, cls: type, where: str) -> dict[str, Any]:
    known = {f.name for f in fields(cls)}
    if not isinstance(raw, Mapping):
        raise _invalid("log-format-invalid/not-object", where)
    if unknown := sorted(str(key)[:MAX_TEXT_LENGTH] for key in raw if key not in known):
        raise _invalid("log-format-invalid/unknown-member", where, name=unknown[0], known=sorted(known))
    return dict(raw)


def _column(raw: object, where: str) -> ColumnAt:
    given = _object(raw, ColumnAt, where)
    if missing := [name for name in ("name", "at") if name not in given]:
        raise _invalid("log-format-invalid/member-missing", where, name=missing[0])
    return ColumnAt(**given)


def _list(raw: object, most: int, where: str) -> list[Any]:
    if not isinstance(raw, list | tuple) or len(raw) > most:
        raise _invalid("log-format-invalid/not-list", where, at_most=most)
    return list(raw)


def _shown(value: object) -> str:
    text = str(value)[: MAX_TEXT_LENGTH * 2].encode("utf-8", "backslashreplace").decode()
    return "".join(one if one.isprintable() else " " for one in text[:MAX_TEXT_LENGTH])


def _invalid(key: str, where: str, **parameters: Any) -> ServiceError:
    return ServiceError(key, field=where, **parameters)
