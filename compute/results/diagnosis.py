"""Diagnosis: possible causes of a transit time that does not match the entries.

Bayes' rule over the kinds of entry error in `compute.results.entry_error_kinds`. The weight of a kind is shared by its possible
candidates. With r the measured time less the time of a set-up and s its standard uncertainty, a candidate from a list scores
weight x N(r; 0, s). A solved value differs by `move` and may differ by `reach` (one standard deviation); it spreads the
time by reach x |r/move|, so it scores weight x N(r; 0, S) with r as entered and S^2 = s^2 + (reach x r/move)^2: the
larger the possible change of a value, the less it explains. The reach itself is known by its order only, so N is a mixture.
Two errors at once spread the time by both: their score is the mean over all pairs of kinds. The list is completed by "no error" and
"another cause". Scores over their sum are the probabilities; the candidates of one field are one possible cause.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from compute.base.errors import OutOfRange, UnknownName
from compute.base.messages import Finding, Message, message, quantity, term
from compute.library.materials import solids
from compute.measuring.beam import trace
from compute.measuring.entries import TransducerEntry, medium_at, resolve_medium, resolve_pipe
from compute.measuring.flow import flow_from_times, times_from_mean_velocity
from compute.results import checks
from compute.results.entry_error_kinds import candidates_by_kind
from compute.results.entry_errors import (
    SEVERAL,
    CandidateError,
    Case,
    Figure,
    setup_of,
    several_errors,
    spacing_differs,
    transit_time_of,
)
from compute.results.entry_errors_pipe import is_standard_diameter
from compute.results.input_uncertainties import (
    UNRECORDED_SPACING_UNCERTAINTY,
    solid_uncertainties,
    wedge_state,
    wedge_uncertainties,
)
from compute.results.sound_speed import (
    MEDIUM,
    TRANSIT_TIME,
    SoundSpeedTest,
    crossing_uncertainty,
    measured_sound_speed,
    sound_speed_test,
    sound_speed_uncertainty,
)
from compute.results.uncertainty import (
    DEFAULT_UNCERTAINTIES,
    InputUncertainty,
    Measurement,
    calculated_time,
    input_values,
    temperature_uncertainty,
)
from compute.statistics.gum import Input

# Relative frequency of each kind of error where it can occur: default values, nearly equal because no statistics of entry errors are
# published. An entry that few surveys have (a lining, a composition, an own sound speed) is wrong more often where it occurs.
WEIGHTS: Mapping[str, float] = {
    "nominal-diameter": 1.0,
    "other-size": 0.4,
    "outer-diameter": 0.5,
    "inches": 0.2,
    "other-schedule": 0.6,
    "wall": 0.6,
    "lining": 0.6,
    "lining-thickness": 1.2,
    "material": 0.4,
    "wave-mode": 0.1,
    "medium": 0.6,
    "composition": 1.5,
    "temperature": 0.8,
    "medium-sound-speed": 2.0,
    "traverses": 0.6,
    "wedge-angle": 0.9,
    "wedge-sound-speed": 0.9,
    "transducers": 0.95,
    "wedge-delay": 0.8,
    "spacing": 0.8,
    SEVERAL: 0.9,
}
ALL_WELL = 1.0
OTHER_CAUSE_PRIOR = 0.1
OTHER_CAUSE_SPREAD = 0.3  # of the time in the medium
# Standard deviation of the logarithm of the correct wall over the one entered, for a wrong schedule; a default value.
SCHEDULE_REACH = math.log(2.0)
# The same of the outer diameter for a wrong size, and for a misread one that should be a standard size; default values.
SIZE_REACH, MISREAD_REACH = math.log(1.5), 0.04
# Likelihood against any other medium; default values.
COMMON_MEDIA = {"water": 20.0, "seawater": 3.0}
# Likelihood against any other material of a pipe, and that of plastic for metal or the reverse; default values.
COMMON_MATERIALS = {
    "carbon-steel": 10.0,
    "stainless-steel-304": 5.0,
    "stainless-steel-316": 5.0,
    "ductile-iron": 5.0,
    "cast-iron": 5.0,
    "copper": 3.0,
    "pvc-u": 10.0,
    "hdpe": 10.0,
    "pp": 3.0,
    "grp": 3.0,
}
CONFUSED_CLASS = 0.05
# Shares of the linings that are not entered; default values.
LINING_SHARES = {"cement-mortar": 0.6, "epoxy": 0.15, "rubber-natural": 0.15, "bitumen": 0.1}
# Plastics have a lower longitudinal sound speed than this, metals and cement a higher one [m/s]; lead is not one of the common materials.
PLASTIC_BELOW = 3000.0
# The size of an error is known by its order only: a mixture of these multiples of its reach, with their shares; default values.
REACH_MIXTURE = ((0.5, 0.25), (1.0, 0.5), (2.0, 0.25))
# Possible change of a value by an entry error, one standard deviation, relative; default values. Lengths read from a pipe or a rail
# and times have absolute ones [m, s, K, rad].
RELATIVE_REACHES = {
    "pipe.outer_diameter": 0.035,
    "pipe.wall_thickness": 0.4,
    "pipe.lining.thickness": 0.7,
    "medium.sound_speed": 0.05,
    "transducers": 0.12,
    "transducers.wedge_sound_speed": 0.12,
    "transducers.wedge_delay": 0.4,
}
WEDGE_ANGLE_REACH = math.radians(7.0)
TEMPERATURE_REACH = {"measured": 20.0, "estimated": 25.0, "": 20.0}
SPACING_REACH = 0.015
# Another pair also has another delay [s], one standard deviation of each wedge; a default value.
PAIR_DELAY_REACH = 1.5e-6
# Evidence of the standard tables: how much less often an entered outer diameter is a standard one if it was misread, and how much less
# often it is none if it was read correctly; default values.
STANDARD_IF_MISREAD, ODD_IF_CORRECT = 0.15, 0.3
# A mounted spacing that differs from the calculated one is checked first; default values [m, 1].
SPACING_DIFFERS, SPACING_DIFFERS_WEIGHT = 0.003, 4.0
# A value with an entered uncertainty was checked: other errors of it are less frequent by this factor. A default value.
CHECKED_WEIGHT = 0.2
CHECKED_BY = {"transducers": {"transducers.wedge_angle", "transducers.wedge_sound_speed"}}
MIN_PROBABILITY = 0.001
# A change of the flow below this is reported as none.
NO_EFFECT = 0.0005
DIAGNOSED_INPUTS = (
    "pipe.outer_diameter",
    "pipe.wall_thickness",
    "pipe.lining.thickness",
    "transducers.wedge_angle",
    "transducers.wedge_sound_speed",
    "transducers.wedge_delay",
    "medium.temperature",
    "medium.sound_speed",
    TRANSIT_TIME,
)


@dataclass(frozen=True, slots=True)
class PossibleCause:
    """A candidate error with its probability [-], and the change of the flow [-] at the same times if it is corrected.

    `effect_on_flow` is relative: 0.05 where the corrected flow is 5 % above the flow as entered; None where the entries
    give no flow.
    """

    candidate: CandidateError
    probability: float
    effect_on_flow: float | None
    message: Message


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Whether a measured sound speed [m/s] is consistent; if not, the possible causes, the most probable first.

    `other_cause_probability` completes those of all possible causes, shown or not, to 1.
    `measured_sound_speed` is None where the time is too short.
    """

    consistent: bool
    measured_sound_speed: float | None
    expected_sound_speed: float
    relative_uncertainty: float
    possible_causes: tuple[PossibleCause, ...]
    other_cause_probability: float
    findings: tuple[Finding, ...]


