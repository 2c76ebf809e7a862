"""Why one result differs from another: what each changed input alone would have done to the flow."""

from __future__ import annotations

from dataclasses import dataclass, replace

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


@dataclass(frozen=True, slots=True)
class CalculationInputs:
    """What a result rests on, to explain by how much each part moved it."""

    pipe: PipeEntry
    medium: MediumEntry
    transducers: TransducerEntry
    traverses: int


@dataclass(frozen=True, slots=True)
class Effect:
    """An input that differs between two results, and what its change alone does to the flow [m3/s]."""

    field: str
    before: float | str | None
    after: float | str | None
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
            shown = (old, new) if kind != "text" else (_words(old), _words(new))
            effects.append(Effect(f"pipe.{name}", shown[0], shown[1], kind, moved - start))
    if before.medium != after.medium:
        moved = _flow_of(replace(before, medium=after.medium), transit_time, time_difference)
        effects.append(Effect("medium", _words(before.medium), _words(after.medium), "text", moved - start))
    if before.transducers != after.transducers:
        moved = _flow_of(replace(before, transducers=after.transducers), transit_time, time_difference)
        words = _words(before.transducers), _words(after.transducers)
        effects.append(Effect("transducers", *words, "text", moved - start))
    if before.traverses != after.traverses:
        moved = _flow_of(replace(before, traverses=after.traverses), transit_time, time_difference)
        effects.append(
            Effect("traverses", str(before.traverses), str(after.traverses), "text", moved - start)
        )
    return tuple(effects)


def _flow_of(inputs: CalculationInputs, transit_time: float, time_difference: float) -> float:
    pipe = resolve_pipe(inputs.pipe, inputs.medium.temperature).pipe
    medium = resolve_medium(inputs.medium).medium
    transducers, _ = resolve_transducers(inputs.transducers, inputs.medium.temperature)
    setup = Setup(pipe, medium, transducers, inputs.traverses)
    return float(flow_from_times(setup, transit_time, time_difference).volume_flow)


def _words(value: object) -> str:
    """A changed entry in words: its stated parts."""
    if value is None:
        return "none"
    if isinstance(value, str):
        return value
    parts = {name: getattr(value, name) for name in value.__dataclass_fields__}  # type: ignore[attr-defined]
    return ", ".join(
        f"{k} {_words(v) if hasattr(v, '__dataclass_fields__') else v}"
        for k, v in parts.items()
        if v not in ("", None)
    )
