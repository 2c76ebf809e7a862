"""Significance of a change between two surveys of a point: what both share cancels, what each mounting brings is new.

Pipe data, transducer pair, meter under one certificate, profile and place are the same in both surveys. The zero, the spacing and the position
of the transducers around the pipe are another with each mounting.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from compute.base.sources import Source
from compute.combining.components import Component, Part

# Standard uncertainty of the flow from the position and the seating of the transducers, relative; a default value that counts as much as
# so many repeat mountings.
DEFAULT_MOUNTING, DEFAULT_FREEDOM = 0.007, 4.0
# Fraction of the variance of a disturbed profile that goes with the position of the transducers around the pipe; default value.
POSITION_FRACTION = 0.5
# Two flows whose Reynolds numbers differ by less than this factor share the error of the profile factor; default value.
SHARED_PROFILE_RATIO = 2.0
# Flows of one day that differ by more than this, relative, are a change of the flow and no repeats; default value.
LARGEST_REPEAT_DIFFERENCE = 0.06
MOUNTING = "mounting"
REPEATS = Source(
    "standard deviation of repeat mountings of one day, pooled over the days of a point; below the default of 0.7 % combined with it",
    "default",
)


@dataclass(frozen=True, slots=True)
class MountingUncertainty:
    """Relative standard uncertainty [1] of the flow that each mounting brings, its degrees of freedom, and the repeats it comes from."""

    relative: float
    degrees_of_freedom: float
    repeats: int


def mounting_uncertainty(days: Sequence[Sequence[float]]) -> MountingUncertainty:
    """Return what each mounting at a point brings, from repeat mountings where there are any.

    Parameters
    ----------
    days : sequence of sequences of float [m3/s]  flows of the mountings of each day; days with one mounting, with flows around 0 and with
        flows that differ by more than 6 % do not count

    Returns
    -------
    uncertainty : MountingUncertainty  the default without repeats

    Source
    ------
    pooled standard deviation of relative flows within days (ISO 5725-2, from memory), where it is above the default. One below is
        combined with the default, the variances weighted by their degrees of freedom: few repeats that agree by chance prove little.
    """
    squares, freedom = 0.0, 0
    for flows in days:
        mean = math.fsum(flows) / max(len(flows), 1)
        if len(flows) < 2 or any(flow * mean <= 0 for flow in flows):
            continue
        if max(flows) - min(flows) > LARGEST_REPEAT_DIFFERENCE * abs(mean):
            continue
        squares += math.fsum((flow / mean - 1) ** 2 for flow in flows)
        freedom += len(flows) - 1
    if squares > freedom * DEFAULT_MOUNTING**2:
        return MountingUncertainty(math.sqrt(squares / freedom), freedom, freedom)
    together = DEFAULT_FREEDOM + freedom
    variance = (DEFAULT_FREEDOM * DEFAULT_MOUNTING**2 + squares) / together
    return MountingUncertainty(math.sqrt(variance), together if freedom else math.inf, freedom)


def part_of_survey(part: Part, mounting: MountingUncertainty, survey: str, *, shares_profile: bool) -> Part:
    """Return a result as a part of a change between surveys, with the component of its mounting.

    Parameters
    ----------
    part : Part  whose `point` is the owner of the profile and of the place
    mounting : MountingUncertainty
    survey : str  what tells this mounting from others
    shares_profile : bool  whether both surveys have the same error of the profile factor

    Returns
    -------
    part : Part

    Source
    ------
    default : POSITION_FRACTION of the variance of a disturbed profile is new with each mounting.
    """
    components = [
        Component(f"{MOUNTING}@run:{survey}", mounting.relative * part.value, mounting.degrees_of_freedom)
    ]
    for one in part.components:
        name = one.key.partition("@")[0]
        if name == "installation":
            shared, own = math.sqrt(1 - POSITION_FRACTION), math.sqrt(POSITION_FRACTION)
            components.append(replace(one, contribution=shared * one.contribution))
            components.append(
                replace(one, key=f"installation@run:{survey}", contribution=own * one.contribution)
            )
        elif name == "profile_factor" and not shares_profile:
            components.append(replace(one, key=f"profile_factor@run:{survey}"))
        else:
            components.append(one)
    return replace(part, components=tuple(components))


def profile_is_shared(first_reynolds: float, second_reynolds: float) -> bool:
    """Return whether two flows share the error of the profile factor.

    Parameters
    ----------
    first_reynolds : float [1]
    second_reynolds : float [1]

    Returns
    -------
    shared : bool  not for Reynolds numbers of which one is more than twice the other, or one is 0

    Source
    ------
    default : the model of the profile factor is smooth; SHARED_PROFILE_RATIO.
    """
    low, high = sorted((abs(first_reynolds), abs(second_reynolds)))
    return low > 0 and high <= SHARED_PROFILE_RATIO * low
