"""Marked segments of a log: the readings inside them, and messages about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Finding, at, finding

Times = NDArray[np.int64]

# A message lists the times of up to this many segments; of more only the first and the last.
MAX_SEGMENTS_REPORTED = 3
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Segment:
    """A marked segment of a log, from `start` to `end` inclusive [us since 1970 UTC], and the reason for the mark."""

    start: int
    end: int
    reason: str = ""

    def __post_init__(self) -> None:
        if self.end < self.start:
            raise OutOfRange(
                field="segments",
                variant="segment-reversed",
                start=moment(self.start),
                end=moment(self.end),
            )


def merged(segments: Sequence[Segment]) -> tuple[Segment, ...]:
    """Return segments in order of time; overlapping or adjacent segments are joined, so that no reading counts twice.

    Parameters
    ----------
    segments : sequence of Segment

    Returns
    -------
    segments : tuple of Segment  apart from one another; reasons of joined segments follow one another

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


def segment_indexes(times: Times, segments: Sequence[Segment]) -> NDArray[np.intp]:
    """Return the index of the segment of each reading.

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
    """Return the error for marked segments without a reading.

    Parameters
    ----------
    segments : sequence of Segment
    first : int [us]  earliest reading of the log
    last : int [us]  latest reading of the log

    Returns
    -------
    error : NotEnough  names the segments and the span of the log

    Source
    ------
    custom : a mean needs a reading.
    """
    return NotEnough(
        field="segments",
        variant="no-reading-in-segments",
        log_start=moment(first),
        log_end=moment(last),
        **_span(segments),
    )


def segments_used(segments: Sequence[Segment], used: int, outside: int) -> Finding:
    """Return the finding that only marked segments of a log are used.

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
    custom : the person who logged knows what the plant did; the finding records the choice.
    """
    return finding(
        "segments-used",
        "info",
        "segments",
        used=used,
        outside=outside,
        reasons=[segment.reason for segment in segments if segment.reason] or None,
        **_span(segments),
    )


def moment(microseconds: int) -> dict[str, str]:
    """Return a time of a log as a parameter of a message.

    Parameters
    ----------
    microseconds : int [us]  since 1970 UTC

    Returns
    -------
    moment : dict

    Raises
    ------
    OutOfRange  a time outside the calendar's years 1 to 9999

    Source
    ------
    form : ISO 8601.
    """
    try:
        return at(EPOCH + timedelta(microseconds=microseconds))
    except OverflowError:
        raise OutOfRange(field="time", variant="outside-calendar") from None


def _span(segments: Sequence[Segment]) -> dict[str, Any]:
    """Return number and times of segments; the times of each where there are few."""
    few = len(segments) <= MAX_SEGMENTS_REPORTED
    return {
        "count": len(segments),
        "start": moment(segments[0].start),
        "end": moment(segments[-1].end),
        "starts": [moment(segment.start) for segment in segments] if few else None,
        "ends": [moment(segment.end) for segment in segments] if few else None,
    }
