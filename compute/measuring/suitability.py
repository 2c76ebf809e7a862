"""Suitability of many transducer pairs for a pipe: one evaluation over all pairs for each number of traverses.

`compute.results.survey.calculate_setup` for many pairs at once, with the same physics: pairs whose beams take the same waves
through wall and linings are calculated together by `compute.measuring.spacing.calculate_spacing`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from compute.measuring.beam import FloatArray, Layer, Medium, Pipe, Setup, Transducers, axial_slowness
from compute.measuring.spacing import (
    MAX_BEAM_AT_1_MHZ,
    MIN_ROOM_BETWEEN_FACES,
    RESOLUTION_MULTIPLE,
    calculate_spacing,
)

ORDER = (2, 4, 1, 3)
"""Numbers of traverses as `compute.measuring.spacing.recommend_traverses` prefers them."""
LONGITUDINAL, SHEAR, NO_WAVE = 1, 2, 0


@dataclass(frozen=True, slots=True)
class SuitabilityTable:
    """Set-ups of many pairs on one pipe; rows as `ORDER` where there are two axes, columns the pairs. NaN without a wave.

    blocked_by : 0 a wave reaches the medium; else 1 + the layer that blocks it, walls and linings first, then the medium
    axial_speed [m/s]; max_beam at the frequency, spacing, beam [m]; time_difference_per_velocity [s per m/s]
    fits : enough room and the beam is not too long
    chosen : row of the recommended number of traverses
    """

    blocked_by: NDArray[np.int64]
    axial_speed: FloatArray
    max_beam: FloatArray
    spacing: FloatArray
    beam: FloatArray
    time_difference_per_velocity: FloatArray
    fits: NDArray[np.bool_]
    chosen: NDArray[np.int64]


def suit(
    pipe: Pipe,
    medium: Medium,
    pairs: Sequence[Transducers],
    *,
    expected_velocity: float | None,
    timing_resolution: float,
    room: float | None,
) -> SuitabilityTable:
    """Calculate every pair on one pipe with each usual number of traverses.

    Parameters
    ----------
    pipe : Pipe
    medium : Medium
    pairs : sequence of Transducers  (n,), wedges at the temperature of the pipe
    expected_velocity : float or None [m/s]  None leaves the time difference unjudged
    timing_resolution : float [s]  of the meter
    room : float or None [m]  straight pipe to mount on

    Returns
    -------
    suited : SuitabilityTable

    Raises
    ------
    OutOfRange     a pair or a pipe with impossible values
    NumberInvalid  a value of a pair that is not finite

    Source
    ------
    geometry : see `compute.measuring.spacing`; the choice is that of `recommend_traverses`.
    """
    together = _stacked(pairs)
    slowness = np.asarray(axial_slowness(together))
    waves, blocked = _waves(pipe, medium, slowness)
    shape = (len(ORDER), len(pairs))
    spacing, beam, per_velocity = np.full(shape, np.nan), np.full(shape, np.nan), np.full(shape, np.nan)
    for kind in np.unique(waves[:, blocked == 0], axis=1).T:
        some = np.flatnonzero((blocked == 0) & np.all(waves == kind[:, None], axis=0))
        group = _some(together, some)
        for row, traverses in enumerate(ORDER):
            found = calculate_spacing(Setup(_with_waves(pipe, kind), medium, group, traverses))
            spacing[row, some] = found.spacing
            beam[row, some] = traverses * found.bore / np.cos(found.path.angle_in_medium)
            per_velocity[row, some] = found.time_difference_per_velocity
    longest = MAX_BEAM_AT_1_MHZ * 1e6 / np.asarray(together.frequency)
    fits = _fits(spacing, beam, longest, room)
    clear = fits
    if expected_velocity is not None:
        clear = fits & (abs(expected_velocity) * per_velocity >= RESOLUTION_MULTIPLE * timing_resolution)
    return SuitabilityTable(
        blocked, 1 / slowness, longest, spacing, beam, per_velocity, fits, _chosen(fits, clear)
    )


def _stacked(pairs: Sequence[Transducers]) -> Transducers:
    """Return many pairs as one pair of arrays."""
    names = ("frequency", "wedge_sound_speed", "wedge_angle", "face_offset", "wedge_delay")
    return Transducers(**{name: np.array([getattr(one, name) for one in pairs], float) for name in names})  # type: ignore[arg-type]


def _some(pairs: Transducers, some: NDArray[np.int64]) -> Transducers:
    names = ("frequency", "wedge_sound_speed", "wedge_angle", "face_offset", "wedge_delay")
    return Transducers(**{name: getattr(pairs, name)[some] for name in names})


def _waves(pipe: Pipe, medium: Medium, slowness: FloatArray) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return each pair's wave in each layer by the rule of `choose_wave_mode`, and the first layer that blocks it."""
    waves = np.array([_wave(layer, slowness) for layer in (pipe.wall, *pipe.linings)])
    passed = np.vstack([waves != NO_WAVE, slowness * medium.sound_speed < 1])
    blocked = np.where(passed.all(axis=0), 0, 1 + np.argmin(passed, axis=0))
    return waves, blocked


def _wave(layer: Layer, slowness: FloatArray) -> NDArray[np.int64]:
    longitudinal = (slowness * layer.longitudinal_sound_speed < 1) & (layer.wave_mode != "shear")
    shear = np.zeros_like(longitudinal)
    if layer.shear_sound_speed is not None and layer.wave_mode != "longitudinal":
        shear = slowness * layer.shear_sound_speed < 1
    return np.where(longitudinal, LONGITUDINAL, np.where(shear, SHEAR, NO_WAVE))


def _with_waves(pipe: Pipe, waves: NDArray[np.int64]) -> Pipe:
    """Return the pipe with the wave of each layer set."""
    wall, *linings = (
        replace(layer, wave_mode="longitudinal" if wave == LONGITUDINAL else "shear")
        for layer, wave in zip((pipe.wall, *pipe.linings), waves, strict=True)
    )
    return replace(pipe, wall=wall, linings=tuple(linings))


def _fits(
    spacing: FloatArray, beam: FloatArray, longest: FloatArray, room: float | None
) -> NDArray[np.bool_]:
    same_side = np.array([count % 2 == 0 for count in ORDER])[:, None]
    # Comparisons with NaN are false: without a wave, nothing fits.
    fits = beam <= longest
    fits &= ~same_side | (spacing >= MIN_ROOM_BETWEEN_FACES)
    return fits if room is None else fits & (spacing <= room)


def _chosen(fits: NDArray[np.bool_], clear: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the first number without a disadvantage; else the most traverses that fit; else one."""
    most = np.where(fits, np.array(ORDER)[:, None], 0).argmax(axis=0)
    most = np.where(fits.any(axis=0), most, ORDER.index(1))
    return np.where(clear.any(axis=0), clear.argmax(axis=0), most)
