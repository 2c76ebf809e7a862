"""The due list as CSV and as a calendar."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import UTC, date, timedelta
from typing import TYPE_CHECKING, Any

from surveys.calibration.due_list import DueRow
from surveys.models import Calibration

if TYPE_CHECKING:
    import icalendar

COLUMNS = (
    "status", "kind", "type_name", "serial", "asset_number", "state", "location", "holder", "certificate", "calibrated_on",
    "due_on", "days_left", "hours_used", "hours_left",
)  # fmt: skip
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def due_csv(rows: Iterable[DueRow]) -> str:
    """The list as a table; text that a spreadsheet would take for a formula gets an apostrophe in front."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in rows:
        cells = flat(row)
        writer.writerow([_cell(cells[name]) for name in COLUMNS])
    return out.getvalue()


def flat(row: DueRow) -> dict[str, Any]:
    """A row's plain facts by name."""
    one, calibration = row.instrument, row.calibration
    return {
        "status": row.status,
        "kind": one.kind,
        "type_name": one.type_name,
        "serial": one.serial,
        "asset_number": one.asset_number,
        "state": one.state,
        "location": one.location,
        "holder": one.holder.username if one.holder else None,
        "certificate": calibration.certificate if calibration else None,
        "calibrated_on": calibration.calibrated_on if calibration else None,
        "due_on": row.due_on,
        "days_left": row.days_left,
        "hours_used": round(row.hours_used, 2),
        "hours_left": None if row.hours_left is None else round(row.hours_left, 2),
    }


def due_calendar(rows: Sequence[DueRow]) -> bytes:
    """The due dates as all-day events (RFC 5545); an event keeps its UID while its calibration is the latest."""
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//Flow Surveys//Calibration due//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", "Calibrations due")
    for row in rows:
        if row.calibration is not None and row.due_on is not None:
            calendar.add_component(_event(row, row.calibration, row.due_on))
    return bytes(calendar.to_ical())


def _event(row: DueRow, calibration: Calibration, due_on: date) -> icalendar.Event:
    one = row.instrument
    import icalendar

    event = icalendar.Event()
    event.add("uid", f"calibration-due-{calibration.pk}")
    event.add("dtstamp", calibration.recorded_at.astimezone(UTC))
    event.add("dtstart", due_on)
    event.add("dtend", due_on + timedelta(days=1))
    event.add("summary", f"Calibration due: {one} ({one.get_state_display()})")
    known = (one.type_name, one.asset_number, one.location, f"certificate {calibration.certificate}")
    event.add("description", ", ".join(part for part in known if part))
    event.add("transp", "TRANSPARENT")
    return event


def _cell(value: Any) -> Any:
    if isinstance(value, str) and value.lstrip(" ").startswith(FORMULA):
        return f"'{value}"
    return "" if value is None else value
