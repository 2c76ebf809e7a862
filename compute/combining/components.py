"""Results as parts of a combined one: what each doubts, and whose each doubt is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from compute.base.errors import NotEnough, OutOfRange
from compute.statistics.gum import BudgetRow

Owner = Literal["pipe", "meter", "pair", "medium", "point", "run"]

SCATTER = "repeatability"
# Whose each input of a flow is. What is of one run alone, its own scatter, is shared with nothing. Common practice.
OWNERS: Mapping[str, Owner] = {
    "pipe.outer_diameter": "pipe",
    "pipe.wall_thickness": "pipe",
    "pipe.lining.thickness": "pipe",
    "pipe.roughness": "pipe",
    # Two beams cross an oval pipe along two diameters.
    "pipe.ovality": "run",
    "medium.temperature": "medium",
    "medium.sound_speed": "medium",
    "medium.density": "medium",
    "medium.dynamic_viscosity": "medium",
    "transducers.wedge_angle": "pair",
    "transducers.wedge_sound_speed": "pair",
    "transducers.wedge_delay": "pair",
    "readings.transit_time": "meter",
    "readings.time_difference": "meter",
    "meter": "meter",
    "meter.calibration": "meter",
    "meter.zero": "meter",
    "installation": "point",
    "profile_factor": "point",
    SCATTER: "run",
}


@dataclass(frozen=True, slots=True)
class Component:
    """What one input does to one result.

    key                 whose doubt it is; the same key in two results is the same quantity
    contribution        sensitivity x standard uncertainty, with the sensitivity's sign, in the result's unit
    degrees_of_freedom  [1] of the standard uncertainty
    scatter             whether it is the scatter of the result's own readings, which a scatter of all together replaces
    """

    key: str
    contribution: float
    degrees_of_freedom: float = math.inf
    scatter: bool = False

    def __post_init__(self) -> None:
        if not math.isfinite(self.contribution):
            raise OutOfRange(
                f"The contribution of {self.key} is not finite: {self.contribution}.", field=self.key
            )
        if not self.degrees_of_freedom > 0:
            raise OutOfRange(
                f"The degrees of freedom of {self.key} are {self.degrees_of_freedom}; they are above 0.",
                field=self.key,
            )


@dataclass(frozen=True, slots=True)
class Part:
    """A result that goes into a combined one: its value, what it doubts, the coefficient it is taken with, its name."""

    value: float
    components: tuple[Component, ...]
    coefficient: float = 1.0
    name: str = ""

    def __post_init__(self) -> None:
        for number in (self.value, self.coefficient):
            if not math.isfinite(number):
                raise OutOfRange(
                    f"The value or the coefficient of a part is not finite: {number}.", field="parts"
                )


def part_of_result(
    value: float, budget: Iterable[BudgetRow], owners: Mapping[Owner, str], *, name: str = ""
) -> Part:
    """A result as a part, each input of its budget with the key of its owner.

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
    owners : see OWNERS, common practice; an input not listed there is taken for one of this run alone.
    """
    components = []
    for row in budget:
        kind = OWNERS.get(row.input, "run")
        if kind not in owners:
            raise NotEnough(
                f"Whose {row.input} is has to be said: name the {kind} of each result.",
                field=f"owners.{kind}",
            )
        components.append(
            Component(
                f"{row.input}@{kind}:{owners[kind]}",
                row.sensitivity * row.standard_uncertainty,
                row.degrees_of_freedom,
                row.input == SCATTER,
            )
        )
    return Part(value, tuple(components), name=name)
