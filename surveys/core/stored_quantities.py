"""Physics as stored JSON: SI numbers with their kind of quantity, messages with code and parameters."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from compute.base.messages import Finding, SafetyNote
from compute.base.sources import Source
from compute.base.units import KINDS
from compute.combining.combination import SharedRow
from compute.measuring.spacing import Spacing
from compute.results.change_breakdown import Effect, Side
from compute.results.reduction import Beam
from compute.results.survey import CalculatedSetup
from compute.results.uncertainty import InputUncertainty
from compute.statistics.gum import BudgetRow


def calculation_json(calculated: CalculatedSetup) -> dict[str, Any]:
    """Return a calculated set-up as the API returns it and a set-up stores it."""
    medium = calculated.setup.medium
    return {
        **spacing_json(calculated.spacing),
        "medium": {
            "sound_speed": quantity(medium.sound_speed, "speed"),
            "density": quantity(medium.density, "density"),
            "dynamic_viscosity": quantity(medium.dynamic_viscosity, "dynamic_viscosity"),
        },
        "alternatives": [spacing_json(other) for other in calculated.alternatives],
        "findings": findings_json(calculated.findings),
        "safety_notes": [safety_note_json(note) for note in calculated.safety_notes],
    }


def spacing_json(spacing: Spacing) -> dict[str, Any]:
    """Return spacing, angles and times of a mounting."""
    path = spacing.path
    angles = {"wall": quantity(path.angles_in_solids[0], "angle")}
    if len(path.angles_in_solids) > 1:
        angles["lining"] = quantity(path.angles_in_solids[1], "angle")
    angles["medium"] = quantity(path.angle_in_medium, "angle")
    return {
        "traverses": spacing.traverses,
        "sides": spacing.sides,
        "spacing": quantity(spacing.spacing, "length"),
        "axial_advance": quantity(path.axial_advance, "length"),
        "bore": quantity(spacing.bore, "length"),
        "wave_mode_in_wall": path.wave_modes[0],
        "wave_mode_in_lining": path.wave_modes[1] if len(path.wave_modes) > 1 else None,
        "angles": angles,
        "transit_time": quantity(path.transit_time, "transit_time"),
        "time_in_medium": quantity(path.time_in_medium, "transit_time"),
        "time_difference_per_velocity": quantity(spacing.time_difference_per_velocity, "time_per_velocity"),
    }


def quantity(value: Any, kind: str) -> dict[str, Any]:
    """Return an SI number with its kind; the API converts it to a value with a unit."""
    return {"si": float(value), "kind": kind}


def findings_json(findings: Iterable[Finding]) -> list[dict[str, Any]]:
    """Return findings in stored form: code and parameters of the message catalogue."""
    return [
        {
            **finding.message.stored(),
            "severity": finding.severity,
            "field": finding.field,
            "source": source_json(finding.source),
        }
        for finding in findings
    ]


def safety_note_json(note: SafetyNote) -> dict[str, Any]:
    """Return a safety note in stored form."""
    return {**note.message.stored(), "source": source_json(note.source)}


def source_json(source: Source) -> dict[str, str]:
    """Return the source of a value."""
    return {"text": source.text, "provenance": source.provenance}


KIND_OF_INPUT: Mapping[str, str] = {
    "pipe.outer_diameter": "length",
    "pipe.wall_thickness": "length",
    "pipe.lining.thickness": "length",
    "pipe.roughness": "roughness",
    "medium.temperature": "temperature",
    "medium.sound_speed": "speed",
    "medium.density": "density",
    "medium.dynamic_viscosity": "dynamic_viscosity",
    "transducers.wedge_angle": "angle",
    "transducers.wedge_sound_speed": "speed",
    "transducers.wedge_delay": "transit_time",
    "transducers.wedge_temperature_coefficient": "speed_per_temperature",
    "transducers.wedge_temperature": "temperature",
    "pipe.wall_sound_speed": "speed",
    "pipe.lining.sound_speed": "speed",
    "spacing": "length",
    "readings.transit_time": "transit_time",
    "readings.time_difference": "time_difference",
    "repeatability": "time_difference",
    "meter": "number",
    "meter.zero": "time_difference",
    "meter.calibration": "number",
    "installation": "number",
    "pipe.ovality": "number",
    "profile_factor": "number",
}


def uncertainty_kind(path: str) -> str:
    """Return the kind of quantity of an input's uncertainty: for a temperature a temperature difference."""
    kind = KIND_OF_INPUT[path]
    return "number" if kind == "number" else KINDS[kind].difference


