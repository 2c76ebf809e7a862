"""The chart of the readings of a survey: the whole log, or a time range of the log to zoom and move."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import QueryDict
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from compute.base.units import System
from compute.combining.time_alignment import FlowLog
from surveys.core.errors import ServiceError
from surveys.documents.flow_chart import PLOT, result_chart
from surveys.logfiles.zones import EARLIEST, LATEST
from surveys.models import Result
from surveys.pipes.selectors import EPOCH, microseconds
from surveys.results.reduction import result_readings

# Fewer readings are not zoomed in on.
MIN_READINGS_ZOOM = 10


@dataclass(frozen=True, slots=True)
class Window:
    """A time range, in microseconds since 1970 UTC."""

    start: int
    end: int

    def scaled(self, factor: float) -> Window:
        """A time range longer by a factor, with the same middle."""
        room = round((self.end - self.start) * (factor - 1) / 2)
        return Window(self.start - room, self.end + room)

    def moved(self, fraction: float) -> Window:
        """A time range moved by a fraction of its length."""
        step = round((self.end - self.start) * fraction)
        return Window(self.start + step, self.end + step)

    def within(self, other: Window) -> Window:
        """The nearest time range of this length within another one."""
        length = min(self.end - self.start, other.end - other.start)
        start = min(max(self.start, other.start), other.end - length)
        return Window(start, start + length)


def requested_window(query: QueryDict, zone: Any) -> tuple[int | None, int | None]:
    """The time range requested by `from` and `to`; times without an offset are in the site's time zone.

    Raises ServiceError for a text that is not a time, or an end that is not after the start.
    """
    start, end = (_moment(query.get(name, "").strip(), name, zone) for name in ("from", "to"))
    if start is not None and end is not None and end <= start:
        raise ServiceError("ends-too-early/time-range", field="to")
    return start, end


def readings_chart(
    result: Result, requested: tuple[int | None, int | None], units: System, zone: Any
) -> dict[str, Any]:
    """The chart of a result's readings in a time range, with links to other time ranges."""
    log, outliers = result_readings(result, "the log")
    whole = Window(int(log.times.min()), int(log.times.max()))
    shown = _shown(requested, whole)
    inside = (log.times >= shown.start) & (log.times <= shown.end)
    count = int(inside.sum())
    part = FlowLog(log.name, log.times[inside], log.values[inside]) if count else None
    return {
        # Generated from numbers and dates; no user's text is in the chart.
        "svg": mark_safe(result_chart(part, result, units, zone, outliers)) if part else "",  # noqa: S308
        "count": count,
        "of": len(log.times),
        "from": _local(shown.start, zone),
        # The field has whole seconds: round up so that no reading is lost.
        "to": _local(shown.end + 999_999, zone),
        "first": _at(int(part.times.min()) if part else shown.start).isoformat(),
        "last": _at(int(part.times.max()) if part else shown.end).isoformat(),
        "plot": PLOT,
        "ways": _ways(shown, whole, count),
    }


def _shown(requested: tuple[int | None, int | None], whole: Window) -> Window:
    """The time range to show; an end not given is the end of the log, or the length of the log away."""
    start, end = requested
    length = max(whole.end - whole.start, 1)
    if start is None:
        start = whole.start if end is None or end > whole.start else end - length
    if end is None:
        end = whole.end if whole.end > start or start == whole.start else start + length
    return Window(start, end)


def _ways(shown: Window, whole: Window, count: int) -> list[tuple[str, str, str]]:
    """Id, label and query of each time range that differs from the one shown."""
    ways = [
        ("closer", _("Zoom in"), shown.scaled(0.5) if count >= MIN_READINGS_ZOOM else shown),
        ("wider", _("Zoom out"), shown.scaled(2).within(whole)),
        ("earlier", _("Earlier"), shown.moved(-0.5).within(whole)),
        ("later", _("Later"), shown.moved(0.5).within(whole)),
        ("whole", _("Whole log"), whole),
    ]
    return [(key, label, _query(to)) for key, label, to in ways if to != shown]


def _query(window: Window) -> str:
    return urlencode({"from": _at(window.start).isoformat(), "to": _at(window.end).isoformat()})


def _moment(text: str, name: str, zone: Any) -> int | None:
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
        found = microseconds(moment if moment.tzinfo else moment.replace(tzinfo=zone))
    except (ValueError, OverflowError):
        found = LATEST
    # Logs have no times outside these limits, and not every zone can show them.
    if not EARLIEST <= found < LATEST:
        raise ServiceError("time-invalid/time-range", field=name)
    return found


def _at(moment: int) -> datetime:
    return EPOCH + timedelta(microseconds=moment)


def _local(moment: int, zone: Any) -> str:
    """A time in the site's time zone, as the value of a form field."""
    return f"{_at(moment).astimezone(zone):%Y-%m-%dT%H:%M:%S}"
