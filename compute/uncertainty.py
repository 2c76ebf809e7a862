"""How sure a result is: the doubts of a survey's inputs, and what they do to the flow.

Wall, diameter, wedge and profile are shared by every reading of a log: their doubt does not shrink with the
number of readings. Only the scatter of the readings does, by their effective number.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from compute.acoustics import FloatArray, Setup
from compute.flow import flow_from_times
from compute.gum import Distribution, GumResult, Input, propagate
from compute.profile import LAMINAR_BELOW, TURBULENT_FROM
from compute.sources import PRACTICE, Source


@dataclass(frozen=True, slots=True)
class Doubt:
    """The doubt of one input: standard uncertainty (k = 1) in the input's SI unit, or relative to its value."""

    standard_uncertainty: float
    relative: bool = False
    degrees_of_freedom: float = math.inf
    distribution: Distribution = "normal"
    source: Source = PRACTICE

    def of(self, value: float) -> float:
        """The standard uncertainty that goes with a value."""
        return self.standard_uncertainty * abs(value) if self.relative else self.standard_uncertainty


TAPE = Source(
    "circumference tape read to 1 mm over pi, on a round pipe: 0.3 % as a rectangle; suggestion", "suggestion"
)
MILL = Source("wall from a table: mill tolerance 12.5 % (ASTM A530, from memory) as a rectangle", "memory")
DOUBTS: Mapping[str, Doubt] = {
    "pipe.outer_diameter": Doubt(
        0.003 / math.sqrt(3), relative=True, distribution="rectangular", source=TAPE
    ),
    "pipe.wall_thickness": Doubt(
        0.125 / math.sqrt(3), relative=True, distribution="rectangular", source=MILL
    ),
    "pipe.lining.thickness": Doubt(0.2 / math.sqrt(3), relative=True, distribution="rectangular"),
    "pipe.roughness": Doubt(0.5, relative=True),
    "medium.dynamic_viscosity": Doubt(0.02, relative=True),
    "transducers.wedge_angle": Doubt(math.radians(0.2)),
    "transducers.wedge_sound_speed": Doubt(0.003, relative=True),
    "transducers.wedge_delay": Doubt(50e-9),
    "readings.transit_time": Doubt(20e-9),
    "readings.time_difference": Doubt(0.3e-9),
    "profile_factor": Doubt(0.005, relative=True),
}
"""Doubts of a survey's inputs when nothing better is on record: suggestions, no source unless one is named."""

TRANSITIONAL_PROFILE_DOUBT = 0.05


def flow_uncertainty(
    setup: Setup,
    transit_time: float,
    time_difference: float,
    doubts: Mapping[str, Doubt],
    coverage_probability: float = 0.95,
) -> GumResult:
    """Uncertainty of the volume flow of a set-up and mean times.

    Parameters
    ----------
    setup : Setup
    transit_time : float [s]
    time_difference : float [s]
    doubts : mapping of Doubt  by input, as in DOUBTS; `repeatability` is that of the mean time difference [s]
    coverage_probability : float [-]

    Returns
    -------
    result : GumResult  values and sensitivities in SI

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.2 with numeric sensitivities.
    """
    values = {path: _value(path, setup, transit_time, time_difference) for path in doubts}
    inputs = [
        Input(path, values[path], doubt.of(values[path]), doubt.degrees_of_freedom, doubt.distribution)
        for path, doubt in doubts.items()
    ]

    def model(points: Mapping[str, FloatArray]) -> FloatArray:
        count = len(next(iter(points.values())))
        flows = [
            _flow(setup, transit_time, time_difference, {path: float(points[path][i]) for path in points})
            for i in range(count)
        ]
        return np.array(flows)

    return propagate(model, inputs, coverage_probability=coverage_probability)


