"""Common pipes and transducers of the tests, in SI."""

from __future__ import annotations

from math import radians

from compute.measuring.beam import Layer, Medium, Pipe, Setup, Transducers
from compute.measuring.entries import (
    MaterialEntry,
    MediumEntry,
    PipeEntry,
    TransducerEntry,
    resolve_medium,
    resolve_pipe,
)
from compute.measuring.spacing import Recommendation, recommend_traverses

STEEL = (5960.0, 3235.0)
PVC = (2380.0, 1060.0)
WATER_58 = Medium(1550.6, 984.43, 4.806e-4)


def transducers(angle_deg: float = 42.0, speed: float = 2720.0, offset: float = 0.014) -> Transducers:
    return Transducers(1e6, speed, radians(angle_deg), offset, 9.8e-6)


def steel_setup(
    traverses: int = 2,
    *,
    wall: float = 0.008,
    outer: float = 0.2191,
    medium: Medium = WATER_58,
    linings: tuple[Layer, ...] = (),
) -> Setup:
    """A DN 200 steel pipe with water."""
    return Setup(Pipe(outer, Layer(wall, *STEEL), 45e-6, linings), medium, transducers(), traverses)


def plastic_setup(traverses: int = 1) -> Setup:
    """A 160 mm plastic pipe, whose wall carries a longitudinal wave."""
    return Setup(
        Pipe(0.160, Layer(0.0077, *PVC), 1.5e-6), Medium(1482.0, 998.2, 1.0e-3), transducers(), traverses
    )


def recommend(
    setup: Setup, velocity: float | None, timing_resolution: float | None = None, room: float | None = None
) -> Recommendation:
    """The recommended number of traverses."""
    return recommend_traverses(
        setup, expected_velocity=velocity, timing_resolution=timing_resolution, room=room
    )


# A survey as people state it: a gauged DN 200 steel pipe with hot water.
PIPE = PipeEntry(0.2191, 0.008, MaterialEntry("carbon-steel"))
WATER = MediumEntry("water", 331.15, "measured", 6e5)
# The sound speed of the wedge is known at the temperature of the water.
PAIR = TransducerEntry(transducers(), 253.15, 393.15, -2.5, 331.15)
STATED = Setup(resolve_pipe(PIPE, 331.15).pipe, resolve_medium(WATER).medium, PAIR.transducers, 2)
