"""The due list as CSV and as a calendar."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import UTC, date, timedelta
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext

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
    """Return the list as CSV; text that a spreadsheet would read as a formula is prefixed with an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in rows:
        cells = flat(row)
        writer.writerow([_cell(cells[name]) for name in COLUMNS])
    return out.getvalue()


def flat(row: DueRow) -> dict[str, Any]:
    """Return the values of a row by column."""
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
    """Return the due dates as all-day events (RFC 5545); an event keeps its UID while its calibration is the latest."""
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//Flow Surveys//Calibration due//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", gettext("Calibrations due"))
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
    summary = gettext("Calibration due: {kind}, {type}, {serial} ({state})").format(
        kind=one.get_kind_display(), type=one.type_name, serial=one.serial, state=one.get_state_display()
    )
    event.add("summary", summary)
    certificate = gettext("certificate {certificate}").format(certificate=calibration.certificate)
    known = (one.asset_number, one.location, certificate)
    event.add("description", ", ".join(part for part in known if part))
    event.add("transp", "TRANSPARENT")
    return event


def _cell(value: Any) -> Any:
    if isinstance(value, str) and value.lstrip(" ").startswith(FORMULA):
        return f"'{value}"
    return "" if value is None else value
