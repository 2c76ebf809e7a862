"""Detection of the columns of a file from its first rows: time, its format, and quantities."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise

from compute.base.errors import ComputeError
from compute.base.messages import Message, field_name, message, term
from compute.base.unit_table import unit_named
from surveys.logfiles.columns import KIND_BY_COLUMN
from surveys.logfiles.format import At, ColumnAt, TimeAt
from surveys.logfiles.patterns import pattern_of
from surveys.logfiles.row_parser import number_in
from surveys.logfiles.text_detection import Sheet

# Words of the trade for each quantity, in the order they are tried.
WORDS = {
    "time_difference": ("time difference", "transit time difference", "delta t", "dt", "delta time"),
    "transit_time": ("transit time", "travel time", "mean transit time", "time of flight"),
    "sound_speed": ("sound speed", "speed of sound", "sound velocity", "velocity of sound"),
    "signal_to_noise": ("signal to noise", "signal noise ratio", "signal to noise ratio", "snr"),
    "medium_temperature": (
        "medium temperature",
        "fluid temperature",
        "liquid temperature",
        "temperature",
        "temp",
    ),
    "volume_flow": ("volume flow", "volume flow rate", "volumetric flow", "flow rate", "flow", "q"),
    "flow_velocity": ("flow velocity", "mean velocity", "velocity", "flow speed", "v"),
}
_UNIT = re.compile(r"^(.*?)\s*[\[(]([^\[\]()]{1,20})[\])]\s*$")
_NO_VALUE = re.compile(r"[-*?#.]+|n/?a|nan|null|none|err(?:or)?|over|under|", re.IGNORECASE)
_DATES = ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y")
_SHORT_DATES = ("%d.%m.%y", "%d/%m/%y", "%m/%d/%y", "%d-%b-%Y", "%d %b %Y", "%d-%b-%y")
_CLOCKS = ("%H:%M:%S", "%H:%M:%S.%f", "%H:%M:%S,%f", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%H.%M.%S")
_UNIX_SECONDS = (6.3e8, 4.2e9)  # 1990 to 2103
SHOWN_PATTERNS = 4
# Of two readings of the dates the one in which the sample spans less is the likelier.
MAX_LOG_DURATION = timedelta(days=40)


@dataclass(slots=True)
class Columns:
    """Detected columns, with reasons."""

    time: TimeAt = field(default_factory=TimeAt)
    columns: list[ColumnAt] = field(default_factory=list)
    no_value: list[str] = field(default_factory=list)
    reasons: list[Message] = field(default_factory=list)
    warnings: list[Message] = field(default_factory=list)


def columns_of(sheet: Sheet) -> Columns:
    """Propose time and quantities for a sheet."""
    found = Columns()
    taken = _time(sheet, found)
    _quantities(sheet, taken, found)
    return found


def _time(sheet: Sheet, found: Columns) -> set[int]:
    """The time's columns; fills in what was found."""
    for n in range(len(sheet.rows[0])):
        cells = [row[n].strip() for row in sheet.rows]
        time = _as_moments(cells, found) or _as_counts(cells, n, sheet, found)
        if time is not None:
            found.time = TimeAt(_at(sheet, n), None, *time)
            return {n}
        if n + 1 < len(sheet.rows[0]):
            both = [f"{row[n].strip()} {row[n + 1].strip()}" for row in sheet.rows]
            if time := _as_moments(both, found):
                found.time = TimeAt(_at(sheet, n), _at(sheet, n + 1), *time)
                found.reasons.append(message("clock-column-detected", date_column=n + 1, clock_column=n + 2))
                return {n, n + 1}
    found.warnings.append(message("time-not-detected"))
    return set()


def _as_moments(cells: Sequence[str], found: Columns) -> tuple[str, str] | None:
    if not all(len(cell) >= 8 for cell in cells):
        return None
    if all(_is_iso(cell) for cell in cells):
        found.reasons.append(message("time-detected/iso", example=cells[0][:40]))
        if not any(cell.endswith("Z") or re.search(r"[+-][0-9:]{4,5}$", cell[10:]) for cell in cells):
            found.warnings.append(message("zone-assumed"))
        return "iso", ""
    fits = [pattern for pattern in _patterns() if all(pattern_of(pattern).moment(cell) for cell in cells)]
    if not fits:
        return None
    fits.sort(key=lambda pattern: not _runs_on(pattern, cells))
    found.reasons.append(message("time-detected/pattern", pattern=fits[0], example=cells[0][:40]))
    found.warnings.append(message("zone-assumed"))
    if len({pattern.replace("%y", "%Y") for pattern in fits}) > 1:
        found.warnings.append(
            message(
                "day-and-month-ambiguous",
                example=cells[0][:40],
                pattern=fits[0],
                others=fits[1:SHOWN_PATTERNS],
            )
        )
    return "pattern", fits[0]


