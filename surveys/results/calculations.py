"""Calculations without records: the mounting of a transducer pair, flow, uncertainty and diagnosis from what was entered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from compute.base.errors import TotalReflection
from compute.base.messages import Finding, SafetyNote
from compute.measuring.beam import Setup
from compute.measuring.entries import (
    MediumEntry,
    PipeEntry,
    TransducerEntry,
    medium_at,
    resolve_medium,
    resolve_pipe,
    resolve_transducers,
    setup_at,
)
from compute.measuring.flow import Flow, flow_from_times, times_from_logged
from compute.measuring.location import safety_notes
from compute.results.checks_of_results import FLOW_CHECKS, FlowCase
from compute.results.diagnosis import Diagnosis, case_of_sound_speed, diagnose, sound_speed_test_of_case
from compute.results.entry_errors import Case
from compute.results.input_uncertainties import wedge_state
from compute.results.propagation import Propagation, propagate_flow
from compute.results.survey import CalculatedSetup, calculate_setup, no_beam
from compute.results.uncertainty import InputUncertainty, Measurement, flow_monte_carlo, flow_uncertainty
from compute.statistics.gum import Correlation, GumResult
from compute.statistics.monte_carlo import MonteCarloResult

SEED = 1


@dataclass(frozen=True, slots=True)
class SetupEntries:
    """The entries that fix the beam."""

    pipe: PipeEntry
    medium: MediumEntry
    transducers: TransducerEntry
    traverses: int | None
    expected_velocity: float | None
    timing_resolution: float | None

    def calculated(self) -> CalculatedSetup:
        """The set-up of these entries. Raises ComputeError for impossible ones."""
        return calculate_setup(
            self.pipe,
            self.medium,
            self.transducers,
            traverses=self.traverses,
            expected_velocity=self.expected_velocity,
            timing_resolution=self.timing_resolution,
        )

    def without_beam(self, error: TotalReflection) -> tuple[Finding, list[SafetyNote]]:
        """The finding and the safety notes where no beam passes."""
        notes = safety_notes(self.medium.temperature, self.pipe.material.name, (), self.medium.pressure)
        return no_beam(error), list(notes)

    def case(self, transit_time: float | None, sound_speed: float | None) -> Case:
        """The case for a diagnosis: the entries with a measured transit time or a measured sound speed."""
        pair, _ = resolve_transducers(self.transducers, self.medium.temperature)
        traverses = self.traverses or 1
        case = Case(self.pipe, self.medium, pair, traverses, transit_time or 0.0)
        return case if sound_speed is None else case_of_sound_speed(case, sound_speed)


@dataclass(frozen=True, slots=True)
class FlowUncertainty:
    """The uncertainty of a flow: by the law of propagation, by Monte Carlo if requested, and by the method the inputs require."""

    linear: GumResult
    drawn: MonteCarloResult | None
    result: GumResult
    propagation: Propagation
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class FlowEntries:
    """The entries of a set-up with readings (SI, single values or arrays), and the pipe and medium programmed in the meter."""

    setup: SetupEntries
    readings: Mapping[str, Any]
    programmed: tuple[PipeEntry, MediumEntry] | None

    def times(self, setup: Setup) -> tuple[Any, Any]:
        """Transit time and time difference: as measured, or those behind a logged velocity or flow."""
        if self.programmed is None or "transit_time" in self.readings:
            return self.readings["transit_time"], self.readings["time_difference"]
        pipe, medium = self.programmed
        programmed = Setup(
            resolve_pipe(pipe, medium.temperature).pipe,
            resolve_medium(medium).medium,
            setup.transducers,
            setup.traverses,
        )
        return times_from_logged(programmed, **self.readings)

    def flow(self) -> tuple[Flow, list[Finding]]:
        """The flow of the readings, with the findings on set-up, readings and flow."""
        calculated = self.setup.calculated()
        transit_time, time_difference = self.times(calculated.setup)
        flow = flow_from_times(calculated.setup, transit_time, time_difference)
        programmed_time = not {"transit_time", "sound_speed"} & self.readings.keys()
        case = self.setup.case(float(np.mean(transit_time)), None)
        test = sound_speed_test_of_case(replace(case, traverses=calculated.setup.traverses))
        findings = [
            *calculated.findings,
            *FLOW_CHECKS.findings(FlowCase(flow, test, self.setup.medium, programmed_time)),
        ]
        return flow, findings

    def uncertainty(
        self,
        inputs: Mapping[str, InputUncertainty],
        correlations: Sequence[Correlation],
        coverage_probability: float,
        trials: int | None,
    ) -> FlowUncertainty:
        """The uncertainty of the flow by the law of propagation, by Monte Carlo if trials are stated, and as a result would have it."""
        setup, medium, pair = self.setup.calculated().setup, self.setup.medium, self.setup.transducers
        transit_time, time_difference = self.times(setup)
        measurement = Measurement(
            setup,
            float(transit_time),
            float(time_difference),
            medium.temperature,
            None if medium.temperature is None else medium_at(medium),
            setup_of=None if medium.temperature is None else setup_at(self.setup.pipe, medium, pair, setup),
            wedge=wedge_state(pair, medium.temperature),
        )
        linear = flow_uncertainty(measurement, inputs, correlations, coverage_probability)
        drawn = None if trials is None else flow_monte_carlo(measurement, inputs, linear, trials, SEED)
        result, propagation, findings = propagate_flow(
            measurement, inputs, correlations, coverage_probability
        )
        return FlowUncertainty(linear, drawn, result, propagation, findings)


def diagnosis_of(
    setup: SetupEntries,
    transit_time: float | None,
    sound_speed: float | None,
    inputs: Mapping[str, InputUncertainty] | None,
) -> tuple[Diagnosis, list[Finding]]:
    """The entries that may be wrong by a measured transit time or sound speed, with the findings on set-up and measurement."""
    calculated = setup.calculated()
    diagnosis = diagnose(setup.case(transit_time, sound_speed), inputs)
    return diagnosis, [*calculated.findings, *diagnosis.findings]
