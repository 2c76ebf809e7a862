"""The checks of a set-up, in the order of their findings."""

from __future__ import annotations

from dataclasses import dataclass, replace

from compute.base.checks import FindingChecks
from compute.base.errors import ComputeError
from compute.base.messages import Finding, finding, quantity, term
from compute.base.sources import SNELL
from compute.measuring import pipe_checks, setup_checks
from compute.measuring.beam import Setup, WaveMode
from compute.measuring.entries import MediumEntry, PipeEntry, TransducerEntry
from compute.measuring.location import Place, check_place
from compute.measuring.spacing import Spacing, calculate_spacing
from compute.results import checks


@dataclass(frozen=True, slots=True)
class SetupCase:
    """A calculated set-up with its entries. `place`: None is not checked; `expected_velocity` [m/s], if entered."""

    pipe: PipeEntry
    medium: MediumEntry
    transducers: TransducerEntry
    setup: Setup
    spacing: Spacing
    place: Place | None = None
    expected_velocity: float | None = None


SETUP_CHECKS: FindingChecks[SetupCase] = FindingChecks("set-up")


@SETUP_CHECKS.register
def _nominal_size(case: SetupCase) -> list[Finding]:
    return pipe_checks.nominal_size_as_outer_diameter(case.pipe.outer_diameter, case.pipe.material.name)


@SETUP_CHECKS.register
def _dimensions(case: SetupCase) -> list[Finding]:
    pipe = case.pipe
    return pipe_checks.dimensions_in_tables(pipe.outer_diameter, pipe.wall_thickness, pipe.material.name)


@SETUP_CHECKS.register
def _transducer_temperature(case: SetupCase) -> list[Finding]:
    return setup_checks.transducer_temperature(
        case.medium.temperature, case.transducers.min_temperature, case.transducers.max_temperature
    )


@SETUP_CHECKS.register
def _other_wave(case: SetupCase) -> list[Finding]:
    """The effect of assuming the other wave mode of the wall, where that wave propagates too."""
    setup, spacing = case.setup, case.spacing
    other: WaveMode = "shear" if spacing.path.wave_modes[0] == "longitudinal" else "longitudinal"
    wall = replace(setup.pipe.wall, wave_mode=other)
    try:
        wrong = calculate_spacing(replace(setup, pipe=replace(setup.pipe, wall=wall)))
    except ComputeError:
        return []
    off = float(wrong.spacing - spacing.spacing)
    late = float(wrong.path.time_in_solids - spacing.path.time_in_solids)
    # At the same transit time, more time in the wall leaves less in the medium, and the flow rises in proportion.
    share = late / float(spacing.path.time_in_medium)
    return [
        finding(
            "wave-mode-ambiguous",
            "info",
            "pipe.wave_mode",
            source=SNELL,
            wave_mode=term(spacing.path.wave_modes[0]),
            other_wave_mode=term(other),
            spacing=quantity(float(spacing.spacing), "length"),
            other_spacing=quantity(float(wrong.spacing), "length"),
            difference=quantity(off, "length"),
            direction=term("too-far" if off > 0 else "too-close"),
            flow_change=share,
            flow_direction=term("too-high" if share > 0 else "too-low"),
        )
    ]


@SETUP_CHECKS.register
def _spacing(case: SetupCase) -> list[Finding]:
    room = case.place.room if case.place else None
    return setup_checks.spacing_fits(float(case.spacing.spacing), case.spacing.sides, room)


@SETUP_CHECKS.register
def _rail(case: SetupCase) -> list[Finding]:
    pair = case.transducers
    return setup_checks.spacing_on_rail(float(case.spacing.spacing), pair.min_spacing, pair.max_spacing)


@SETUP_CHECKS.register
def _near_critical(case: SetupCase) -> list[Finding]:
    return setup_checks.near_critical_angle(case.setup, case.spacing.path)


@SETUP_CHECKS.register
def _expected_velocity(case: SetupCase) -> list[Finding]:
    if case.expected_velocity is None:
        return []
    medium = case.setup.medium
    reynolds = abs(case.expected_velocity) * float(
        case.setup.pipe.bore * medium.density / medium.dynamic_viscosity
    )
    return checks.velocity_sane(case.expected_velocity, reynolds)


@SETUP_CHECKS.register
def _place(case: SetupCase) -> list[Finding]:
    if case.place is None:
        return []
    return check_place(case.place, float(case.spacing.bore), case.setup.traverses)