def _patterns() -> list[str]:
    return [f"{date} {clock}" for date in (*_DATES, *_SHORT_DATES) for clock in _CLOCKS]


def _runs_on(pattern: str, cells: Sequence[str]) -> bool:
    moments = [pattern_of(pattern).moment(cell) for cell in cells]
    times = [moment for moment in moments if moment is not None]
    return all(a <= b for a, b in pairwise(times)) and times[-1] - times[0] < MAX_LOG_DURATION


def _as_counts(cells: Sequence[str], n: int, sheet: Sheet, found: Columns) -> tuple[str, str] | None:
    values = [number_in(cell, sheet.decimal_mark) for cell in cells]
    numbers = [value for value in values if value is not None]
    if len(numbers) < len(values) or any(b < a for a, b in pairwise(numbers)):
        return None
    low, high = _UNIX_SECONDS
    for form, scale in (("unix-seconds", 1.0), ("unix-milliseconds", 1e3)):
        if low * scale <= numbers[0] and numbers[-1] <= high * scale:
            unit = term(form.split("-")[1])
            found.reasons.append(message("time-detected/unix", column=n + 1, unit=unit))
            return form, ""
    name = sheet.header[n].strip().lower() if n < len(sheet.header) else ""
    if n == 0 and numbers[-1] > numbers[0] >= 0 and re.search(r"elapsed|seconds|^t\b|^time", name):
        named = sheet.header[0].strip()[:60]
        found.reasons.append(message("time-detected/elapsed", name=named, first=numbers[0]))
        found.warnings.append(message("start-unknown"))
        return "elapsed-seconds", ""
    return None


def _is_iso(cell: str) -> bool:
    try:
        datetime.fromisoformat(cell)
    except ValueError:
        return False
    return "-" in cell and ":" in cell


def _quantities(sheet: Sheet, taken: set[int], found: Columns) -> None:
    if not sheet.header:
        found.warnings.append(message("header-not-detected"))
        return
    for n, cell in enumerate(sheet.header):
        if n in taken or n >= len(sheet.rows[0]):
            continue
        name, unit = _named(cell, _unit_below(sheet, n))
        if name is None or any(column.name == name for column in found.columns):
            if name is not None:
                found.warnings.append(
                    message(
                        "column-ambiguous", name=cell.strip()[:60], quantity=field_name(f"readings.{name}")
                    )
                )
            continue
        if not unit:
            found.warnings.append(
                message(
                    "column-unit-unknown", name=cell.strip()[:60], quantity=field_name(f"readings.{name}")
                )
            )
            continue
        found.columns.append(ColumnAt(name, _at(sheet, n), unit))
        quantity = field_name(f"readings.{name}")
        found.reasons.append(message("column-detected", name=cell.strip()[:60], quantity=quantity, unit=unit))
        _no_values(sheet, n, found)


def _named(cell: str, unit_below: str) -> tuple[str | None, str]:
    """The quantity a header cell names, and its unit, empty if none is known."""
    match = _UNIT.match(cell.strip())
    text, unit = (match[1], match[2].strip()) if match else (cell.strip(), unit_below)
    words = re.sub(r"[\s_./-]+", " ", text).strip().lower()
    for name, known in WORDS.items():
        if words in known or words == name.replace("_", " "):
            return name, unit if _is_unit(unit, KIND_BY_COLUMN[name]) else ""
    return None, ""


def _unit_below(sheet: Sheet, n: int) -> str:
    for row in sheet.between:
        if n < len(row) and row[n].strip():
            return row[n].strip().strip("[]()")
    return ""


def _is_unit(text: str, kind: str) -> bool:
    try:
        unit_named(text, kind)
    except ComputeError:
        return False
    return True


def _no_values(sheet: Sheet, n: int, found: Columns) -> None:
    """Texts in place of a number."""
    for row in sheet.rows:
        text = row[n].strip()
        if (
            number_in(text, sheet.decimal_mark) is None
            and _NO_VALUE.fullmatch(text)
            and text not in found.no_value
        ):
            found.no_value.append(text)
            found.reasons.append(
                message(
                    "no-value-detected",
                    text=text,
                    quantity=field_name(f"readings.{found.columns[-1].name}"),
                )
            )


def _at(sheet: Sheet, n: int) -> At:
    """A column by its header's text where that is unmistakable, else by its position."""
    cell = sheet.header[n].strip() if n < len(sheet.header) else ""
    alike = [other for other in sheet.header if other.strip().casefold() == cell.casefold()]
    usable = 0 < len(cell) <= 60 and cell.isprintable() and len(alike) == 1
    return cell if usable else n + 1
