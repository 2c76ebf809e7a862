"""Simulated surveys: what a technician enters, and a true pipe and flow drawn from the distributions that the service itself states."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from compute.logs.series import Readings
from compute.measuring.beam import Setup, Transducers, trace
from compute.measuring.entries import (
    LiningEntry,
    MaterialEntry,
    MediumEntry,
    PipeEntry,
    TransducerEntry,
    medium_at,
    resolve_medium,
    resolve_pipe,
)
from compute.measuring.location import Place
from compute.measuring.spacing import calculate_spacing
from compute.results.occasion import Occasion
from compute.results.reduction import Reduction, reduce_log
from compute.statistics.gum import BudgetRow
from tests.coverage.forward_model import (
    NoBeam,
    TrueMedium,
    TruePair,
    TruePipe,
    noise,
    profile_factor,
    times,
)

FACE_OFFSET = 0.014
PAIR = TransducerEntry(Transducers(1e6, 2720.0, math.radians(42.0), FACE_OFFSET, 9.8e-6), 200.0, 500.0)
DAY = date(2026, 10, 6)
WALL_READING = 0.05e-3
WEDGE_REFERENCE_TEMPERATURE = 293.15


@dataclass(frozen=True, slots=True)
class Case:
    """One kind of survey.

    outer_diameter, wall_thickness [m], velocity [m/s] mean over the area, temperature [K]
    noise : standard deviation of one time difference, relative; correlation of successive readings
    """

    name: str
    outer_diameter: float
    wall_thickness: float
    velocity: float
    medium: str = "water"
    temperature: float = 293.15
    temperature_source: str = "measured"
    traverses: int = 2
    measured_wall: bool = True
    material: str = "carbon-steel"
    lining: tuple[str, float] | None = None
    readings: int = 600
    noise: float = 0.02
    correlation: float = 0.0


CASES = (
    Case("DN 50, measured wall", 0.0603, 0.0036, 1.5),
    Case("DN 50, assumed wall", 0.0603, 0.0036, 1.5, measured_wall=False),
    Case("DN 100, cement mortar", 0.1143, 0.0045, 1.2, lining=("cement-mortar", 0.003)),
    Case("DN 200, measured wall", 0.2191, 0.0063, 1.2),
    Case("DN 200, assumed wall", 0.2191, 0.0063, 1.2, measured_wall=False),
    Case("DN 200, hot, estimated temperature", 0.2191, 0.0063, 1.2, temperature=353.15, temperature_source="estimated"),
    Case("DN 200, correlated log", 0.2191, 0.0063, 1.2, correlation=0.9, noise=0.05),
    Case("DN 200, 10 readings", 0.2191, 0.0063, 1.2, readings=10, noise=0.05),
    Case("DN 200, near zero flow", 0.2191, 0.0063, 0.01, noise=0.2),
    Case("DN 500, one traverse", 0.508, 0.0095, 1.0, traverses=1),
    Case("DN 1000, measured wall", 1.016, 0.0125, 0.8, traverses=1),
    Case("DN 1000, assumed wall", 1.016, 0.0125, 0.8, traverses=1, measured_wall=False),
    Case("DN 100, hydraulic oil, laminar, Re 1,000", 0.1143, 0.0045, 0.0, "hydraulic-oil", 313.15),
    Case("DN 100, hydraulic oil, Re 2,000", 0.1143, 0.0045, 0.0, "hydraulic-oil", 313.15),
    Case("DN 100, hydraulic oil, Re 2,800", 0.1143, 0.0045, 0.0, "hydraulic-oil", 313.15),
    Case("DN 100, hydraulic oil, Re 3,500", 0.1143, 0.0045, 0.0, "hydraulic-oil", 313.15),
    Case("DN 100, hydraulic oil, Re 5,000", 0.1143, 0.0045, 0.0, "hydraulic-oil", 313.15),
    Case("DN 100, hydraulic oil, Re 8,000", 0.1143, 0.0045, 0.0, "hydraulic-oil", 313.15),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Survey:
    """One simulated survey: its true flow [m3/s] and the result of the service."""

    volume_flow: float
    result: Reduction

    @property
    def error(self) -> float:
        """Result less truth [m3/s]."""
        return self.result.volume_flow - self.volume_flow


def entries(case: Case) -> tuple[PipeEntry, MediumEntry]:
    """Return pipe and medium as entered."""
    lining = LiningEntry(MaterialEntry(case.lining[0]), case.lining[1]) if case.lining else None
    pipe = PipeEntry(case.outer_diameter, case.wall_thickness, MaterialEntry(case.material), lining)
    return pipe, MediumEntry(case.medium, case.temperature, case.temperature_source, 6e5)


def velocity_of(case: Case) -> float:
    """Return the mean velocity of a case [m/s]: its own, or that of the Reynolds number in its name."""
    if case.velocity:
        return case.velocity
    pipe, medium = entries(case)
    found = resolve_medium(medium).medium
    reynolds = float(case.name.rsplit("Re ", 1)[1].replace(",", ""))
    return float(reynolds * found.dynamic_viscosity / (found.density * pipe.bore))


def stated_inputs(case: Case) -> dict[str, BudgetRow]:
    """Return the rows of the budget of a survey in which everything is as entered, by input."""
    found = simulate(case, {}, np.random.default_rng(0)).result
    return {row.input: row for row in found.uncertainty.budget}


def _drawn(row: BudgetRow, random: np.random.Generator) -> float:
    if row.distribution == "rectangular":
        return float(random.uniform(-math.sqrt(3), math.sqrt(3))) * row.standard_uncertainty
    return float(random.standard_normal()) * row.standard_uncertainty


class _Errors:
    """Errors of the inputs of one survey, drawn from the stated distributions; 0 for an input without one."""

    def __init__(self, stated: Mapping[str, BudgetRow], random: np.random.Generator) -> None:
        self._stated = stated
        self._drawn = {path: _drawn(row, random) for path, row in stated.items()}
        self._used: set[str] = set()

    def of(self, path: str) -> float:
        """Return the error of an input, in its SI unit."""
        self._used.add(path)
        return self._drawn.get(path, 0.0)

    def value(self, path: str, otherwise: float = 0.0) -> float:
        """Return the value that the service uses for an input, and its error; `otherwise` where nothing is stated."""
        row = self._stated.get(path)
        return (otherwise if row is None else row.value) + self.of(path)

    def unused(self) -> set[str]:
        """Return the inputs that no part of the simulation has asked for."""
        return set(self._drawn) - self._used


def simulate(case: Case, stated: Mapping[str, BudgetRow], random: np.random.Generator) -> Survey:
    """Return one survey. Nothing is in error but the profile, the transition and the noise where `stated` is empty.

    Raises
    ------
    AssertionError  the service states an uncertainty that the simulation does not draw
    """
    pipe_entry, medium_entry = entries(case)
    errors = _Errors(stated, random)
    solid, pair = resolve_pipe(pipe_entry).pipe, PAIR.transducers
    nominal = Setup(solid, resolve_medium(medium_entry).medium, pair, case.traverses)
    calculated = calculate_spacing(nominal)
    modes = trace(nominal).wave_modes
    speeds = [
        layer.longitudinal_sound_speed if mode == "longitudinal" else layer.shear_sound_speed
        for layer, mode in zip((solid.wall, *solid.linings), modes, strict=True)
    ]
    lining = None
    if case.lining:
        thickness = case.lining[1] + errors.of("pipe.lining.thickness")
        lining = (thickness, errors.value("pipe.lining.sound_speed", speeds[1]))
    pipe = TruePipe(
        case.outer_diameter + errors.of("pipe.outer_diameter"),
        case.wall_thickness + errors.of("pipe.wall_thickness"),
        errors.value("pipe.wall_sound_speed", speeds[0]),
        max(float(solid.roughness) + errors.of("pipe.roughness"), 0.0),
        lining,
    )
    warmer = errors.of("medium.temperature")
    properties = medium_at(medium_entry)(np.array([case.temperature + warmer]))
    viscosity = float(np.mean(properties.dynamic_viscosity))
    relative = errors.of("medium.dynamic_viscosity") / float(nominal.medium.dynamic_viscosity)
    medium = TrueMedium(
        float(np.mean(properties.sound_speed)),
        float(np.mean(properties.density)),
        viscosity * math.exp(relative),
    )
    wedge = case.temperature + warmer + errors.of("transducers.wedge_temperature")
    true_pair = TruePair(
        float(pair.wedge_angle) + errors.of("transducers.wedge_angle"),
        float(pair.wedge_sound_speed)
        + errors.of("transducers.wedge_sound_speed")
        + errors.value("transducers.wedge_temperature_coefficient") * (wedge - WEDGE_REFERENCE_TEMPERATURE),
        float(pair.wedge_delay) + errors.of("transducers.wedge_delay"),
    )
    velocity = velocity_of(case)
    reynolds = velocity * pipe.bore * medium.density / medium.dynamic_viscosity
    errors.of("profile_factor")  # stated by the service; the profile of the forward model is its own
    factor = profile_factor(reynolds, pipe.roughness / pipe.bore, random)
    read = float(calculated.spacing)
    mounted = read + errors.of("spacing") + 2 * FACE_OFFSET
    disturbed = (1 + errors.of("installation")) * (1 + errors.of("meter"))
    transit, difference = times(
        pipe, true_pair, medium, case.traverses, mounted, velocity / factor * disturbed
    )
    transit += errors.of("readings.transit_time")
    zero = errors.of("readings.time_difference") + errors.of("meter.zero")
    scatter = noise(case.readings, case.noise * abs(difference), case.correlation, random)
    errors.of("repeatability")
    assert not errors.unused(), errors.unused()
    log = Readings(np.full(case.readings, transit), difference + zero + scatter)
    place = Place("single-bend", 100 * pipe.bore, 50 * pipe.bore, "horizontal", "side", True)
    occasion = Occasion(
        DAY,
        place,
        nominal,
        mounted_spacing=read,
        measured_wall=(case.wall_thickness, WALL_READING) if case.measured_wall else None,
    )
    result = reduce_log(pipe_entry, medium_entry, PAIR, case.traverses, [log], occasion)
    return Survey(velocity * math.pi / 4 * pipe.bore**2, result)


def simulated(case: Case, trials: int, seed: int) -> list[Survey]:
    """Return independent surveys of one kind; a pipe through which no beam passes is drawn again."""
    stated = stated_inputs(case)
    return [_with_beam(case, stated, np.random.default_rng([seed, trial])) for trial in range(trials)]


def _with_beam(case: Case, stated: Mapping[str, BudgetRow], random: np.random.Generator) -> Survey:
    while True:
        try:
            return simulate(case, stated, random)
        except NoBeam:
            continue
