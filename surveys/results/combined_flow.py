"""Results of several surveys to one flow: the mean of paths, or a sum, difference or mean over the time their logs share.

The owner of each uncertainty decides what is shared. In unclear cases the larger uncertainty is used:
one medium under one name at a site counts as shared where uncertainties add (sum, mean) and as each pipe's own where
they would cancel (difference); if a survey used several meters, they count as one that no other set shares. A mounting is that of
one meter and one pair at one point: results of the same three share its zero and spacing where uncertainties add, and no two
surveys share it in a difference.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import cast

import numpy as np

from compute.combining.combination import Combined, combine_as
from compute.combining.combination import Kind as OfOneTime
from compute.combining.components import Owner, Part, part_of_result
from compute.combining.paths import Path, combine_paths
from compute.combining.time_alignment import CombineBy, FlowLog, align_logs, joint_repeatability, overlap
from compute.logs.segments import Segment, merged
from surveys.core.stored_quantities import budget_rows
from surveys.models import Combination, Result
from surveys.models.instrument import Kind
from surveys.pipes.selectors import EPOCH, marked_segments
from surveys.results.reduction import result_flows, result_within

MULTIPATH, SUM, DIFFERENCE, MEAN = (
    Combination.Kind.MULTIPATH,
    Combination.Kind.SUM,
    Combination.Kind.DIFFERENCE,
    Combination.Kind.MEAN,
)


@dataclass(frozen=True, slots=True)
class CombinedFlow:
    """A combined flow; coefficients and flows [m3/s] in the order of the results.

    `steps` of time in which all of them have readings; None for paths, which need not have run together.
    """

    kind: str
    combined: Combined
    coefficients: tuple[float, ...]
    flows: tuple[float, ...]
    window: tuple[datetime, datetime]
    steps: int | None

    @property
    def spread(self) -> float | None:
        """The largest flow less the smallest, where all are of one flow or of like ones."""
        return max(self.flows) - min(self.flows) if self.kind in (MULTIPATH, MEAN) else None


def combined_flow(kind: str, results: Sequence[Result]) -> CombinedFlow:
    """Combine results. Reads logs for all but paths; writes nothing.

    Raises ComputeError where they cannot be: no time in common, or readings that are not possible.
    """
    return _of_paths(results) if kind == MULTIPATH else _of_one_time(kind, results)


def _of_paths(results: Sequence[Result]) -> CombinedFlow:
    paths = [
        Path(
            part_of_result(
                result.volume_flow_m3_s,
                budget_rows(result.budget),
                _owners(result, MULTIPATH),
                name=_path_name(number, result),
            ),
            result.survey_data.setup.traverses,
            result.survey_data.path_angle_rad,
        )
        for number, result in enumerate(results, start=1)
    ]
    spans = [_span(result) for result in results]
    return CombinedFlow(
        MULTIPATH,
        combine_paths(paths).combined,
        tuple(1 / len(paths) for _ in paths),
        tuple(path.part.value for path in paths),
        (min(start for start, _ in spans), max(end for _, end in spans)),
        None,
    )


def _of_one_time(kind: str, results: Sequence[Result]) -> CombinedFlow:
    logs = [result_flows(r, name) for r, name in zip(results, _names(results), strict=True)]
    together = align_logs(logs)
    segments = _segments(together, logs)
    parts = [
        _part_within(kind, result, segments, log.name, float(flows.mean()))
        for result, log, flows in zip(results, logs, together.values, strict=True)
    ]
    coefficients = _coefficients(kind, len(parts))
    scatter = joint_repeatability(together, coefficients)
    combined = combine_as(cast(OfOneTime, kind), parts, scatter=scatter)
    return CombinedFlow(
        kind,
        replace(combined, findings=(*together.findings, *combined.findings)),
        coefficients,
        tuple(part.value for part in parts),
        (_moment(segments[0].start), _moment(segments[-1].end)),
        len(together.starts),
    )


def _part_within(kind: str, result: Result, segments: Sequence[Segment], name: str, flow: float) -> Part:
    """Return a result as a part, with its uncertainties at the flow of the common time."""
    marked = merged(marked_segments(result.survey_data))
    counting = intersection(segments, marked) if marked else tuple(segments)
    budget = result_within(result, counting).uncertainty.budget
    return part_of_result(flow, budget, _owners(result, kind), name=name)


def _coefficients(kind: str, count: int) -> tuple[float, ...]:
    if kind == DIFFERENCE:
        return (1.0, -1.0)
    return (1.0 if kind == SUM else 1 / count,) * count


def _owners(result: Result, kind: str) -> Mapping[Owner, str]:
    """Return the owners of a result's input uncertainties, see the module's docstring."""
    point, stated = result.survey.measuring_point, result.survey_data
    meters = sorted(str(one.pk) for one in stated.instruments.all() if one.kind == Kind.METER)
    medium, pipe = result.pipe_data.medium, str(point.pipe_id)
    adds = kind in (SUM, MEAN)
    meter, pair = "+".join(meters), str(result.transducer_data.instrument_id)
    return {
        "pipe": pipe,
        "meter": meter,
        "pair": pair,
        "mounting": f"{meter}+{pair} at {point.pk}" if adds else str(result.survey_id),
        "medium": f"{medium} at {point.pipe.site_id}" if adds and medium else pipe,
        "point": str(point.pk),
        "run": str(result.survey_id),
    }


def _segments(together: CombineBy, logs: Sequence[FlowLog]) -> tuple[Segment, ...]:
    """Return the time in which all logs have readings, as rows of steps without a gap."""
    last = overlap(logs).end
    breaks = np.flatnonzero(np.diff(together.starts) != together.step) + 1
    return tuple(
        Segment(int(run[0]), min(int(run[-1]) + together.step - 1, last))
        for run in np.split(together.starts, breaks)
    )


def intersection(one: Sequence[Segment], other: Sequence[Segment]) -> tuple[Segment, ...]:
    """Return the time in both of two rows of segments, each sorted and without overlap."""
    common, i, j = [], 0, 0
    while i < len(one) and j < len(other):
        start, end = max(one[i].start, other[j].start), min(one[i].end, other[j].end)
        if start <= end:
            common.append(Segment(start, end))
        if one[i].end < other[j].end:
            i += 1
        else:
            j += 1
    return tuple(common)


def _names(results: Sequence[Result]) -> list[str]:
    """Return the names of the parts for remarks: pipe and point, with a number for equal names."""
    points = [result.survey.measuring_point for result in results]
    names = [f"{point.pipe.name}, {point.name}" for point in points]
    return [
        f"{name} ({number})" if names.count(name) > 1 else name for number, name in enumerate(names, start=1)
    ]


def _path_name(number: int, result: Result) -> str:
    plane = result.survey_data.path_angle_rad
    return f"path {number}" if plane is None else f"path {number} at {math.degrees(plane):.0f} deg"


def _span(result: Result) -> tuple[datetime, datetime]:
    """Return the first and the last time that a result is based on."""
    marked = merged(marked_segments(result.survey_data))
    log = result.survey.log
    if not marked:
        return log.first_reading_at, log.last_reading_at
    return (
        max(_moment(marked[0].start), log.first_reading_at),
        min(_moment(marked[-1].end), log.last_reading_at),
    )


def _moment(microseconds: int) -> datetime:
    return EPOCH + timedelta(microseconds=microseconds)