def case_of_sound_speed(case: Case, measured_sound_speed: float) -> Case:
    """Return the case with the transit time of a sound speed that the meter showed with these entries.

    Parameters
    ----------
    case : Case  its transit time is not used
    measured_sound_speed : float [m/s]

    Returns
    -------
    case : Case

    Raises
    ------
    OutOfRange  a sound speed that is not possible with the beam

    Source
    ------
    transit time : the inverse of `compute.measuring.flow.sound_speed_from_time`: the time in the medium at that speed.
    """
    setup = setup_of(case)
    fastest = 1 / float(trace(setup).axial_slowness)
    if not 0 < measured_sound_speed < fastest:
        raise OutOfRange(
            field="measured_sound_speed",
            value=quantity(measured_sound_speed, "speed"),
            above=quantity(0.0, "speed"),
            below=quantity(fastest, "speed"),
        )
    told = replace(setup, medium=replace(setup.medium, sound_speed=measured_sound_speed))
    return replace(case, transit_time=float(trace(told).transit_time))


def diagnose(
    case: Case, stated: Mapping[str, InputUncertainty] | None = None, test: SoundSpeedTest | None = None
) -> Diagnosis:
    """Compare a transit time with the entries, and rank the single wrong entries that may explain it.

    Parameters
    ----------
    case : Case
    stated : mapping of InputUncertainty, or None  by path of the input; default uncertainties for the others
    test : SoundSpeedTest or None  of the case, where its uncertainties are known; None: from `stated` and the default ones

    Returns
    -------
    diagnosis : Diagnosis

    Raises
    ------
    UnknownName  an input that no diagnosis uses

    Source
    ------
    method : Bayes' rule with mixtures of normal errors; its weights and reaches are default values, see the module.
    limits : see `compute.results.sound_speed`.
    """
    stated = dict(stated or {})
    for name in stated:
        if name not in DIAGNOSED_INPUTS:
            raise UnknownName(
                field=f"inputs.{name[:60]}",
                variant="calculation-input",
                name=name[:60],
                known=list(DIAGNOSED_INPUTS),
            )
    test = test or sound_speed_test_of_case(case, stated)
    if test.consistent:
        return Diagnosis(True, test.measured, test.expected, test.relative_uncertainty, (), 1.0, ())
    possible_causes, rest = _ranked(case, stated, test.time_uncertainty)
    findings = checks.sound_speed_fits(test, case.medium) if test.measured is not None else []
    return Diagnosis(
        False, test.measured, test.expected, test.relative_uncertainty, possible_causes, rest, tuple(findings)
    )


