"""Time alignment of several logs: the overlap of their spans, means over common steps, agreement of their clocks.

Flows logged together are correlated. The repeatability of their sum or difference is not given by that of the parts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.base.messages import Finding, at, finding, quantity
from compute.base.sources import Source
from compute.combining.components import SCATTER, Component
from compute.logs.segments import Segment, Times
from compute.statistics.autocorrelation import (
    MIN_READINGS_AUTOCORRELATION,
    autocorrelation,
    noise_of_segments,
)

FloatArray = NDArray[np.float64]

# Below this fraction of the shortest log an overlap gives a warning; a default value.
SMALL_OVERLAP = 0.5
# Search range of a clock offset: fraction of the overlap in both directions, and minimum number of steps; default values.
MAX_OFFSET = 0.25
MIN_STEPS = 50
# Maximum number of steps, from the middle: enough to show an offset, and transforms of all steps are slow.
MAX_CLOCK_STEPS = 100_000
# Standard errors by which the best match must exceed chance and the match without a shift; a default value.
MIN_STANDARD_ERRORS = 5.0
MAX_STEPS = 20_000_000
BARTLETT = Source(
    "Bartlett 1946, Suppl. J. R. Stat. Soc. 8:27: variance of a cross-correlation of independent series",
    "unverified",
)


@dataclass(frozen=True, slots=True)
class FlowLog:
    """A log as flows: a name for messages, times [us since 1970 UTC] and values [any unit], (n,) each, in order of time."""

    name: str
    times: Times
    values: FloatArray

    def __post_init__(self) -> None:
        if len(self.times) != len(self.values):
            raise NumberInvalid(
                variant="log-lengths", log=self.name, times=len(self.times), values=len(self.values)
            )
        if not len(self.times):
            raise NotEnough(variant="log-empty", log=self.name)
        if not np.isfinite(self.values).all():
            raise NumberInvalid(variant="log-value", log=self.name)


@dataclass(frozen=True, slots=True)
class CombineBy:
    """Several logs on one grid: (m,) starts of steps [us] in which every log has a reading, (k, m) means of each log there.

    step [us]; `gaps` steps of the overlap are left out because a log has no reading there.
    """

    names: tuple[str, ...]
    step: int
    starts: Times
    values: FloatArray
    gaps: int
    findings: tuple[Finding, ...]


def overlap(logs: Sequence[FlowLog]) -> Segment:
    """Return the time that all logs cover.

    Parameters
    ----------
    logs : sequence of FlowLog  one or more

    Returns
    -------
    overlap : Segment  with its reason, for results reduced over it

    Raises
    ------
    NotEnough  no log, or no time that all of them cover; names the spans

    Source
    ------
    definition : from the latest start to the earliest end.
    """
    if not logs:
        raise NotEnough(field="parts", variant="parts", needed=1, count=0)
    spans = [(int(log.times.min()), int(log.times.max())) for log in logs]
    start, end = max(first for first, _ in spans), min(last for _, last in spans)
    if end < start:
        last_start = logs[[first for first, _ in spans].index(start)]
        first_end = logs[[last for _, last in spans].index(end)]
        raise NotEnough(
            field="parts",
            variant="no-common-time",
            late=last_start.name,
            starts=at(start / 1e6),
            early=first_end.name,
            ends=at(end / 1e6),
        )
    return Segment(start, end, "the logs run together")


def align_logs(logs: Sequence[FlowLog], *, step: int | None = None) -> CombineBy:
    """Return means of several logs over the steps of a common grid, within the time they all cover.

    The step is the coarsest of the logs' median intervals, or a requested longer interval: a mean over a step requires
    a reading of every log in it. Steps in which a log has none are left out. No log is shifted; where the
    fluctuations match clearly better with a shift, a finding says so.

    Parameters
    ----------
    logs : sequence of FlowLog  one or more
    step : int or None [us]  None takes the coarsest median interval

    Returns
    -------
    together : Together

    Raises
    ------
    NotEnough   no time in common, or no step with a reading of every log
    OutOfRange  a step that is too short for the logs, or makes more steps than memory should hold

    Source
    ------
    definition : means over half-open steps from the start of the overlap; the step is a default value.
    """
    span = overlap(logs)
    coarsest = max(_median_interval(log) for log in logs)
    if step is not None and step < coarsest:
        raise OutOfRange(
            field="step",
            value=quantity(step / 1e6, "duration"),
            at_least=quantity(coarsest / 1e6, "duration"),
        )
    width = max(step or coarsest, 1)
    count = (span.end - span.start) // width + 1
    if count > MAX_STEPS:
        raise OutOfRange(field="step", variant="too-many-steps", count=count, limit=MAX_STEPS)
    sums, counts = np.empty((len(logs), count)), np.empty((len(logs), count), dtype=np.int64)
    for row, log in enumerate(logs):
        inside = (log.times >= span.start) & (log.times <= span.end)
        place = (log.times[inside] - span.start) // width
        counts[row] = np.bincount(place, minlength=count)
        sums[row] = np.bincount(place, weights=log.values[inside], minlength=count)
    full = (counts > 0).all(axis=0)
    if not full.any():
        raise NotEnough(field="parts", variant="no-common-step")
    together = CombineBy(
        names=tuple(log.name for log in logs),
        step=width,
        starts=span.start + width * np.flatnonzero(full).astype(np.int64),
        values=sums[:, full] / counts[:, full],
        gaps=int(count - np.count_nonzero(full)),
        findings=(),
    )
    return _with_findings(together, logs, span)


def joint_repeatability(together: CombineBy, coefficients: Sequence[float]) -> Component | None:
    """Return the repeatability of the mean of a combination of logs, which replaces that of its parts.

    Common fluctuations add or cancel in the combination itself, reading by reading, so nothing is
    assumed about their correlation. Steps before and after a gap are separate segments.

    Parameters
    ----------
    together : Together
    coefficients : sequence of float [1]  one a log, those of the parts

    Returns
    -------
    scatter : Component or None  for `combination.combine`; None where no segment has the 8 steps that a scatter needs

    Raises
    ------
    OutOfRange  not one coefficient a log

    Source
    ------
    Sokal 1996, see `compute.statistics.autocorrelation.noise_of_segments`.
    """
    if len(coefficients) != len(together.names):
        raise OutOfRange(variant="coefficients", logs=len(together.names), coefficients=len(coefficients))
    combined = np.asarray(coefficients, dtype=float) @ together.values
    breaks = np.flatnonzero(np.diff(together.starts) != together.step) + 1
    pieces = np.split(combined, breaks)
    if max(len(segment) for segment in pieces) < MIN_READINGS_AUTOCORRELATION:
        return None
    noise = noise_of_segments(pieces)
    return Component(f"{SCATTER}@together", noise.uncertainty, noise.degrees_of_freedom, scatter=True)


def clock_offset(one: FloatArray, other: FloatArray) -> tuple[int, float, float] | None:
    """Return the shift at which two series match best, if it differs significantly from 0.

    A slowly varying flow matches almost as well a few steps away. So both series pass one filter first,
    each reading less r times the previous reading, with r their mean correlation between neighbours: the remainder is
    uncorrelated, and the best shift is distinct.

    Parameters
    ----------
    one : (n,) [any unit]  equally spaced
    other : (n,) [any unit]  over the same steps

    Returns
    -------
    offset : (lag, match there, match at 0) or None  lag above 0: what `one` shows, `other` shows so many steps later

    Source
    ------
    Bartlett 1946 for the scatter of a cross-correlation by chance; the filter: Box and Jenkins 1970, prewhitening; both from
        memory. How clear it must be is a default value.
    """
    count = len(one)
    if count < max(MIN_STEPS, MIN_READINGS_AUTOCORRELATION):
        return None
    a, b = _detrended(one), _detrended(other)
    if a is None or b is None:
        return None
    a, b = _whitened(a, b)
    count = len(a)
    padded = 1 << (2 * count - 1).bit_length()
    matches = np.fft.irfft(np.fft.rfft(a, padded).conj() * np.fft.rfft(b, padded), padded)
    farthest = int(MAX_OFFSET * count)
    lags = np.arange(-farthest, farthest + 1)
    # Each lag has fewer products; dividing by their number, not n, does not reduce the match of a true shift.
    match = matches[lags] / (count - np.abs(lags))
    best = int(np.argmax(np.abs(match)))
    chance = math.sqrt(_joint_correlation_time(a, b) / (count - farthest))
    at_best, at_zero = float(match[best]), float(match[farthest])
    clear = (
        abs(at_best) > MIN_STANDARD_ERRORS * chance
        and abs(at_best) - abs(at_zero) > MIN_STANDARD_ERRORS * chance
    )
    return (int(lags[best]), at_best, at_zero) if clear else None


def _detrended(values: FloatArray) -> FloatArray | None:
    """Return a series less its trend, in units of its standard deviation; None for a straight line."""
    place = np.linspace(-0.5, 0.5, len(values))
    centred = values - values.mean()
    left = centred - (place @ centred) / (place @ place) * place
    spread = float(left.std())
    # The rounding residue of a straight line is not a fluctuation.
    if spread <= 1e-12 * float(np.abs(values).max()):
        return None
    straight: FloatArray = left / spread
    return straight


def _whitened(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Filter two series of standard deviation 1 to remove the correlation of each reading with the previous one."""
    kept = float(np.clip((a[1:] @ a[:-1] + b[1:] @ b[:-1]) / (2 * len(a)), 0.0, 1.0))
    filtered = a[1:] - kept * a[:-1], b[1:] - kept * b[:-1]
    one, other = ((x - x.mean()) / x.std() for x in filtered)
    return one, other