def survey_doubts(
    setup: Setup,
    *,
    reynolds: float,
    repeatability: Doubt,
    gauged_wall: Doubt | None,
    viscosity_relative: float | None,
) -> dict[str, Doubt]:
    """The doubts that apply to a survey: the list's, less what does not occur, with what is known better.

    Parameters
    ----------
    setup : Setup
    reynolds : float [-]
    repeatability : Doubt  [s] of the mean time difference
    gauged_wall : Doubt or None  [m] when the wall rests on a gauging
    viscosity_relative : float or None [-]  of the medium's data

    Returns
    -------
    doubts : dict of Doubt

    Source
    ------
    suggestions : see DOUBTS; between laminar and turbulent the profile factor is in doubt by 5 %, common practice, no source.
    """
    doubts = dict(DOUBTS) | {"repeatability": repeatability}
    if not setup.pipe.linings:
        del doubts["pipe.lining.thickness"]
    if setup.pipe.roughness == 0:
        del doubts["pipe.roughness"]
    if gauged_wall is not None:
        doubts["pipe.wall_thickness"] = gauged_wall
    if viscosity_relative is not None:
        doubts["medium.dynamic_viscosity"] = Doubt(viscosity_relative, relative=True)
    if LAMINAR_BELOW < reynolds < TURBULENT_FROM:
        doubts["profile_factor"] = Doubt(TRANSITIONAL_PROFILE_DOUBT, relative=True)
    return doubts


def _value(path: str, setup: Setup, transit_time: float, time_difference: float) -> float:
    pipe, pair = setup.pipe, setup.transducers
    values = {
        "pipe.outer_diameter": pipe.outer_diameter,
        "pipe.wall_thickness": pipe.wall.thickness,
        "pipe.lining.thickness": pipe.linings[0].thickness if pipe.linings else 0.0,
        "pipe.roughness": pipe.roughness,
        "medium.dynamic_viscosity": float(np.mean(setup.medium.dynamic_viscosity)),
        "transducers.wedge_angle": pair.wedge_angle,
        "transducers.wedge_sound_speed": pair.wedge_sound_speed,
        "transducers.wedge_delay": pair.wedge_delay,
        "readings.transit_time": transit_time,
        "readings.time_difference": time_difference,
        "repeatability": 0.0,
        "profile_factor": 1.0,
    }
    return values[path]


def _flow(setup: Setup, transit_time: float, time_difference: float, at: Mapping[str, float]) -> float:
    """Volume flow with some inputs moved; `profile_factor` multiplies the computed one."""
    pipe, pair = setup.pipe, setup.transducers
    linings = pipe.linings
    if "pipe.lining.thickness" in at and linings:
        linings = (replace(linings[0], thickness=at["pipe.lining.thickness"]), *linings[1:])
    wall = replace(pipe.wall, thickness=at.get("pipe.wall_thickness", pipe.wall.thickness))
    moved = Setup(
        pipe=replace(
            pipe,
            outer_diameter=at.get("pipe.outer_diameter", pipe.outer_diameter),
            wall=wall,
            linings=linings,
            roughness=max(at.get("pipe.roughness", pipe.roughness), 0.0),
        ),
        medium=replace(
            setup.medium,
            dynamic_viscosity=at.get(
                "medium.dynamic_viscosity", float(np.mean(setup.medium.dynamic_viscosity))
            ),
        ),
        transducers=replace(
            pair,
            wedge_angle=at.get("transducers.wedge_angle", pair.wedge_angle),
            wedge_sound_speed=at.get("transducers.wedge_sound_speed", pair.wedge_sound_speed),
            wedge_delay=at.get("transducers.wedge_delay", pair.wedge_delay),
        ),
        traverses=setup.traverses,
    )
    flow = flow_from_times(
        moved,
        at.get("readings.transit_time", transit_time),
        at.get("readings.time_difference", time_difference) + at.get("repeatability", 0.0),
    )
    return float(flow.volume_flow) * at.get("profile_factor", 1.0)
