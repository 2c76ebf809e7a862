"""Candidate errors of the medium's entries and of the mounting."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from compute.base.errors import ComputeError
from compute.base.messages import field_name, quantity
from compute.library.media import media
from compute.measuring.beam import trace
from compute.measuring.entries import MediumEntry
from compute.results.checks import medium_title
from compute.results.entry_errors import (
    CandidateError,
    Case,
    Figure,
    Kind,
    calculated_spacing,
    setup_of,
    transit_time_of,
)

MAX_TRAVERSES_CONSIDERED = 8
# Composition of a medium: kind of quantity, minimum, maximum, and standard deviation of a guess.
COMPOSITIONS = {
    "salinity": ("salinity", 0.0, 120.0, 20.0),
    "mass_fraction": ("number", 0.0, 0.6, 0.2),
    "api_gravity": ("number", 5.0, 70.0, 15.0),
}


# The medium


def _media(case: Case) -> Iterator[CandidateError]:
    if case.medium.temperature is None:
        return
    entered = Figure(case.medium.name or "stated by its figures")
    bare = MediumEntry(temperature=case.medium.temperature, pressure=case.medium.pressure)
    for medium in media():
        if medium.name == case.medium.name:
            continue
        needed = [name for name in COMPOSITIONS if name in medium.needs]
        unnamed = replace(case, medium=replace(bare, name=medium.name))
        implied_value = Figure(medium.name)
        facts = {
            "medium": medium_title(medium.name),
            "entered_medium": medium_title(case.medium.name) or None,
        }
        if not needed:
            if (changed := _checked_medium(unnamed)) is not None:
                yield CandidateError(
                    "medium", "medium", entered, implied_value, changed, "suspect-entry/medium", facts
                )
            continue
        for value, changed in _composed(unnamed, needed[0]):
            yield CandidateError(
                "medium",
                "medium",
                entered,
                implied_value,
                changed,
                "suspect-entry/medium",
                facts | {needed[0]: quantity(value, COMPOSITIONS[needed[0]][0])},
                span=_span(unnamed, needed[0]),
            )


def _span(case: Case, name: str) -> float:
    """Return the range of the times [s] of all compositions of a mixture."""
    _, least, most, _ = COMPOSITIONS[name]
    mixtures = [replace(case, medium=replace(case.medium, **{name: x})) for x in np.linspace(least, most, 9)]
    times = [transit_time_of(mixture) for mixture in mixtures if mixture.can_be()]
    return max(times) - min(times)


def _checked_medium(case: Case) -> Case | None:
    try:
        return case.with_medium()
    except ComputeError:
        return None


def _composed(case: Case, name: str) -> Iterator[tuple[float, Case]]:
    _, least, most, _ = COMPOSITIONS[name]

    def change(share: float) -> Case:
        return case.with_medium(**{name: share})

    for share in case.solved(change, np.linspace(least, most, 40)):
        yield share, change(share)


def _compositions(case: Case) -> Iterator[CandidateError]:
    for name, entered in case.medium.composition.items():
        kind, _, _, reach = COMPOSITIONS[name]
        for share, changed in _composed(case, name):
            yield CandidateError(
                "composition",
                f"medium.{name}",
                Figure(entered, kind),
                Figure(share, kind),
                changed,
                "suspect-entry/composition",
                {"quantity": field_name(f"medium.{name}")},
                move=share - entered,
                reach=reach,
            )


def _temperatures(case: Case) -> Iterator[CandidateError]:
    entered = case.medium.temperature
    ranges = [one.temperature_range for one in media() if one.name == case.medium.name]
    if entered is None or not ranges:
        return

    def change(temperature: float) -> Case:
        return case.with_medium(temperature=temperature)

    for temperature in case.solved(change, np.linspace(*ranges[0], 100)):
        yield CandidateError(
            "temperature",
            "medium.temperature",
            Figure(entered, "temperature"),
            Figure(temperature, "temperature"),
            change(temperature),
            "suspect-entry/temperature",
            move=temperature - entered,
        )


def _medium_sound_speeds(case: Case) -> Iterator[CandidateError]:
    if case.medium.sound_speed is None:
        return
    entered = float(np.mean(case.medium.sound_speed))

    def change(speed: float) -> Case:
        return replace(case, medium=replace(case.medium, sound_speed=speed))

    for speed in case.solved(change, entered * np.geomspace(0.5, 2.0, 60)):
        yield CandidateError(
            "medium-sound-speed",
            "medium.sound_speed",
            Figure(entered, "speed"),
            Figure(speed, "speed"),
            change(speed),
            "suspect-entry/medium-sound-speed",
            move=speed - entered,
        )


# The mounting


def _traverses(case: Case) -> Iterator[CandidateError]:
    for count in range(1, MAX_TRAVERSES_CONSIDERED + 1):
        if count != case.traverses:
            entered, implied_value = Figure(case.traverses, "number"), Figure(count, "number")
            changed = replace(case, traverses=count)
            yield CandidateError(
                "traverses",
                "traverses",
                entered,
                implied_value,
                changed,
                "suspect-entry/traverses",
                {"count": count, "entered_traverses": case.traverses},
            )


def _wedge_delays(case: Case) -> Iterator[CandidateError]:
    # The time is linear in the delay: two wedges, each once.
    off = (case.transit_time - transit_time_of(case)) / 2
    entered = float(case.transducers.wedge_delay)
    if entered + off < 0:
        return
    changed = replace(case, transducers=replace(case.transducers, wedge_delay=entered + off))
    yield CandidateError(
        "wedge-delay",
        "transducers.wedge_delay",
        Figure(entered, "transit_time"),
        Figure(entered + off, "transit_time"),
        changed,
        "suspect-entry/wedge-delay",
        move=off,
    )


def _spacings(case: Case) -> Iterator[CandidateError]:
    path = trace(setup_of(case))
    entered = calculated_spacing(case) if case.mounted_spacing is None else case.mounted_spacing
    off = (case.transit_time - transit_time_of(case)) / float(path.axial_slowness)
    if case.traverses % 2 == 0 and entered + off < 0:
        return
    yield CandidateError(
        "spacing",
        "spacing",
        Figure(entered, "length"),
        Figure(entered + off, "length"),
        replace(case, spacing_off=off),
        "suspect-entry/spacing",
        {"spacing_entered": case.mounted_spacing is not None},
        move=off,
    )


# The transducer pair


def _with_pair(case: Case, **changes: float) -> Case:
    return replace(case, transducers=replace(case.transducers, **changes))


def _nearest_root(entered: float, values: list[float]) -> list[float]:
    """Return the value next to the entered one; a value beyond a limit of the beam is unlikely."""
    return [min(values, key=lambda value: abs(value - entered))] if values else []


def _wedge_angles(case: Case) -> Iterator[CandidateError]:
    entered = float(case.transducers.wedge_angle)

    def change(angle: float) -> Case:
        return _with_pair(case, wedge_angle=angle)

    for angle in _nearest_root(entered, case.solved(change, np.radians(np.linspace(5.0, 85.0, 81)))):
        yield CandidateError(
            "wedge-angle",
            "transducers.wedge_angle",
            Figure(entered, "angle"),
            Figure(angle, "angle"),
            change(angle),
            "suspect-entry/wedge-angle",
            move=angle - entered,
        )


def _wedge_sound_speeds(case: Case) -> Iterator[CandidateError]:
    entered = float(case.transducers.wedge_sound_speed)

    def change(speed: float) -> Case:
        return _with_pair(case, wedge_sound_speed=speed)

    for speed in _nearest_root(entered, case.solved(change, entered * np.geomspace(0.5, 2.0, 61))):
        yield CandidateError(
            "wedge-sound-speed",
            "transducers.wedge_sound_speed",
            Figure(entered, "speed"),
            Figure(speed, "speed"),
            change(speed),
            "suspect-entry/wedge-sound-speed",
            move=speed - entered,
        )


def _other_pairs(case: Case) -> Iterator[CandidateError]:
    """Another pair: only the axial speed of its beam shows, wedge sound speed over sine of the angle."""
    sine = float(np.sin(case.transducers.wedge_angle))
    for one in _wedge_sound_speeds(case):
        entered, implied = float(case.transducers.wedge_sound_speed), one.implied_value.value
        if isinstance(implied, float):
            yield replace(
                one,
                kind="transducers",
                field="transducers",
                entered=Figure(entered / sine, "speed"),
                implied_value=Figure(implied / sine, "speed"),
                message="suspect-entry/transducers",
                move=(implied - entered) / sine,
            )


MEDIUM_ERROR_KINDS: tuple[Kind, ...] = (
    _media,
    _compositions,
    _temperatures,
    _medium_sound_speeds,
)
MOUNTING_ERROR_KINDS: tuple[Kind, ...] = (
    _traverses,
    _wedge_delays,
    _spacings,
    _wedge_angles,
    _wedge_sound_speeds,
    _other_pairs,
)
