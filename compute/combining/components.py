"""Components of a combined uncertainty: the contribution of each input of each result, and its owner."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import field_name
from compute.statistics.gum import BudgetRow

Owner = Literal["pipe", "meter", "pair", "mounting", "medium", "point", "run"]

SCATTER = "repeatability"
# The owner of each input of a flow. Inputs of one run, such as its scatter, are not shared. Common practice.
OWNERS: Mapping[str, Owner] = {
    "pipe.outer_diameter": "pipe",
    "pipe.wall_thickness": "pipe",
    "pipe.lining.thickness": "pipe",
    "pipe.roughness": "pipe",
    "pipe.wall_sound_speed": "pipe",
    "pipe.lining.sound_speed": "pipe",
    # Two beams cross an oval pipe along two diameters.
    "pipe.ovality": "run",
    "medium.temperature": "medium",
    "medium.sound_speed": "medium",
    "medium.density": "medium",
    "medium.dynamic_viscosity": "medium",
    "transducers.wedge_angle": "pair",
    "transducers.wedge_sound_speed": "pair",
    "transducers.wedge_delay": "pair",
    "transducers.wedge_temperature_coefficient": "pair",
    # The gradient in a wedge is a property of the wedge: of one pair on one hot pipe it is the same each time.
    "transducers.wedge_temperature": "pair",
    "spacing": "mounting",
    "readings.transit_time": "meter",
    # A zero is that of a meter with a pair as mounted: coupling, cables and temperatures change with each mounting.
    "readings.time_difference": "mounting",
    "meter.zero": "mounting",
    "meter": "meter",
    "meter.calibration": "meter",
    "installation": "point",
    "profile_factor": "point",
    SCATTER: "run",
}


@dataclass(frozen=True, slots=True)
class Component:
    """The contribution of one input to one result.

    key                 the input and its owner; the same key in two results is the same quantity
    contribution        sensitivity x standard uncertainty, with the sensitivity's sign, in the result's unit
    degrees_of_freedom  [1] of the standard uncertainty
    scatter             whether it is the scatter of the result's readings, which a joint scatter replaces
    """

    key: str
    contribution: float
    degrees_of_freedom: float = math.inf
    scatter: bool = False

    def __post_init__(self) -> None:
        if not math.isfinite(self.contribution):
            raise OutOfRange(variant="component", component=self.key)
        if not self.degrees_of_freedom > 0:
            raise OutOfRange(
                variant="degrees-of-freedom", component=self.key, value=float(self.degrees_of_freedom)
            )


@dataclass(frozen=True, slots=True)
class Part:
    """A result in a combined result: its value, components, coefficient and name."""

    value: float
    components: tuple[Component, ...]
    coefficient: float = 1.0
    name: str = ""

    def __post_init__(self) -> None:
        for number in (self.value, self.coefficient):
            if not math.isfinite(number):
                raise OutOfRange(field="parts", variant="part")


def part_of_result(
    value: float, budget: Iterable[BudgetRow], owners: Mapping[Owner, str], *, name: str = ""
) -> Part:
    """Return a result as a part, each input of its budget with the key of its owner.

    Parameters
    ----------
    value : float [any unit]
    budget : iterable of BudgetRow  of uncorrelated inputs, sensitivities in that unit over the input's
    owners : mapping of str  for every kind of owner what tells this one from others, e.g. the serial of the meter
    name : str  for remarks

    Returns
    -------
    part : Part  with a coefficient of 1

    Raises
    ------
    NotEnough  an owner that an input of the budget needs is not named

    Source
    ------
    owners : see OWNERS, common practice; an input not listed there belongs to this run alone.
    """
    components = []
    for row in budget:
        kind = OWNERS.get(row.input, "run")
        if kind not in owners:
            raise NotEnough(variant="owner", input=field_name(row.input), owner=kind)
        components.append(
            Component(
                f"{row.input}@{kind}:{owners[kind]}",
                row.sensitivity * row.standard_uncertainty,
                row.degrees_of_freedom,
                row.input == SCATTER,
            )
        )
    return Part(value, tuple(components), name=name)
