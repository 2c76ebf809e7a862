"""Change breakdown of a result: by how much it differs from the one it replaces, and the contribution of each changed input."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cached_property
from typing import Any

from compute.results.change_breakdown import (
    CalculationInputs,
    Difference,
    Effect,
    Part,
    differences,
    explain_change,
    mixed_inputs,
)
from compute.results.reduction import mean_flow
from surveys.core.stored_quantities import effects_json, quantity
from surveys.models import Result, WallMeasurement
from surveys.pipes.selectors import marked_segments, survey_medium
from surveys.results.inputs_in_force import ResultInputs
from surveys.results.reduction import (
    Draft,
    LogToReduce,
    log_readings,
    occasion_of,
    programmed_setup,
    relative_change,
    stored_log,
)

METHOD, WALL = "method_version", "wall_measurement"
# Columns of a log from which the times are read; any other log needs the set-up entered in the meter.
TIMES = {"transit_time", "time_difference"}


def result_change_breakdown(before: Result, draft: Draft) -> dict[str, Any]:
    """By how much and why a new result differs from the one it replaces."""
    after = draft.reduction
    codes_before = {finding["code"] for finding in before.findings}
    codes_after = {finding.code for finding in after.findings} | {f["code"] for f in draft.log_findings}
    return {
        "before": quantity(before.volume_flow_m3_s, "volume_flow"),
        "after": quantity(after.volume_flow, "volume_flow"),
        "change": quantity(after.volume_flow - before.volume_flow_m3_s, "volume_flow"),
        "relative_change": relative_change(before.volume_flow_m3_s, after.volume_flow),
        "spacing_before": quantity(before.spacing_m, "length"),
        "spacing_after": quantity(after.spacing, "length"),
        "causes": effects_json(_effects(before, draft)),
        "method_before": before.method_version,
        "method_after": draft.inputs.method_version,
        "readings_before": before.readings_used,
        "readings_after": after.readings_used,
        "new_findings": sorted(codes_after - codes_before),
        "settled_findings": sorted(codes_before - codes_after),
    }


def _effects(before: Result, draft: Draft) -> tuple[Effect, ...]:
    pair, old, new = _Pair(before, draft), before.method_version, draft.inputs.method_version
    return explain_change(
        pair.differences,
        pair.flow_with,
        before.volume_flow_m3_s,
        draft.reduction.volume_flow,
        Difference(METHOD, old, new, "text") if old != new else None,
    )


class _Pair:
    """The inputs of a result and of the draft that replaces it, and the flow with some of either."""

    def __init__(self, before: Result, draft: Draft) -> None:
        self.after = draft.inputs
        self.before = _earlier_inputs(before, draft.inputs)
        self.walls = (_earlier_wall(before, draft.wall_measurement), draft.wall_measurement)
        self.entries = (_entries(self.before), _entries(self.after))

    @cached_property
    def differences(self) -> tuple[Difference, ...]:
        """Every input that differs."""
        found = differences(*self.entries)
        if {column["name"] for column in self.after.survey.log.columns} >= TIMES:
            found = tuple(one for one in found if one.field != "programmed")
        return (*found, *self._of_records())

    def _of_records(self) -> Iterator[Difference]:
        for name, (kind, named) in RECORDS.items():
            old, new = named(self.before), named(self.after)
            if old != new:
                yield Difference(name, _parts(kind, old, new), _parts(kind, new, old), "text")
        if self.walls[0] != self.walls[1]:
            before, after = (wall.mean_m if wall else None for wall in self.walls)
            yield Difference(WALL, before, after, "length")

    @cached_property
    def log(self) -> LogToReduce:
        """The log, its blocks read once for all sets of inputs."""
        stored = stored_log(self.after.survey.log)
        blocks = list(stored.contents())
        return replace(stored, contents=lambda: iter(blocks))

    def flow_with(self, taken: frozenset[str]) -> float:
        """Return the flow with the later value of some inputs and the earlier value of the others [m3/s]."""
        entries = mixed_inputs(*self.entries, taken)
        records = {name: getattr(self.after if name in taken else self.before, name) for name in RECORDS}
        occasion = occasion_of(
            replace(self.after, **records),
            self.walls[WALL in taken],
            entries.segments,
            self.log,
        )
        return mean_flow(
            entries.pipe,
            entries.medium,
            entries.transducers,
            entries.traverses,
            log_readings(self.log, with_times=bool(entries.segments)),
            replace(
                occasion,
                programmed=entries.programmed or occasion.programmed,
                mounted_spacing=entries.mounted_spacing,
                include_outliers=bool(entries.outliers),
            ),
        )


def _certificates(inputs: ResultInputs) -> dict[object, str]:
    return {
        (instrument.pk, calibration and calibration.pk): f"{instrument}: {calibration}"
        if calibration
        else str(instrument)
        for instrument, calibration in inputs.calibrations
    }


# Sets of records that a result is based on: the name of one, and the set of a result by key.
RECORDS: dict[str, tuple[str, Callable[[ResultInputs], dict[object, str]]]] = {
    "calibrations": ("certificate", _certificates),
    "error_corrections": ("instrument", lambda inputs: {i.pk: str(i) for i in inputs.error_corrections}),
    "as_found_corrections": (
        "certificate",
        lambda inputs: {one.pk: f"{one.instrument}: {one}" for one in inputs.as_found_corrections},
    ),
}


def _parts(kind: str, of: dict[object, str], other: dict[object, str]) -> tuple[Part, ...]:
    return tuple(Part(kind, name, "text") for name in sorted(of[key] for key in of.keys() - other.keys()))


def _entries(inputs: ResultInputs) -> CalculationInputs:
    stated, data = inputs.survey_data, inputs.pipe_data
    return CalculationInputs(
        data.pipe_entry(),
        survey_medium(stated, data),
        inputs.transducer_data.entry(),
        stated.setup.traverses,
        stated.mounted_spacing_m,
        marked_segments(stated),
        programmed_setup(stated.setup),
        "included" if stated.include_outliers else "",
    )


def _earlier_inputs(before: Result, inputs: ResultInputs) -> ResultInputs:
    """Return what a result is based on, with the records that the later inputs have read already."""
    same = before.survey_data_id == inputs.survey_data.pk
    stated = inputs.survey_data if same else before.survey_data
    instruments = [i for i, _ in inputs.calibrations] if same else list(stated.instruments.all())
    read = {one.pk: one for i, _ in inputs.calibrations for one in i.calibrations.all()}
    found = {one.instrument_id: read.get(one.pk, one) for one in before.calibrations.all()}
    as_found = {one.pk: one for one in inputs.as_found_corrections}
    return replace(
        inputs,
        survey_data=stated,
        pipe_data=inputs.pipe_data if before.pipe_data_id == inputs.pipe_data.pk else before.pipe_data,
        transducer_data=inputs.transducer_data
        if before.transducer_data_id == inputs.transducer_data.pk
        else before.transducer_data,
        calibrations=tuple((i, found.get(i.pk)) for i in instruments),
        error_corrections=tuple(before.error_corrections.all()),
        as_found_corrections=tuple(as_found.get(one.pk, one) for one in before.as_found_corrections.all()),
    )


def _earlier_wall(before: Result, later: WallMeasurement | None) -> WallMeasurement | None:
    return later if later and before.wall_measurement_id == later.pk else before.wall_measurement
