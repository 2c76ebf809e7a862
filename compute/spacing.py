"""Where to mount the transducers, and what the beam will then take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from compute.acoustics import RayPath, Real, Setup, trace

Sides = Literal["same", "opposite"]
USUAL_TRAVERSES = (1, 2, 3, 4)
# Below this between the faces a same-side pair cannot be clamped; common practice, no source.
LEAST_ROOM_BETWEEN_FACES = 0.010
# A time difference at the expected velocity below this is lost in the timing of a portable meter; suggestion, no source.
LEAST_TIME_DIFFERENCE = 20e-9
# A beam longer than this loses too much strength; suggestion, no source. Clean water itself takes only 0.2 dB/m at 1 MHz
# (25e-15 s2/m, from memory): bubbles, dirt, scale and each reflection take far more.
LONGEST_BEAM = 2.0


@dataclass(frozen=True, slots=True)
class Spacing:
    """A set-up worked out. Lengths [m], times [s].

    spacing : between the facing ends along the pipe; negative when they overlap (only on opposite sides)
    time_difference_per_velocity : upstream less downstream, for 1 m/s along the beam [s per m/s]
    """

    traverses: int
    sides: Sides
    spacing: Real
    bore: Real
    path: RayPath
    time_difference_per_velocity: Real


@dataclass(frozen=True, slots=True)
class Recommendation:
    """How many traverses to take, and why."""

    traverses: int
    reason: str


def work_out_spacing(setup: Setup) -> Spacing:
    """Spacing, times and sensitivity of a set-up.

    Spacing = axial advance - 2 face offsets. Time difference = 2 x time in the medium x axial slowness x velocity.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    spacing : Spacing

    Raises
    ------
    OutOfRange       see `trace`
    NotEnough        see `trace`
    TotalReflection  see `trace`

    Source
    ------
    geometry : the beam's axial advance; datum of the spacing: the facing ends of the transducers.
    """
    path = trace(setup)
    return Spacing(
        traverses=setup.traverses,
        sides="opposite" if setup.traverses % 2 else "same",
        spacing=path.axial_advance - 2 * setup.transducers.face_offset,
        bore=setup.pipe.bore,
        path=path,
        time_difference_per_velocity=2 * path.time_in_medium * path.axial_slowness,
    )


def alternatives(setup: Setup, counts: Sequence[int] = USUAL_TRAVERSES) -> tuple[Spacing, ...]:
    """The same set-up with other numbers of traverses.

    Parameters
    ----------
    setup : Setup
    counts : sequence of int  the numbers to try; the set-up's own is left out

    Returns
    -------
    spacings : tuple of Spacing  in the order of `counts`

    Source
    ------
    geometry : see `work_out_spacing`.
    """
    return tuple(work_out_spacing(replace(setup, traverses=n)) for n in counts if n != setup.traverses)


def recommend_traverses(setup: Setup, expected_velocity: float | None) -> Recommendation:
    """The number of traverses to begin with.

    Two on the same side: one ruler for both, and a cross flow cancels between the two legs. Four when the time difference of
    two would be small; one when two leave no room between the faces or the beam would be long.

    Parameters
    ----------
    setup : Setup  its own number of traverses does not matter; a medium of single figures, not arrays
    expected_velocity : float or None [m/s]

    Returns
    -------
    recommendation : Recommendation

    Source
    ------
    custom : common practice, no source; limits are named constants of this module.
    """
    two, four = (work_out_spacing(replace(setup, traverses=n)) for n in (2, 4))
    if _beam(two) > LONGEST_BEAM:
        return Recommendation(
            1, f"1 traverse: with 2 the beam would be {_beam(two):.2f} m in the medium and its signal weak."
        )
    if float(two.spacing) < LEAST_ROOM_BETWEEN_FACES:
        if float(four.spacing) >= LEAST_ROOM_BETWEEN_FACES:
            return Recommendation(4, "4 traverses: with 2 there is no room between the faces.")
        return Recommendation(1, "1 traverse: on the same side there is no room between the faces.")
    if expected_velocity is not None and _beam(four) <= LONGEST_BEAM:
        difference = abs(expected_velocity) * float(two.time_difference_per_velocity)
        if difference < LEAST_TIME_DIFFERENCE:
            return Recommendation(
                4,
                f"4 traverses: at the expected velocity 2 give a time difference of only {difference * 1e9:.1f} ns.",
            )
    return Recommendation(
        2, "2 traverses: both transducers on one side, and cross flow cancels between the legs."
    )


def _beam(spacing: Spacing) -> float:
    """Length of the beam in the medium [m]."""
    return float(spacing.traverses * spacing.bore / np.cos(spacing.path.angle_in_medium))
