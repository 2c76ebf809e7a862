"""The readings of a survey as a chart to look into: the whole log, or a stretch of it, closer or wider by a click."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import QueryDict
from django.utils.safestring import mark_safe

from compute.base.units import System
from compute.combining.time_alignment import FlowLog
from surveys.core.errors import ServiceError
from surveys.documents.flow_chart import PLOT, result_chart
from surveys.logfiles.zones import EARLIEST, LATEST
from surveys.models import Result
from surveys.pipes.selectors import EPOCH, microseconds
from surveys.results.reduction import result_flows

# Fewer are not looked at closer.
MIN_SHOWN = 10


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of time, in microseconds since 1970 UTC."""

    start: int
    end: int

    def scaled(self, factor: float) -> Window:
        """As long by a factor, about the same middle."""
        room = round((self.end - self.start) * (factor - 1) / 2)
        return Window(self.start - room, self.end + room)

    def moved(self, share: float) -> Window:
        """Later by a share of its length, or earlier."""
        step = round((self.end - self.start) * share)
        return Window(self.start + step, self.end + step)

    def within(self, other: Window) -> Window:
        """Itself as far as it lies in another, keeping its length where that has room for it."""
        length = min(self.end - self.start, other.end - other.start)
        start = min(max(self.start, other.start), other.end - length)
        return Window(start, start + length)


def requested_window(query: QueryDict, zone: Any) -> tuple[int | None, int | None]:
    """The stretch asked for by `from` and `to`; times without an offset are by the site's clock.

    Raises ServiceError for what is no time, or an end that is not after its start.
    """
    start, end = (_moment(query.get(name, "").strip(), name, zone) for name in ("from", "to"))
    if start is not None and end is not None and end <= start:
        raise ServiceError("The stretch has to end after it starts.", code="ends-too-early", field="to")
    return start, end


def readings_chart(
    result: Result, requested: tuple[int | None, int | None], units: System, zone: Any
) -> dict[str, Any]:
    """The chart of a result's readings, or of those in a stretch, with the ways to look closer, wider, earlier and later."""
    log = result_flows(result, "the log")
    whole = Window(int(log.times.min()), int(log.times.max()))
    shown = _shown(requested, whole)
    inside = (log.times >= shown.start) & (log.times <= shown.end)
    count = int(inside.sum())
    part = FlowLog(log.name, log.times[inside], log.values[inside]) if count else None
    return {
        # Made by our own code from numbers and dates: no text of anybody's is in it.
        "svg": mark_safe(result_chart(part, result, units, zone)) if part else "",  # noqa: S308
        "count": count,
        "of": len(log.times),
        "from": _local(shown.start, zone),
        # The field has whole seconds: none of the stretch is to be lost.
        "to": _local(shown.end + 999_999, zone),
        "first": _at(int(part.times.min()) if part else shown.start).isoformat(),
        "last": _at(int(part.times.max()) if part else shown.end).isoformat(),
        "plot": PLOT,
        "ways": _ways(shown, whole, count),
    }


def _shown(requested: tuple[int | None, int | None], whole: Window) -> Window:
    """What is asked for; where one end is not, it is the log's, or as far off as the log is long."""
    start, end = requested
    length = max(whole.end - whole.start, 1)
    if start is None:
        start = whole.start if end is None or end > whole.start else end - length
    if end is None:
        end = whole.end if whole.end > start or start == whole.start else start + length
    return Window(start, end)


def _ways(shown: Window, whole: Window, count: int) -> list[tuple[str, str, str]]:
    """Id, label and query of each other stretch to go to from here; none that would show the same."""
    ways = [
        ("closer", "Closer", shown.scaled(0.5) if count >= MIN_SHOWN else shown),
        ("wider", "Wider", shown.scaled(2).within(whole)),
        ("earlier", "Earlier", shown.moved(-0.5).within(whole)),
        ("later", "Later", shown.moved(0.5).within(whole)),
        ("whole", "Whole log", whole),
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
    # A log has no other times, and a calendar no page for them in every zone.
    if not EARLIEST <= found < LATEST:
        raise ServiceError("Write a time such as 2026-10-06 09:30:00.", code="time-invalid", field=name)
    return found


def _at(moment: int) -> datetime:
    return EPOCH + timedelta(microseconds=moment)


def _local(moment: int, zone: Any) -> str:
    """By the site's clock, as a field of a form takes it."""
    return f"{_at(moment).astimezone(zone):%Y-%m-%dT%H:%M:%S}"
