"""Why one result differs from another: the contribution of each changed input to the change of the flow."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import timedelta

from compute.base.errors import ComputeError
from compute.logs.segments import EPOCH, Segment
from compute.measuring.beam import Setup
from compute.measuring.entries import MediumEntry, PipeEntry, TransducerEntry
from compute.results.averaged_orders import averaged_contributions

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
    ("max_outer_diameter", "length"),
    ("min_outer_diameter", "length"),
)
# The other inputs of a calculation, with their kinds of quantity.
OTHER_FIELDS = (
    ("medium", "text"),
    ("transducers", "text"),
    ("traverses", "number"),
    ("mounted_spacing", "length"),
    ("segments", "text"),
    ("programmed", "text"),
    ("outliers", "text"),
)
# Rows of a change that are not one input: what cannot be calculated, and inputs that are possible only together.
REMAINDER, TOGETHER = "remainder", "inputs_together"
# Relative difference below which two calculations of a flow are the same.
REPRODUCED = 1e-12

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
    "outer_diameter": "length",
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
    """The inputs of a result that are not records of instruments.

    mounted_spacing [m]; segments : marked segments of the log, none is the whole log; programmed : the set-up entered in the meter;
    outliers : `included`, or empty where they are excluded
    """

    pipe: PipeEntry
    medium: MediumEntry
    transducers: TransducerEntry
    traverses: int
    mounted_spacing: float | None = None
    segments: tuple[Segment, ...] = ()
    programmed: Setup | None = None
    outliers: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """A value of an entry that has several, with its kind of quantity: `number` or `text` without a unit."""

    field: str
    value: float | str
    kind: str


Side = float | str | tuple[Part, ...] | None


@dataclass(frozen=True, slots=True)
class Difference:
    """An input that differs between two results."""

    field: str
    before: Side
    after: Side
    kind: str


@dataclass(frozen=True, slots=True)
class Effect:
    """An input that differs between two results, and its contribution to the change of the flow [m3/s]."""

    field: str
    before: Side
    after: Side
    kind: str
    effect: float


def differences(before: CalculationInputs, after: CalculationInputs) -> tuple[Difference, ...]:
    """Return the inputs that differ between two calculations.

    Parameters
    ----------
    before : CalculationInputs
    after : CalculationInputs

    Returns
    -------
    differences : tuple of Difference  the fields of the pipe one by one, the other inputs each as a whole

    Source
    ------
    none : a comparison.
    """
    found = []
    for name, kind in PIPE_FIELDS:
        old, new = getattr(before.pipe, name), getattr(after.pipe, name)
        if old != new:
            sides = (old, new) if kind != "text" else (_parts(old, name), _parts(new, name))
            found.append(Difference(f"pipe.{name}", sides[0], sides[1], kind))
    for name, kind in OTHER_FIELDS:
        old, new = getattr(before, name), getattr(after, name)
        if old != new:
            sides = (old, new) if kind != "text" else _differing(old, new)
            found.append(Difference(name, sides[0], sides[1], kind))
    return tuple(found)


def mixed_inputs(
    before: CalculationInputs, after: CalculationInputs, taken: frozenset[str]
) -> CalculationInputs:
    """Return inputs of which some fields are those of the later calculation.

    Parameters
    ----------
    before : CalculationInputs
    after : CalculationInputs
    taken : frozenset of str  fields of `differences` with the value of `after`; the others have that of `before`

    Returns
    -------
    inputs : CalculationInputs

    Source
    ------
    none : a substitution.
    """
    pipe = {name: getattr(after.pipe, name) for name, _ in PIPE_FIELDS if f"pipe.{name}" in taken}
    others = {name: getattr(after, name) for name, _ in OTHER_FIELDS if name in taken}
    return replace(before, pipe=replace(before.pipe, **pipe), **others)


def explain_change(
    found: Sequence[Difference],
    flow_with: Callable[[frozenset[str]], float],
    before: float,
    after: float,
    method: Difference | None = None,
) -> tuple[Effect, ...]:
    """Return the contribution of each changed input to the change of a flow.

    Parameters
    ----------
    found : sequence of Difference  every input that differs, each field once
    flow_with : callable  set of the fields that have their later value to the flow [m3/s], by the method in force
    before : float [m3/s]  the earlier flow, as it was stored
    after : float [m3/s]  the later flow
    method : Difference or None  the version of the method, if it differs

    Returns
    -------
    effects : tuple of Effect  their sum is after - before. The method's is the change of the earlier flow by the method alone. A row
        `remainder` is what nothing recorded explains: the earlier flow is another by now. Inputs of which no order can be calculated
        have one row `inputs_together`.

    Source
    ------
    averaged orders : see `compute.results.averaged_orders`.
    """
    change = after - before
    if not found:
        return _whole(method, change)
    names = [one.field for one in found]
    try:
        start = flow_with(frozenset())
    except ComputeError:
        return _together((*found, *((method,) if method else ())), change)
    if abs(start - before) <= REPRODUCED * abs(before):
        start = before
    contributions = averaged_contributions(
        len(found), lambda chosen: flow_with(frozenset(names[index] for index in chosen)), start, after
    )
    first = _whole(method, start - before)
    if contributions is None:
        return (*first, *_together(found, after - start))
    effects = tuple(
        Effect(one.field, one.before, one.after, one.kind, contribution)
        for one, contribution in zip(found, contributions, strict=True)
    )
    return (*first, *effects)


def _whole(method: Difference | None, change: float) -> tuple[Effect, ...]:
    """The change by the method, or by nothing that is recorded."""
    if method is not None:
        return (Effect(method.field, method.before, method.after, method.kind, change),)
    return (Effect(REMAINDER, None, None, "text", change),) if change else ()


def _together(found: Sequence[Difference], change: float) -> tuple[Effect, ...]:
    before = tuple(part for one in found for part in _named(one.field, one.before, one.kind))
    after = tuple(part for one in found for part in _named(one.field, one.after, one.kind))
    return (Effect(TOGETHER, before, after, "text", change),)


def _named(field: str, side: Side, kind: str) -> tuple[Part, ...]:
    if isinstance(side, tuple):
        return side
    return () if side is None else (Part(field, side, kind),)


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
    if isinstance(value, Segment):
        ends = (
            Part("segment_start", _iso(value.start), "text"),
            Part("segment_end", _iso(value.end), "text"),
        )
        return (*ends, *((Part("segment_reason", value.reason, "text"),) if value.reason else ()))
    if is_dataclass(value):
        return tuple(part for one in fields(value) for part in _parts(getattr(value, one.name), one.name))
    if isinstance(value, int | float):
        return (Part(name, value, PART_KINDS.get(name, "number")),)
    return (Part(name, str(value), "text"),)


def _iso(moment: int) -> str:
    """A time in microseconds since 1970 as text: UTC, ISO 8601."""
    return (EPOCH + timedelta(microseconds=moment)).isoformat().replace("+00:00", "Z")