def sound_speed_test_of_case(
    case: Case, stated: Mapping[str, InputUncertainty] | None = None
) -> SoundSpeedTest:
    """Return the test of the sound speed of a case.

    Parameters
    ----------
    case : Case
    stated : mapping of InputUncertainty, or None  by path of the input; default uncertainties for the others

    Returns
    -------
    test : SoundSpeedTest

    Source
    ------
    limits : see `compute.results.sound_speed`.
    """
    stated, resolved = stated or {}, resolve_medium(case.medium)
    by_library = bool(case.medium.name) and case.medium.temperature is not None
    temperature = case.medium.temperature if by_library else None
    pipe, pair = resolve_pipe(case.pipe, case.medium.temperature), TransducerEntry(case.transducers)
    setup = replace(setup_of(case), mounted_spacing=case.mounted_spacing)
    measurement = Measurement(
        setup,
        case.transit_time,
        0.0,
        temperature,
        medium_at(case.medium) if by_library else None,
        wedge=wedge_state(pair, temperature),
    )
    uncertainties = dict(DEFAULT_UNCERTAINTIES) | solid_uncertainties(pipe, setup, temperature)
    uncertainties |= wedge_uncertainties(pair, temperature)
    if case.mounted_spacing is None:
        uncertainties["spacing"] = UNRECORDED_SPACING_UNCERTAINTY
    if by_library:
        uncertainties["medium.temperature"] = temperature_uncertainty(case.medium.temperature_source)
    uncertainties |= {path: one for path, one in stated.items() if path != MEDIUM}
    # The sensitivities are those of the entries, also where the measured time is not possible with them.
    values = input_values(replace(measurement, transit_time=float(calculated_time(setup))))
    inputs = [crossing_uncertainty(case.pipe)]
    inputs += [
        Input(path, values[path], one.of(values[path]))
        for path, one in uncertainties.items()
        if path in values
    ]
    speed = float(resolved.medium.sound_speed)
    own = stated[MEDIUM].of(speed) / speed if MEDIUM in stated else sound_speed_uncertainty(resolved)
    return sound_speed_test(measurement, inputs, own, measured_sound_speed(setup, case.transit_time))


