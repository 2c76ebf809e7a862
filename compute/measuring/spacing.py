"""Transducer spacing, transit times and the recommended number of traverses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from compute.base.messages import Message, message, quantity
from compute.measuring.beam import RayPath, Real, Setup, trace

Sides = Literal["same", "opposite"]
USUAL_TRAVERSES = (1, 2, 3, 4)
# Minimum distance between the faces of a same-side pair; common practice.
MIN_ROOM_BETWEEN_FACES = 0.010
# Minimum ratio of the time difference at the expected velocity to the timing resolution: 1 %; default value.
RESOLUTION_MULTIPLE = 100
# Timing resolution assumed where the meter's is not known; default value.
USUAL_TIMING_RESOLUTION = 0.2e-9
# A beam longer than this at 1 MHz loses too much strength, and in proportion less at higher frequency; default value.
# Clean water attenuates only 0.2 dB/m at 1 MHz (25e-15 s2/m, from memory): bubbles, dirt, scale and each reflection
# attenuate far more.
MAX_BEAM_AT_1_MHZ = 2.0


@dataclass(frozen=True, slots=True)
class Spacing:
    """A calculated set-up. Lengths [m], times [s].

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
    """A number of traverses; `against` lists the disadvantages of each number considered, in order of preference."""

    traverses: int
    against: tuple[tuple[int, tuple[Message, ...]], ...] = ()

    @property
    def reasons(self) -> tuple[Message, ...]:
        """Disadvantages of the numbers preferred to the recommended number, and of that number."""
        numbers = [number for number, _ in self.against]
        considered = self.against[: numbers.index(self.traverses) + 1] if self.traverses in numbers else ()
        return tuple(reason for _, reasons in considered for reason in reasons)


def calculate_spacing(setup: Setup) -> Spacing:
    """Return spacing, times and sensitivity of a set-up.

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
    """Return the set-up with other numbers of traverses.

    Parameters
    ----------
    setup : Setup
    counts : sequence of int  the numbers to try; the set-up's own is left out

    Returns
    -------
    spacings : tuple of Spacing  in the order of `counts`

    Source
    ------
    geometry : see `calculate_spacing`.
    """
    return tuple(calculate_spacing(replace(setup, traverses=n)) for n in counts if n != setup.traverses)


def recommend_traverses(
    setup: Setup,
    *,
    expected_velocity: float | None,
    timing_resolution: float | None,
    room: float | None,
) -> Recommendation:
    """Recommend a number of traverses.

    Two on the same side unless unsuitable: one rail holds both transducers, and a cross-flow cancels between the two legs.
    Four where two leave no room between the faces or give too small a time difference; one where the beam is long for its
    frequency or the pipe is short; three where one gives too small a time difference.

    Parameters
    ----------
    setup : Setup  its own number of traverses does not matter; a medium of single values, not arrays
    expected_velocity : float or None [m/s]
    timing_resolution : float or None [s]  of the meter; None takes a usual one
    room : float or None [m]  straight pipe to mount on

    Returns
    -------
    recommendation : Recommendation

    Source
    ------
    custom : common practice; limits are named constants of this module.
    """
    spacings = {n: calculate_spacing(replace(setup, traverses=n)) for n in (2, 4, 1, 3)}
    against = {n: _impossible(spacing, setup.transducers.frequency, room) for n, spacing in spacings.items()}
    possible = [n for n in spacings if not against[n]] or [1]
    least = RESOLUTION_MULTIPLE * (timing_resolution or USUAL_TIMING_RESOLUTION)
    if expected_velocity is not None:
        for n, spacing in spacings.items():
            difference = abs(expected_velocity) * float(spacing.time_difference_per_velocity)
            if difference < least:
                against[n].append(
                    message(
                        "traverses-unsuitable/time-difference-small",
                        traverses=n,
                        time_difference=quantity(difference, "time_difference"),
                        needed=quantity(least, "time_difference"),
                    )
                )
    clear = [n for n in possible if not against[n]]
    # With a small time difference everywhere, the most traverses that fit give the largest.
    chosen = clear[0] if clear else max(possible)
    listed = tuple((n, tuple(reasons)) for n, reasons in against.items())
    return Recommendation(chosen, listed)


def _impossible(spacing: Spacing, frequency: float, room: float | None) -> list[Message]:
    """Return reasons why a number of traverses is unsuitable: no room between the faces or on the pipe, a beam too long."""
    reasons = []
    longest = MAX_BEAM_AT_1_MHZ * 1e6 / frequency
    if _beam(spacing) > longest:
        reasons.append(
            message(
                "traverses-unsuitable/beam-long",
                traverses=spacing.traverses,
                beam=quantity(_beam(spacing), "length"),
                limit=quantity(longest, "length"),
            )
        )
    needed = quantity(float(spacing.spacing), "length")
    if spacing.sides == "same" and float(spacing.spacing) < MIN_ROOM_BETWEEN_FACES:
        reasons.append(
            message(
                "traverses-unsuitable/spacing-small",
                traverses=spacing.traverses,
                spacing=needed,
                limit=quantity(MIN_ROOM_BETWEEN_FACES, "length"),
            )
        )
    if room is not None and float(spacing.spacing) > room:
        reasons.append(
            message(
                "traverses-unsuitable/spacing-long",
                traverses=spacing.traverses,
                spacing=needed,
                available=quantity(room, "length"),
            )
        )
    return reasons


def _beam(spacing: Spacing) -> float:
    """Return the length of the beam in the medium [m]."""
    return float(spacing.traverses * spacing.bore / np.cos(spacing.path.angle_in_medium))
