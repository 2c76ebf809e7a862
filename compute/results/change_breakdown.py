"""Why one result differs from another: what each changed input alone would have done to the flow."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace

from compute.measuring.beam import Setup
from compute.measuring.entries import (
    MediumEntry,
    PipeEntry,
    TransducerEntry,
    resolve_medium,
    resolve_pipe,
    resolve_transducers,
)
from compute.measuring.flow import flow_from_times

# The fields of a pipe's entry, with their kinds of quantity.
PIPE_FIELDS = (
    ("outer_diameter", "length"),
    ("wall_thickness", "length"),
    ("material", "text"),
    ("lining", "text"),
    ("roughness", "roughness"),
    ("wave_mode", "text"),
    ("further_linings", "text"),
    ("dimensions_temperature", "temperature"),
)


# Kinds of the values of media, materials, linings and transducer pairs.
PART_KINDS = {
    "temperature": "temperature",
    "min_temperature": "temperature",
    "max_temperature": "temperature",
    "wedge_reference_temperature": "temperature",
    "pressure": "pressure",
    "sound_speed": "speed",
    "longitudinal_sound_speed": "speed",
    "shear_sound_speed": "speed",
    "wedge_sound_speed": "speed",
    "wedge_speed_per_kelvin": "speed_per_temperature",
    "density": "density",
    "dynamic_viscosity": "dynamic_viscosity",
    "roughness": "roughness",
    "thickness": "length",
    "face_offset": "length",
    "thermal_expansion": "thermal_expansion",
    "salinity": "salinity",
    "frequency": "frequency",
    "wedge_angle": "angle",
    "wedge_delay": "transit_time",
}


@dataclass(frozen=True, slots=True)
class CalculationInputs:
    """What a result rests on, to explain by how much each part moved it."""

    pipe: PipeEntry
    medium: MediumEntry
    transducers: TransducerEntry
    traverses: int


@dataclass(frozen=True, slots=True)
class Part:
    """A value of an entry that has several, with its kind of quantity: `number` or `text` without a unit."""

    field: str
    value: float | str
    kind: str


@dataclass(frozen=True, slots=True)
class Effect:
    """An input that differs between two results, and what its change alone does to the flow [m3/s]."""

    field: str
    before: float | tuple[Part, ...] | None
    after: float | tuple[Part, ...] | None
    kind: str
    effect: float


def explain_change(
    before: CalculationInputs, after: CalculationInputs, transit_time: float, time_difference: float
) -> tuple[Effect, ...]:
    """Why a result moved: each input that changed, with what it alone would have done.

    Parameters
    ----------
    before : Basis
    after : Basis
    transit_time : float [s]  mean of the readings
    time_difference : float [s]  mean of the readings

    Returns
    -------
    effects : tuple of Effect  their sum is the whole change but for what changes do together

    Source
    ------
    substitution : one input at a time from before to after.
    """
    start = _flow_of(before, transit_time, time_difference)
    effects = []
    for name, kind in PIPE_FIELDS:
        old, new = getattr(before.pipe, name), getattr(after.pipe, name)
        if old != new:
            moved = _flow_of(
                replace(before, pipe=replace(before.pipe, **{name: new})), transit_time, time_difference
            )
            shown = (old, new) if kind != "text" else (_parts(old, name), _parts(new, name))
            effects.append(Effect(f"pipe.{name}", shown[0], shown[1], kind, moved - start))
    if before.medium != after.medium:
        moved = _flow_of(replace(before, medium=after.medium), transit_time, time_difference)
        effects.append(Effect("medium", *_differing(before.medium, after.medium), "text", moved - start))
    if before.transducers != after.transducers:
        moved = _flow_of(replace(before, transducers=after.transducers), transit_time, time_difference)
        parts = _differing(before.transducers, after.transducers)
        effects.append(Effect("transducers", *parts, "text", moved - start))
    if before.traverses != after.traverses:
        moved = _flow_of(replace(before, traverses=after.traverses), transit_time, time_difference)
        effects.append(Effect("traverses", before.traverses, after.traverses, "number", moved - start))
    return tuple(effects)


def _flow_of(inputs: CalculationInputs, transit_time: float, time_difference: float) -> float:
    pipe = resolve_pipe(inputs.pipe, inputs.medium.temperature).pipe
    medium = resolve_medium(inputs.medium).medium
    transducers, _ = resolve_transducers(inputs.transducers, inputs.medium.temperature)
    setup = Setup(pipe, medium, transducers, inputs.traverses)
    return float(flow_from_times(setup, transit_time, time_difference).volume_flow)


def _differing(before: object, after: object) -> tuple[tuple[Part, ...], tuple[Part, ...]]:
    """The values that differ between two entries."""
    old, new = _parts(before), _parts(after)
    return tuple(one for one in old if one not in new), tuple(one for one in new if one not in old)


def _parts(value: object, name: str = "") -> tuple[Part, ...]:
    """The entered values of a changed entry, each with its kind of quantity."""
    if value is None or value == "":
        return ()
    if isinstance(value, tuple):
        return tuple(part for one in value for part in _parts(one, name))
    if is_dataclass(value):
        return tuple(part for one in fields(value) for part in _parts(getattr(value, one.name), one.name))
    if isinstance(value, int | float):
        return (Part(name, value, PART_KINDS.get(name, "number")),)
    return (Part(name, str(value), "text"),)