def _ranked(
    case: Case, stated: Mapping[str, InputUncertainty], spread: float
) -> tuple[tuple[PossibleCause, ...], float]:
    """Return possible causes, the most probable first, and the probability of another cause."""
    expected = transit_time_of(case)
    miss = case.transit_time - expected
    # The uncertainty is that of the unchanged set-up: it grows with the time.
    spread *= max(1.0, case.transit_time / expected)
    rest = ALL_WELL * _density(miss, spread) + OTHER_CAUSE_PRIOR * _density(
        miss, OTHER_CAUSE_SPREAD * float(trace(setup_of(case)).time_in_medium)
    )
    scored, effects = _scored(case, stated, spread, miss)
    scored.append((WEIGHTS[SEVERAL] * _density_of_two(miss, spread, effects), several_errors(case)))
    total = rest + sum(score for score, _ in scored)
    if total == 0.0:
        return (), 1.0
    flow = _flow(case, case)
    shown = tuple(
        _explained(case, candidate, score / total, flow)
        for score, candidate in sorted(_by_field(scored), key=lambda pair: -pair[0])
        if score / total >= MIN_PROBABILITY
    )
    return shown, rest / total


def _scored(
    case: Case, stated: Mapping[str, InputUncertainty], spread: float, miss: float
) -> tuple[list[tuple[float, CandidateError]], dict[str, float]]:
    """Return the candidates with their scores, and for each kind of error its effect on the time, one standard deviation [s]."""
    scored: list[tuple[float, CandidateError]] = []
    effects: dict[str, float] = {}
    standard = is_standard_diameter(case)
    for kind, candidates in candidates_by_kind(case).items():
        likelihoods = [_likelihood(candidate, standard) for candidate in candidates]
        total, variance = sum(likelihoods), 0.0
        for candidate, likelihood in zip(candidates, likelihoods, strict=True):
            # Each candidate of a list has its part of the weight; several roots of one value are parts of one density.
            share = likelihood if candidate.move is not None else likelihood / total
            weight = WEIGHTS[kind] * _evidence(case, kind, standard) * share
            if CHECKED_BY.get(candidate.field, {candidate.field}) <= stated.keys():
                weight *= CHECKED_WEIGHT
            if candidate.move is not None:
                effect = abs(miss / candidate.move) * _reach(case, candidate, stated)
                effect = math.hypot(effect, 2 * PAIR_DELAY_REACH) if kind == "transducers" else effect
                density = _density_of_reach(miss, spread, effect)
            else:
                # A mixture of unknown composition may have any time of its span: a rectangle's deviation is its width over sqrt(12).
                effect = transit_time_of(candidate.case) - transit_time_of(case)
                density = _density(miss - effect, math.hypot(spread, candidate.span / math.sqrt(12)))
            variance += share * effect**2
            scored.append((weight * density, candidate))
        effects[kind] = math.sqrt(variance)
    return scored, effects


def _evidence(case: Case, kind: str, standard: bool) -> float:
    """Return how well a kind of error agrees with the other entries: whether the entered outer diameter is a standard one."""
    if kind == "spacing" and spacing_differs(case) > SPACING_DIFFERS:
        return SPACING_DIFFERS_WEIGHT
    if kind in ("nominal-diameter", "inches"):
        return 1.0
    if kind == "outer-diameter":
        return STANDARD_IF_MISREAD if standard else 1.0
    return 1.0 if standard or kind == "other-size" else ODD_IF_CORRECT


def _likelihood(candidate: CandidateError, standard: bool) -> float:
    """Return the likelihood of a candidate among its siblings: a size or schedule near the entered one, and water, are the most likely."""
    entered, implied_value = candidate.entered.value, candidate.implied_value.value
    reaches = {"other-schedule": SCHEDULE_REACH, "other-size": SIZE_REACH if standard else MISREAD_REACH}
    if candidate.kind in reaches and isinstance(entered, float) and isinstance(implied_value, float):
        return math.exp(-0.5 * (math.log(implied_value / entered) / reaches[candidate.kind]) ** 2) + 1e-6
    if candidate.kind == "lining" and candidate.move is not None:
        # A thickness is above 0: half of a normal distribution.
        return 2 * LINING_SHARES[candidate.implied_value.material]
    if candidate.kind == "material":
        likelihood = COMMON_MATERIALS.get(str(implied_value), 1.0)
        return (
            likelihood if _is_plastic(implied_value) == _is_plastic(entered) else CONFUSED_CLASS * likelihood
        )
    return COMMON_MEDIA.get(str(implied_value), 1.0) if candidate.kind == "medium" else 1.0


