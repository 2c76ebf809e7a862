"""Calculation and checks of a set-up, and the versions of the method."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from compute.base.errors import ComputeError, TotalReflection
from compute.base.messages import Finding, SafetyNote, finding, gettext_noop
from compute.base.sources import SNELL
from compute.measuring.beam import Setup, check_dimensions
from compute.measuring.entries import (
    MediumEntry,
    PipeEntry,
    ResolvedMedium,
    ResolvedPipe,
    TransducerEntry,
    resolve_medium,
    resolve_pipe,
    resolve_transducers,
)
from compute.measuring.location import Place, safety_notes
from compute.measuring.spacing import (
    Spacing,
    alternatives,
    calculate_spacing,
    recommend_traverses,
)
from compute.results.checks_of_setups import SETUP_CHECKS, SetupCase


@dataclass(frozen=True, slots=True)
class Method:
    """A version of the computation: its change, and the size of the change on a named case."""

    version: str
    since: date
    change: str
    effect: str


METHODS = (
    Method(
        "1",
        date(2026, 11, 25),
        gettext_noop(
            "First method: beam by equal axial slowness in all layers and least travel time, profile factor from the logarithmic law with "
            "Colebrook-White friction, water by IAPWS-95, GUM budget with shared inputs, repeatability by effective sample size."
        ),
        gettext_noop("No earlier method."),
    ),
    Method(
        "2",
        date(2026, 11, 25),
        gettext_noop(
            "Repeatability of a log: the correlation that was removed with the level and the trend is restored within segments."
        ),
        gettext_noop(
            "Only uncertainties change. Repeatability of the mean of the 3,895 readings of the demo: +7 %; of 60 readings with a "
            "correlation of 0.9: 2.8 times; of logs without correlation: none."
        ),
    ),
    Method(
        "3",
        date(2026, 11, 25),
        gettext_noop(
            "Calibration errors of instruments are corrected where a policy applies, and are part of the budget in every case."
        ),
        gettext_noop(
            "None where certificates have no points. A meter found to read 1 % high: -1 % when corrected; otherwise the expanded "
            "uncertainty grows by 1 % in quadrature (k = 1)."
        ),
    ),
    Method(
        "4",
        date(2026, 12, 1),
        gettext_noop(
            "The limit of the sound speed check is the 98 % interval of the combined uncertainty of wall, diameter, lining, temperature, "
            "wedge, delay, timing and medium, in place of 1 %. The diagnosis also considers wedge angle, wedge sound speed, another transducer "
            "pair and more than one wrong entry, and gives one cause for each entry."
        ),
        gettext_noop(
            "No flow changes. Of simulated flawless surveys 2 % have an inconsistent sound speed; before, 29 % at DN 50 and 32 to 48 % with an "
            "estimated temperature."
        ),
    ),
    Method(
        "5",
        date(2026, 12, 1),
        gettext_noop(
            "An oval pipe has the uncertainty that its shape has in the flow from times. Wall measurements and certificates have their degrees "
            "of freedom in the budget."
        ),
        gettext_noop(
            "Only uncertainties change. DN 200, diameters 1 % above and below the mean: expanded uncertainty 1.6 % instead of 2.1 %. Wall of two "
            "readings that differ by 0.4 mm: 1.8 % instead of 1.7 %. Certificates with k = 2: none."
        ),
    ),
    Method(
        "6",
        date(2026, 12, 1),
        gettext_noop(
            "Repeatability of few or correlated readings: a mixture of models of the correlation instead of one estimated correlation time; a "
            "single reading has a default repeatability. Outliers of a log are excluded."
        ),
        gettext_noop(
            "95 % intervals of 60 readings with 1/f noise contain the mean in 93 % of simulated logs (before: 68 %), of 5 readings with a "
            "correlation of 0.8 in 93 % (before: 84 %). Repeatability of 10 readings without correlation: 12 times smaller; of 5: 1.3 times "
            "larger; of more than 100: none. One spike of 50 µs among 600 readings no longer moves the flow."
        ),
    ),
    Method(
        "7",
        date(2026, 12, 1),
        gettext_noop(
            "A change between surveys of a point cancels the error of the profile and half of the variance of a disturbed profile. Each mounting "
            "has an uncertainty of its own, estimated from repeat mountings of one day where there are any."
        ),
        gettext_noop(
            "No result changes. Limit of a change at DN 200, turbulent: 1.9 % instead of 1.4 %. Simulated without a change and with mountings "
            "that scatter by 0.7 %: 5 % called significant instead of 17 %."
        ),
    ),
    Method(
        "8",
        date(2026, 12, 1),
        gettext_noop(
            "Turbulent profile factor 1/(1 + a sqrt(f/8)) with a = 1.74 - 0.022/sqrt(f) from simulated and measured profiles instead of "
            "a = 1.25; uncertainty of the profile factor by Reynolds number, with the regime as a probability and the width of the beam, "
            "which is an uncertainty and no correction."
        ),
        gettext_noop(
            "Turbulent flow: -2.4 % at a Reynolds number of 4,000, -1.9 % at 19,000, -1.5 % at 83,000, -1.0 % at 1,000,000, -0.7 % at "
            "10,000,000; laminar flow: none. Standard uncertainty of the profile factor: 0.3 % instead of 0.5 % at 100,000, 4.4 % instead "
            "of 0.5 % at 2,300."
        ),
    ),
    Method(
        "9",
        date(2026, 12, 1),
        gettext_noop(
            "Straight length: an uncertainty that falls steadily with the length and is widest where the length is not recorded; the flow "
            "after one bend and developing laminar flow are corrected by half of the possible error."
        ),
        gettext_noop(
            "One bend: the flow rises by 5.4 % without straight length, by 1.0 % at the recommended length, by 0.2 % at twice that. "
            "Laminar flow at 8 diameters and a Reynolds number of 1,600: +6.5 %. Standard uncertainty after a pump at the recommended "
            "length: 1.2 % instead of 0; where no length is recorded: 6.2 % instead of 0."
        ),
    ),
    Method(
        "10",
        date(2026, 12, 1),
        gettext_noop(
            "Temperature: a wedge without a temperature coefficient has that of its plastic; sound speeds of walls and linings follow the "
            "temperature; the temperature of the medium moves the wedge, the dimensions and the solids in the uncertainty budget."
        ),
        gettext_noop(
            "PMMA wedge without a coefficient: -3.4 % in the flow at 58 °C, +0.7 % at 12 °C; PEI wedge at 180 °C: -11 %. 1 K at 58 °C: 0.1 % "
            "in the budget instead of 0.01 %."
        ),
    ),
    Method(
        "11",
        date(2026, 12, 1),
        gettext_noop(
            "Mounted spacing: the recorded spacing instead of the calculated one determines the time in the medium, by the plane wave of "
            "the wedge; the reading of the spacing is an input of the uncertainty."
        ),
        gettext_noop(
            "DN 50 mounted 10 mm too far: +3.1 % in the flow; as calculated: none. Reading of the spacing on DN 50: 0.08 % (k = 1)."
        ),
    ),
    Method(
        "12",
        date(2026, 12, 1),
        gettext_noop(
            "Uncertainty: sound speeds of walls and linings have the range of their sources; the coverage factor is that of the inputs' "
            "distributions; where the law of propagation is not valid or the flow regime is uncertain, the interval is drawn by "
            "Monte Carlo. A zero belongs to a meter with a pair as mounted."
        ),
        gettext_noop(
            "Flows do not change. Cement mortar on DN 100: 0.5 % (k = 1) in addition. DN 50 with a wall from a table: k = 1.86 "
            "instead of 1.96. Oil at a Reynolds number of 3,000: expanded uncertainty 12 %, at 1,800 and 4,800 about 10 %, without jumps. "
            "Difference of two branches measured with one meter: the zeros no longer cancel."
        ),
    ),
)
"""Every version of the method, the current one last. A change of the physics that moves a computed number adds one."""

METHOD_VERSION = METHODS[-1].version


@dataclass(frozen=True, slots=True)
class CalculatedSetup:
    """A set-up with its resolved pipe and medium, its findings and its safety notes."""

    spacing: Spacing
    alternatives: tuple[Spacing, ...]
    setup: Setup
    pipe: ResolvedPipe
    medium: ResolvedMedium
    findings: tuple[Finding, ...]
    safety_notes: tuple[SafetyNote, ...]


def calculate_setup(
    pipe: PipeEntry,
    medium: MediumEntry,
    transducers: TransducerEntry,
    *,
    traverses: int | None,
    expected_velocity: float | None = None,
    place: Place | None = None,
    timing_resolution: float | None = None,
) -> CalculatedSetup:
    """Calculate and check the mounting of a transducer pair on a pipe.

    Parameters
    ----------
    pipe : PipeEntry
    medium : MediumEntry
    transducers : TransducerEntry
    traverses : int or None  None takes the recommended number, and a finding says so
    expected_velocity : float or None [m/s]
    place : Place or None  None: the place is not checked
    timing_resolution : float or None [s]  of the meter, for the recommended number of traverses

    Returns
    -------
    calculated : CalculatedSetup

    Raises
    ------
    ComputeError  impossible input: see `resolve_pipe`, `resolve_medium` and `trace`

    Source
    ------
    geometry : see `compute.measuring.spacing`; every finding carries its own source.
    """
    pair, pair_findings = resolve_transducers(transducers, medium.temperature)
    resolved_pipe, resolved_medium = resolve_pipe(pipe, medium.temperature), resolve_medium(medium)
    setup = Setup(resolved_pipe.pipe, resolved_medium.medium, pair, traverses or 1)
    check_dimensions(setup.pipe)
    findings = [*resolved_pipe.findings, *resolved_medium.findings, *pair_findings]
    if traverses is None:
        recommended = recommend_traverses(
            setup,
            expected_velocity=expected_velocity,
            timing_resolution=timing_resolution,
            room=place.room if place else None,
        )
        setup = replace(setup, traverses=recommended.traverses)
        findings.append(
            finding(
                "traverses-chosen",
                "info",
                "traverses",
                traverses=recommended.traverses,
                reasons=recommended.reasons or None,
            )
        )
    spacing = calculate_spacing(setup)
    findings += SETUP_CHECKS.findings(
        SetupCase(pipe, medium, transducers, setup, spacing, place, expected_velocity)
    )
    return CalculatedSetup(
        spacing=spacing,
        alternatives=alternatives(setup),
        setup=setup,
        pipe=resolved_pipe,
        medium=resolved_medium,
        findings=tuple(findings),
        safety_notes=safety_notes(
            medium.temperature, pipe.material.name, place.hazards if place else (), medium.pressure
        ),
    )


def no_beam(error: TotalReflection) -> Finding:
    """Return the finding for a set-up without a refracted wave.

    Parameters
    ----------
    error : TotalReflection

    Returns
    -------
    finding : Finding

    Source
    ------
    snell : a wave propagates where axial slowness x sound speed is below 1.
    """
    return finding("no-refracted-wave", "error", error.field, source=SNELL, **_parameters(error))


def _parameters(error: ComputeError) -> dict[str, Any]:
    return dict(error.message.parameters) if error.message else {}
