"""Checks that the numbers of a log are possible in their units, and that the units do not change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from compute.base.messages import Finding, field_name, finding, quantity
from compute.base.unit_table import Unit
from compute.logs.segments import moment

Times = NDArray[np.int64]
Columns = Mapping[str, NDArray[np.float64]]

# Readings checked of each block, evenly distributed; each group is judged by its median.
SAMPLE_SIZE = 1024
GROUP = 16


@dataclass(frozen=True, slots=True)
class Plausible:
    """Limits [SI] of the magnitude of a column, whatever the pipe; common practice."""

    kind: str
    lowest: float
    highest: float


# A path of 10 mm in a fast solid to 12 m in cold gas; sound from heavy vapour to a steel wave; a bore of
# 6 mm to 6 m. Flows may be 0, so they have no minimum.
PLAUSIBLE = {
    "transit_time": Plausible("transit_time", 1e-6, 0.1),
    "sound_speed": Plausible("speed", 300.0, 6000.0),
    "flow_velocity": Plausible("speed", 0.0, 100.0),
    "volume_flow": Plausible("volume_flow", 0.0, 300.0),
    "medium_temperature": Plausible("temperature", 70.0, 700.0),
    "signal_to_noise": Plausible("ratio_db", -50.0, 150.0),
}
# Ratios of two columns [SI] that a set-up fixes or bounds.
MAX_DIFFERENCE_TO_TRANSIT_TIME = 0.1
MIN_BORE_AREA, MAX_BORE_AREA = 2.8e-5, 30.0
# Factors between units that are mistaken for each other.
FACTORS = {
    1000.0: "thousand",
    1e6: "million",
    25.4: "inch-and-millimetre",
    3.28084: "metre-and-foot",
    3.6: "cubic-metres-per-hour-and-litres-per-second",
    60.0: "minute-and-second",
    3600.0: "hour-and-second",
    4.40287: "cubic-metres-per-hour-and-gallons-per-minute",
}
FACTOR_TOLERANCE = 0.03
# Columns that no flow changes much, and pairs whose ratio the set-up fixes.
STEADY = ("transit_time", "sound_speed")
PROPORTIONAL = (
    ("volume_flow", "flow_velocity"),
    ("time_difference", "flow_velocity"),
    ("time_difference", "volume_flow"),
)
GROUPS_TO_CONFIRM = 2


class UnitCheck:
    """Check, block by block, that the columns of a log are possible in their units and do not change them.

    Parameters
    ----------
    units : mapping of column to Unit  conversion of each column fed to SI; none for those in SI already
    """

    def __init__(self, units: Mapping[str, Unit]) -> None:
        self._of = units
        self._impossible: dict[str, tuple[int, float]] = {}
        self._steps: dict[str, tuple[int, float]] = {}
        self._held: dict[str, list[tuple[int, float]]] = {}

    def feed(self, times: Times, columns: Columns) -> None:
        """Check the next readings: (n,) times [us] since 1970 UTC, and (n,) columns."""
        stride = -(-len(times) // SAMPLE_SIZE)
        looked = {name: self._si(name, values[::stride]) for name, values in columns.items()}
        groups = {name: _medians(values) for name, values in looked.items()}
        starts = times[::stride]
        if len(starts) >= GROUP:
            starts = starts[: len(starts) // GROUP * GROUP : GROUP]
        for name, medians in groups.items():
            if name in PLAUSIBLE:
                self._bounds(name, starts, np.abs(medians), PLAUSIBLE[name].lowest, PLAUSIBLE[name].highest)
        for name, ratio, lowest, highest in _ratios(groups):
            self._bounds(name, starts, ratio, lowest, highest)
        for name, series in _followed(groups):
            self._detect_step(name, starts, series)

    def findings(self) -> list[Finding]:
        """Return the findings on all readings fed."""
        # An impossible column also makes its ratios impossible; one cause is reported once.
        findings = [
            self._impossible_finding(name, *met)
            for name, met in self._impossible.items()
            if "/" not in name or not self._impossible.keys() & set(name.split("/"))
        ]
        findings += [self._change(name, *met) for name, met in self._steps.items()]
        return findings

    def _change(self, name: str, at: int, factor: float) -> Finding:
        column, _, against = name.partition("/")
        return finding(
            "log-unit-changes",
            "error",
            f"log.{column}",
            since=moment(at),
            column=field_name(f"readings.{column}"),
            against=field_name(f"readings.{against}") if against else None,
            factor=factor,
            mistaken=_mistaken_units(factor),
        )

    def _si(self, name: str, values: NDArray[np.float64]) -> NDArray[np.float64]:
        unit = self._of.get(name)
        return values if unit is None else (values + unit.shift) * unit.multiplier / unit.divisor

    def _bounds(
        self, name: str, starts: Times, size: NDArray[np.float64], lowest: float, highest: float
    ) -> None:
        if name in self._impossible:
            return
        outside = np.flatnonzero((size < lowest) | (size > highest))
        # One odd group is a spike, not a unit; a short log is all one group.
        if len(outside) and 2 * len(outside) >= min(len(size), GROUPS_TO_CONFIRM * 2):
            self._impossible[name] = int(starts[outside[0]]), float(size[outside[0]])

    def _detect_step(self, name: str, starts: Times, series: NDArray[np.float64]) -> None:
        """Detect a lasting step by one of the factors."""
        known = self._held.get(name, [])
        points = known + [
            (int(at), float(size))
            for at, size in zip(starts, series, strict=True)
            if np.isfinite(size) and size > 0
        ]
        self._held[name] = points[-2 * GROUPS_TO_CONFIRM :]
        if name in self._steps or len(points) <= 2 * GROUPS_TO_CONFIRM:
            return
        size = np.array([p for _, p in points])
        windows = np.lib.stride_tricks.sliding_window_view(size, GROUPS_TO_CONFIRM)
        # The group between may contain the step itself.
        before, after = windows[: -GROUPS_TO_CONFIRM - 1], windows[GROUPS_TO_CONFIRM + 1 :]
        steady = (before.max(axis=1) < 1.05 * before.min(axis=1)) & (
            after.max(axis=1) < 1.05 * after.min(axis=1)
        )
        factor = np.median(after, axis=1) / np.median(before, axis=1)
        for n in np.flatnonzero(steady & (np.maximum(factor, 1 / factor) > 2)):
            if _mistaken_units(float(factor[n])):
                self._steps[name] = points[int(n) + GROUPS_TO_CONFIRM][0], float(factor[n])
                return

    def _impossible_finding(self, name: str, at: int, size: float) -> Finding:
        since = moment(at)
        if name == "time_difference/transit_time":
            return finding(
                "log-unit-implausible/time-difference",
                "error",
                "log.time_difference",
                since=since,
                ratio=size,
                limit=MAX_DIFFERENCE_TO_TRANSIT_TIME,
            )
        if name == "volume_flow/flow_velocity":
            return finding(
                "log-unit-implausible/bore",
                "error",
                "log.volume_flow",
                since=since,
                bore=_bore(size),
                at_least=_bore(MIN_BORE_AREA),
                at_most=_bore(MAX_BORE_AREA),
            )
        known = PLAUSIBLE[name]
        return finding(
            "log-unit-implausible",
            "error",
            f"log.{name}",
            since=since,
            column=field_name(f"readings.{name}"),
            value=quantity(size, known.kind),
            at_least=quantity(known.lowest, known.kind),
            at_most=quantity(known.highest, known.kind),
            unit_factor=_plausible_factor(size, known),
        )


def _medians(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return medians of groups without missing values; a short block gives one group a reading."""
    if len(values) < GROUP:
        return values
    whole = values[: len(values) // GROUP * GROUP].reshape(-1, GROUP)
    if np.isnan(values).any():
        counted = np.sort(whole, axis=1)  # nan sorts last
        known = GROUP - np.isnan(whole).sum(axis=1)
        middle: NDArray[np.float64] = counted[np.arange(len(counted)), np.maximum(known - 1, 0) // 2]
        return middle
    medians: NDArray[np.float64] = np.median(whole, axis=1)
    return medians


def _bore(area: float) -> Any:
    """Return the diameter of a bore from its area [m2]."""
    return quantity(2 * float(np.sqrt(area / np.pi)), "length")


def _ratios(groups: Columns) -> Iterator[tuple[str, NDArray[np.float64], float, float]]:
    if "transit_time" in groups and "time_difference" in groups:
        ratio = _ratio(groups["time_difference"], groups["transit_time"])
        yield "time_difference/transit_time", ratio, 0.0, MAX_DIFFERENCE_TO_TRANSIT_TIME
    if "volume_flow" in groups and "flow_velocity" in groups:
        ratio = _ratio(groups["volume_flow"], groups["flow_velocity"])
        yield "volume_flow/flow_velocity", ratio, MIN_BORE_AREA, MAX_BORE_AREA


def _followed(groups: Columns) -> Iterator[tuple[str, NDArray[np.float64]]]:
    for name in STEADY:
        if name in groups:
            yield name, np.abs(groups[name])
    for top, bottom in PROPORTIONAL:
        if top in groups and bottom in groups:
            yield f"{top}/{bottom}", _ratio(groups[top], groups[bottom])


def _ratio(top: NDArray[np.float64], bottom: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the size of a ratio; nan where a value is 0 or missing."""
    with np.errstate(all="ignore"):
        return np.where((bottom != 0) & (top != 0), np.abs(top / bottom), np.nan)


def _mistaken_units(factor: float) -> str:
    size = max(factor, 1 / factor)
    return next((name for f, name in FACTORS.items() if abs(size / f - 1) <= FACTOR_TOLERANCE), "")


def _plausible_factor(size: float, known: Plausible) -> float | None:
    """Return the power of a thousand that makes the unit plausible."""
    if not size or known.kind not in ("transit_time", "speed"):
        return None
    return next((f for f in (1e3, 1e-3, 1e6, 1e-6) if known.lowest < size * f < known.highest), None)