def _is_plastic(material: float | str | None) -> bool:
    return any(one.name == material and one.longitudinal_sound_speed < PLASTIC_BELOW for one in solids())


def _reach(case: Case, candidate: CandidateError, stated: Mapping[str, InputUncertainty]) -> float:
    """Return the possible change of a value by an error, one standard deviation: that of the candidate, or of its field."""
    entered = abs(candidate.entered.value) if isinstance(candidate.entered.value, float) else 0.0
    if candidate.reach is not None:
        return candidate.reach
    absolute = {
        "medium.temperature": TEMPERATURE_REACH[case.medium.temperature_source],
        "transducers.wedge_angle": WEDGE_ANGLE_REACH,
        "spacing": SPACING_REACH,
    }
    return absolute.get(candidate.field, RELATIVE_REACHES.get(candidate.field, 0.0) * entered)


def _density(miss: float, spread: float) -> float:
    return math.exp(-0.5 * (miss / spread) ** 2) / spread


def _density_of_reach(miss: float, spread: float, effect: float) -> float:
    """Return the density of a time if an error of unknown size spreads it by the effect, one standard deviation [s]."""
    return sum(share * _density(miss, math.hypot(spread, factor * effect)) for factor, share in REACH_MIXTURE)


def _density_of_two(miss: float, spread: float, effects: Mapping[str, float]) -> float:
    """Return the density of a time if two errors of different kinds spread it: the mean over the pairs of kinds."""
    kinds = [kind for kind, effect in effects.items() if effect > 0]
    total = density = 0.0
    for first, second in itertools.combinations(kinds, 2):
        weight = WEIGHTS[first] * WEIGHTS[second]
        total += weight
        density += weight * _density_of_reach(miss, spread, math.hypot(effects[first], effects[second]))
    return density / total if total else 0.0


def _by_field(scored: list[tuple[float, CandidateError]]) -> list[tuple[float, CandidateError]]:
    """Return one candidate for each field, the most likely one, with the scores of all candidates of that field."""
    kept: dict[str, tuple[float, CandidateError]] = {}
    for score, candidate in sorted(scored, key=lambda pair: -pair[0]):
        sum_so_far, first = kept.get(candidate.field, (0.0, candidate))
        kept[candidate.field] = (sum_so_far + score, first)
    return list(kept.values())


def _explained(
    case: Case, candidate: CandidateError, probability: float, flow: float | None
) -> PossibleCause:
    corrected = None if candidate.kind == SEVERAL else _flow(case, candidate.case)
    effect = corrected / flow - 1 if flow and corrected is not None else None
    found = message(
        candidate.message,
        **{
            "entered": _parameter(candidate.entered),
            "implied": _parameter(candidate.implied_value),
            "probability": probability,
            "effect_on_flow": effect,
            "flow_change": _direction(effect),
            **candidate.facts,
        },
    )
    return PossibleCause(candidate, probability, effect, found)


def _direction(effect: float | None) -> dict[str, str] | None:
    if effect is None:
        return None
    if abs(effect) < NO_EFFECT:
        return term("unchanged")
    return term("higher" if effect > 0 else "lower")


def _parameter(figure: Figure) -> Any:
    if isinstance(figure.value, float):
        return quantity(figure.value, figure.kind)
    return figure.value


def _flow(entered: Case, supposed: Case) -> float | None:
    """Return the volume flow with the changed entries, at the entered times and a time difference of about 1 m/s.

    The profile factor depends little on the velocity, and so does the ratio of two of these flows.
    """
    try:
        _, difference = times_from_mean_velocity(setup_of(entered), 1.0)
        setup, late = setup_of(supposed), 0.0
        if supposed.mounted_spacing is not None:
            setup = replace(setup, mounted_spacing=supposed.mounted_spacing + supposed.spacing_off)
        else:
            late = supposed.spacing_off * float(trace(setup).axial_slowness)
        return float(flow_from_times(setup, entered.transit_time - late, difference).volume_flow)
    except OutOfRange:
        return None