def budget_json(budget: Iterable[BudgetRow]) -> list[dict[str, Any]]:
    """Return the uncertainty budget, the largest contribution first."""
    return [
        {
            "input": row.input,
            "value": _figure(row.value, KIND_OF_INPUT[row.input]),
            "standard_uncertainty": _figure(row.standard_uncertainty, uncertainty_kind(row.input)),
            "sensitivity": {"si": row.sensitivity, "kind": "volume_flow", "per": KIND_OF_INPUT[row.input]},
            "contribution": quantity(row.contribution, "volume_flow"),
            "variance_fraction": row.variance_fraction,
            "degrees_of_freedom": finite(row.degrees_of_freedom),
            "distribution": row.distribution,
            "source": source_json(row.source) if row.source else None,
        }
        for row in budget
    ]


def beam_json(beam: Beam) -> dict[str, Any]:
    """Return what a flow is calculated with, to redo it by hand."""
    names = ("wall", "lining", *("further-lining" for _ in beam.layers[2:]))
    return {
        "layers": [
            {
                "layer": name,
                "wave_mode": layer.wave_mode,
                "sound_speed": quantity(layer.sound_speed, "speed"),
                "angle": quantity(layer.angle, "angle"),
                "thickness": quantity(layer.thickness, "length"),
            }
            for name, layer in zip(names, beam.layers, strict=False)
        ],
        "bore": quantity(beam.bore, "length"),
        "traverses": beam.traverses,
        "wedge_sound_speed": quantity(beam.wedge_sound_speed, "speed"),
        "wedge_angle": quantity(beam.wedge_angle, "angle"),
        "axial_slowness": beam.axial_slowness,
        "time_in_solids": quantity(beam.time_in_solids, "transit_time"),
        "mounted_spacing": None if beam.mounted_spacing is None else quantity(beam.mounted_spacing, "length"),
        "density": quantity(beam.density, "density"),
        "dynamic_viscosity": quantity(beam.dynamic_viscosity, "dynamic_viscosity"),
    }


def budget_rows(stored: Iterable[Mapping[str, Any]]) -> list[BudgetRow]:
    """Return a stored budget as input of the physics; the inverse of `budget_json`."""
    return [
        BudgetRow(
            input=row["input"],
            value=_number(row["value"]),
            standard_uncertainty=_number(row["standard_uncertainty"]),
            sensitivity=row["sensitivity"]["si"],
            contribution=row["contribution"]["si"],
            variance_fraction=row["variance_fraction"],
            degrees_of_freedom=math.inf if row["degrees_of_freedom"] is None else row["degrees_of_freedom"],
            distribution=row["distribution"],
        )
        for row in stored
    ]


def shared_budget_json(budget: Iterable[SharedRow], surveys: Sequence[str]) -> list[dict[str, Any]]:
    """Return a combined budget: the owner of each input, and the surveys in which it occurs."""
    rows = []
    for row in budget:
        name, _, owner = row.key.partition("@")
        kind, _, which = owner.partition(":")
        rows.append(
            {
                "input": name,
                "owner_kind": kind,
                "owner": which,
                "contribution": quantity(row.contribution, "volume_flow"),
                "contribution_if_independent": quantity(row.contribution_if_independent, "volume_flow"),
                "variance_fraction": row.variance_fraction,
                "degrees_of_freedom": finite(row.degrees_of_freedom),
                "surveys": [surveys[index] for index in row.parts if index < len(surveys)],
            }
        )
    return rows


def finite(number: float) -> float | None:
    """Return a number, or None for infinity, which JSON cannot represent."""
    return number if math.isfinite(number) else None


def _number(figure: Any) -> float:
    return float(figure["si"] if isinstance(figure, Mapping) else figure)


def uncertainty_json(path: str, uncertainty: InputUncertainty) -> dict[str, Any]:
    """Return the uncertainty of an input, with its source."""
    kind = "number" if uncertainty.relative else uncertainty_kind(path)
    return {
        "input": path,
        "standard_uncertainty": _figure(uncertainty.standard_uncertainty, kind),
        "relative": uncertainty.relative,
        "distribution": uncertainty.distribution,
        "source": source_json(uncertainty.source),
    }


def effects_json(effects: Iterable[Effect]) -> list[dict[str, Any]]:
    """Return the inputs that changed between two results, and the effect of each."""
    return [
        {
            "field": effect.field,
            "before": _side(effect.before, effect.kind),
            "after": _side(effect.after, effect.kind),
            "effect": quantity(effect.effect, "volume_flow"),
        }
        for effect in effects
    ]


def _side(value: Side, kind: str) -> Any:
    if isinstance(value, tuple):
        return [{"field": one.field, "value": _figure(one.value, one.kind)} for one in value]
    return _figure(value, kind)


def _figure(value: float | str | None, kind: str) -> Any:
    if value is None or isinstance(value, str) or kind in {"number", "text"}:
        return value
    return quantity(value, kind)
