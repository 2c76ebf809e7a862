"""True surveys: a pipe, a pair, a medium and a flow as they are, and the times that a meter would log.

A forward model of its own: no function of `compute` calculates a time, a velocity or a profile here. The properties of the media are
data, and are those of the library.

Source
------
beam : Snell's law; the arrival of a plane wave at the axial distance X is p X + sum(q h) with the axial slowness p and the slownesses q
    across the layers, e.g. Brekhovskikh and Godin, Acoustics of Layered Media I, chapter 1 (from memory).
profile : laminar parabola, exact. Turbulent: mean along a diameter = mean over the area + a x friction velocity, a = 1.55 ± 0.05: 1.57 and 1.59
    by direct numerical simulation (Yao et al., arXiv:2207.06289), 1.48 by the centreline defect of the Superpipe data (McKeon et al. 2005,
    from memory).
transition : a flow is turbulent with a probability that rises from 0 to 1 about Re 2,800 (Avila et al. 2011 put the onset of sustained
    turbulence at 2,040; a pipe in a plant has disturbances; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

MEAN_DEFECT, DEFECT_SCATTER = 1.55, 0.05
ONSET, ONSET_WIDTH = 2_800.0, 0.12


@dataclass(frozen=True, slots=True)
class TruePipe:
    """Dimensions [m] and sound speeds [m/s] as they are; `lining` None or (thickness, sound speed)."""

    outer_diameter: float
    wall_thickness: float
    wall_sound_speed: float
    roughness: float
    lining: tuple[float, float] | None = None

    @property
    def bore(self) -> float:
        """Inner diameter [m]."""
        return self.outer_diameter - 2 * self.wall_thickness - 2 * (self.lining[0] if self.lining else 0.0)


@dataclass(frozen=True, slots=True)
class TruePair:
    """Transducer pair as it is: wedge angle [rad], sound speed [m/s], delay of one wedge [s]."""

    wedge_angle: float
    wedge_sound_speed: float
    wedge_delay: float

    @property
    def axial_slowness(self) -> float:
        """Sine of the angle over the speed [s/m]."""
        return math.sin(self.wedge_angle) / self.wedge_sound_speed


@dataclass(frozen=True, slots=True)
class TrueMedium:
    """Sound speed [m/s], density [kg/m3], dynamic viscosity [Pa s]."""

    sound_speed: float
    density: float
    dynamic_viscosity: float


class NoBeam(Exception):
    """No wave passes a layer: such a survey has no readings."""


def _across(slowness: float, speed: float) -> float:
    """Return the slowness across a layer [s/m]."""
    if slowness * speed >= 1:
        raise NoBeam
    return math.sqrt(1 / speed**2 - slowness**2)


def axial_distance(pipe: TruePipe, pair: TruePair, medium: TrueMedium, traverses: int) -> float:
    """Return the axial distance of the beam's exit points [m] at which the centre of the beam is received."""
    p = pair.axial_slowness
    distance = traverses * pipe.bore * p / _across(p, medium.sound_speed)
    distance += 2 * pipe.wall_thickness * p / _across(p, pipe.wall_sound_speed)
    if pipe.lining:
        distance += 2 * pipe.lining[0] * p / _across(p, pipe.lining[1])
    return distance


def times(
    pipe: TruePipe, pair: TruePair, medium: TrueMedium, traverses: int, mounted: float, path_velocity: float
) -> tuple[float, float]:
    """Return transit time and time difference [s] of transducers whose exit points are `mounted` apart [m]."""
    p = pair.axial_slowness
    across = traverses * pipe.bore
    transit = p * mounted + across * _across(p, medium.sound_speed) + 2 * pair.wedge_delay
    transit += 2 * pipe.wall_thickness * _across(p, pipe.wall_sound_speed)
    if pipe.lining:
        transit += 2 * pipe.lining[0] * _across(p, pipe.lining[1])
    # The flow carries the wave for as long as the wave is in the medium: one way sooner, the other way later by v p T.
    time_in_medium = across / (medium.sound_speed**2 * _across(p, medium.sound_speed))
    return transit, 2 * path_velocity * p * time_in_medium


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Return the Darcy friction factor by Colebrook-White, by repeated substitution."""
    root = 7.0
    for _ in range(60):
        root = -2 * math.log10(relative_roughness / 3.7 + 2.51 * root / reynolds)
    return root**-2


def profile_factor(reynolds: float, relative_roughness: float, random: np.random.Generator) -> float:
    """Return mean over the area / mean along a diameter of one true flow."""
    turbulent_probability = 1 / (1 + math.exp(-(math.log(reynolds / ONSET)) / (ONSET_WIDTH / 2.2)))
    defect = random.normal(MEAN_DEFECT, DEFECT_SCATTER)
    if random.random() >= turbulent_probability:
        return 0.75
    return 1 / (1 + defect * math.sqrt(friction_factor(reynolds, relative_roughness) / 8))


def noise(count: int, deviation: float, correlation: float, random: np.random.Generator) -> FloatArray:
    """Return a stationary first-order autoregressive series with a standard deviation, white for a correlation of 0."""
    shocks = random.normal(0.0, deviation * math.sqrt(1 - correlation**2), count)
    series = np.empty(count)
    series[0] = random.normal(0.0, deviation)
    for index in range(1, count):
        series[index] = correlation * series[index - 1] + shocks[index]
    return series
