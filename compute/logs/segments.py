"""Stretches of a log that count: what a technician marked, which readings lie inside, how a remark names them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, OutOfRange
from compute.base.findings import Finding

Times = NDArray[np.int64]

# A remark names this many stretches one by one, then only counts them.
MAX_SEGMENTS_REPORTED = 3


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of a log that counts, from `start` to `end`, both with it [us since 1970 UTC], and why it was marked."""

    start: int
    end: int
    reason: str = ""

    def __post_init__(self) -> None:
        if self.end < self.start:
            raise OutOfRange(
                f"A marked stretch ends ({moment(self.end)}) before it starts ({moment(self.start)}); exchange the two.",
                field="segments",
            )


def merged(segments: Sequence[Segment]) -> tuple[Segment, ...]:
    """Stretches in order of time; those that overlap or touch as one, so that no reading counts twice.

    Parameters
    ----------
    segments : sequence of Segment

    Returns
    -------
    segments : tuple of Segment  apart from one another; reasons of joined stretches follow one another

    Source
    ------
    definition : union of closed intervals.
    """
    joined: list[Segment] = []
    for segment in sorted(segments, key=lambda s: (s.start, s.end)):
        if joined and segment.start <= joined[-1].end:
            last = joined[-1]
            reasons = dict.fromkeys(filter(None, (last.reason, segment.reason)))
            joined[-1] = Segment(last.start, max(last.end, segment.end), "; ".join(reasons))
        else:
            joined.append(segment)
    return tuple(joined)


def stretch_of(times: Times, segments: Sequence[Segment]) -> NDArray[np.intp]:
    """For each reading the stretch it lies in.

    Parameters
    ----------
    times : (n,) [us]  since 1970 UTC, in any order
    segments : sequence of Segment  apart and in order, as `merged` gives them

    Returns
    -------
    place : (n,) [-]  index of the segment; -1 for a reading outside all of them

    Source
    ------
    definition : start <= time <= end.
    """
    starts = np.array([segment.start for segment in segments], dtype=np.int64)
    ends = np.array([segment.end for segment in segments], dtype=np.int64)
    place = np.searchsorted(starts, times, side="right") - 1
    outside = (place < 0) | (times > ends[place])
    return np.where(outside, -1, place)


def none_inside(segments: Sequence[Segment], first: int, last: int) -> NotEnough:
    """The error for marked stretches that hold no reading.

    Parameters
    ----------
    segments : sequence of Segment
    first : int [us]  earliest reading of the log
    last : int [us]  latest reading of the log

    Returns
    -------
    error : NotEnough  names the stretches and the span of the log

    Source
    ------
    custom : a mean needs a reading.
    """
    return NotEnough(
        f"No reading of this log lies in {_named(segments)}: the log runs from {moment(first)} to {moment(last)} UTC. Mark a stretch "
        "within it, or none to use all readings.",
        field="segments",
    )


def segments_used(segments: Sequence[Segment], used: int, outside: int) -> Finding:
    """What was used of a log of which stretches were marked.

    Parameters
    ----------
    segments : sequence of Segment  as `merged` gives them
    used : int  readings used
    outside : int  readings left out because they lie outside

    Returns
    -------
    finding : Finding

    Source
    ------
    custom : the person who logged knows what the plant did; the remark keeps the choice in sight.
    """
    detail = (
        f"{used} readings in {_named(segments)} count; {outside} readings outside are left out of the result."
    )
    return Finding("segments-used", "info", detail, "segments", float(used), float(used + outside))


def moment(microseconds: int) -> str:
    """A time as remarks word it: UTC, to the second.

    Parameters
    ----------
    microseconds : int [us]  since 1970 UTC

    Returns
    -------
    text : str

    Raises
    ------
    OutOfRange  a time outside the calendar's years 1 to 9999

    Source
    ------
    form : ISO 8601, with a space between day and time.
    """
    try:
        return f"{datetime.fromtimestamp(microseconds // 1_000_000, tz=UTC):%Y-%m-%d %H:%M:%S}"
    except (ValueError, OverflowError, OSError):
        raise OutOfRange(f"{microseconds} us since 1970 is no time of the calendar.", field="time") from None


def _named(segments: Sequence[Segment]) -> str:
    if len(segments) > MAX_SEGMENTS_REPORTED:
        return f"the {len(segments)} marked stretches from {moment(segments[0].start)} to {moment(segments[-1].end)} UTC"
    named = (
        f"{moment(s.start)} to {moment(s.end)} UTC" + (f" ({s.reason})" if s.reason else "") for s in segments
    )
    return f"the marked stretch{'es' if len(segments) > 1 else ''} " + " and ".join(named)