def _joint_correlation_time(a: FloatArray, b: FloatArray) -> float:
    """Return the sum over all lags of the product of two autocorrelations, in steps; 1 or more."""
    sums = 2.0 * np.cumsum(autocorrelation(a) * autocorrelation(b)) - 1.0
    return float(max(sums[: len(sums) // 4].max(), 1.0))


def _median_interval(log: FlowLog) -> int:
    if len(log.times) < 2:
        return 1
    return int(np.median(np.abs(np.diff(log.times))))


def _with_findings(together: CombineBy, logs: Sequence[FlowLog], span: Segment) -> CombineBy:
    findings = [*_small_overlap(logs, span), *_clocks(together)]
    return CombineBy(
        together.names, together.step, together.starts, together.values, together.gaps, tuple(findings)
    )


def _small_overlap(logs: Sequence[FlowLog], span: Segment) -> list[Finding]:
    shortest = min(int(log.times.max() - log.times.min()) for log in logs)
    common = span.end - span.start
    if common >= SMALL_OVERLAP * shortest:
        return []
    return [
        finding(
            "overlap-short",
            "warning",
            "parts",
            common=quantity(common / 1e6, "duration"),
            fraction=common / shortest,
            limit=SMALL_OVERLAP,
            start=at(span.start / 1e6),
            end=at(span.end / 1e6),
        )
    ]


def _clocks(together: CombineBy) -> list[Finding]:
    """Return findings on clocks that probably differ: the fluctuations match better with a shift. The logs are not shifted."""
    longest = _longest_run(together)
    findings = []
    for first, second in combinations(range(len(together.names)), 2):
        found = clock_offset(together.values[first, longest], together.values[second, longest])
        if found is None:
            continue
        lag, at_best, at_zero = found
        seconds = lag * together.step / 1e6
        late, early = (second, first) if lag > 0 else (first, second)
        findings.append(
            finding(
                "clocks-differ",
                "warning",
                "parts",
                source=BARTLETT,
                ahead=together.names[late],
                behind=together.names[early],
                shift=quantity(abs(seconds), "duration"),
                correlation=at_best,
                correlation_as_logged=at_zero,
            )
        )
    return findings


def _longest_run(together: CombineBy) -> slice:
    """Return the longest row of steps without a gap, or its middle."""
    edges = np.flatnonzero(np.diff(together.starts) != together.step) + 1
    bounds = np.concatenate([[0], edges, [len(together.starts)]])
    longest = int(np.argmax(np.diff(bounds)))
    first, last = int(bounds[longest]), int(bounds[longest + 1])
    spare = max(last - first - MAX_CLOCK_STEPS, 0) // 2
    return slice(first + spare, last - spare)
